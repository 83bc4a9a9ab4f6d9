"""Why an arrangement cannot be built or read: one reason each, so that they can be counted."""

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.formats.wagonchecks import swing_mm
from wayrule.model import FloorLayer, Wagon
from wayrule.model.arrays import Array
from wayrule.wagon.axle import SAFE, strength
from wayrule.wagon.clearance import TOUCHING_MM, clearances
from wayrule.wagon.discs import Mounted, magnets_of
from wayrule.wagon.disturbers import STRONGEST_EARTH_MT
from wayrule.wagon.edges import magnetic
from wayrule.wagon.expected import Expected, reading_sd_mt
from wayrule.wagon.grades import REFERENCE_C, remanence_mt, warmed
from wayrule.wagon.mass import mass_sum
from wayrule.wagon.needed import bodies
from wayrule.wagon.plates import covers
from wayrule.wagon.turning import against_floor, will_it_turn

LEAST_SIGNAL: Final = 3.0
"""Smaller half axis over a reading's sd below which the decoding finds no ring."""

THINNEST: Final = 25.0
"""Greater over smaller half axis beyond which the decoding cannot tell forward from backward."""


def unbuildable(wagon: Wagon, one: Mounted) -> str | None:
    """Why this pair cannot be on this axle, or None.

    >>> from wayrule.model import Wheel
    >>> unbuildable(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5)), Mounted(10.0, 2.0, 1.0, 0.0))
    'too near: rail top'
    """
    fitted = replace(wagon, magnets=magnets_of(wagon, one))
    if one.diameter_mm > wagon.gauge_mm:
        return "longer along the axle than the gauge"
    near = next((gap.what for gap in clearances(fitted) if not gap.ok), None)
    if near is not None:
        return f"too near: {near}"
    mass = mass_sum(wagon)
    if one.depth_mm > 0 and mass is not None and weak_axle_known(wagon):
        return None if strength(fitted, mass.total_g).safety >= SAFE else "axle too weak with such flats"
    return None


def weak_axle_known(wagon: Wagon) -> bool:
    """Whether the file says enough to judge the axle's strength."""
    if wagon.axle.diameter_mm is None or mass_sum(wagon) is None:
        return False
    try:
        strength(replace(wagon, magnets=magnets_of(wagon, Mounted(1.0, 1.0, wagon.axle.diameter_mm / 2, 0.0))), 0.0)
    except UndeterminedError:
        return False
    return True


def in_floor(wagon: Wagon, places: Array) -> NDArray[np.bool_]:
    """Places (p, 3) of the sensor inside a layer of the floor: (p,)."""
    return np.array(
        [
            any(
                layer.height_mm < up < layer.height_mm + layer.thickness_mm and covers(layer, forward, left)
                for layer in wagon.floor
            )
            for forward, left, up in places
        ],
        dtype=bool,
    )


def in_swing(wagon: Wagon, one: Mounted, places: Array) -> NDArray[np.bool_]:
    """Places (p, 3) of the sensor where the magnets swing, or as near as touches: (p,)."""
    swept = swing_mm(magnets_of(wagon, one)) or 0.0
    beside = np.abs(places[:, 1]) <= one.diameter_mm / 2 + TOUCHING_MM
    return np.asarray(beside & (np.hypot(places[:, 0], places[:, 2]) <= swept + TOUCHING_MM))


def unreadable(wagon: Wagon, found: Expected, foreign_mt: Array | float = 0.0) -> NDArray[np.int64]:
    """Number of the reason in `UNREADABLE` for each field: (n,); 0 where it can be read.

    The strongest magnets of the grade, cold, with Earth's field and the disturbers' on top, must stay within the range.
    """
    magnets = magnets_of(wagon, Mounted(1.0, 1.0, 1.0, 0.0))
    low, high = remanence_mt(magnets)
    coldest = magnets.temperature_c[0] if magnets.temperature_c else REFERENCE_C
    strongest = found.most_mt * 2 * high / (low + high) * warmed(magnets, coldest) + STRONGEST_EARTH_MT + foreign_mt
    greater, smaller = found.signal_mt.T
    least = LEAST_SIGNAL * math.hypot(*reading_sd_mt(wagon.sensor))
    thin = ~(greater <= THINNEST * smaller) | ~np.isfinite(found.after_mm)
    over = strongest > (math.inf if wagon.sensor.range_mt is None else wagon.sensor.range_mt)
    return np.select([over, ~(greater >= least), thin, ~(smaller >= least)], [1, 3, 2, 3], 0)


UNREADABLE: Final = (
    "",
    "saturates the sensor",
    "the field comes and goes but hardly turns",
    "too weak: the field drowns in the noise",
)


def skids(wagon: Wagon, one: Mounted) -> bool:
    """Whether the steel of the floor over the axle holds the wheel so that it skids; False where it cannot be judged.

    Plates are taken as endless: an upper bound for those that end.
    """
    mass, wheel = mass_sum(wagon), wagon.wheel.diameter_mm
    steel = [_endless(layer) for layer in magnetic(wagon.floor) if layer.height_mm > 0 and covers(layer, 0.0, 0.0)]
    if mass is None or wheel is None or not steel:
        return False
    axles = 4 if wagon.bogie else 2
    cogging = against_floor(bodies(magnets_of(wagon, one), wagon.name), steel)
    turning = will_it_turn([cogging], axle_load_g=mass.total_g / axles, wheel_mm=wheel, wagon_g=mass.total_g)
    return turning.verdict == "skids"


def _endless(layer: FloorLayer) -> FloorLayer:
    return replace(layer, length_mm=None, width_mm=None, centre_mm=None)
