"""Values of a wagon that cannot be true together, and those that are only unusual."""

import math
from itertools import pairwise
from typing import Final

from wayrule.formats.fittingchecks import fitting_clashes
from wayrule.formats.scales import SCALES
from wayrule.model import FloorLayer, Magnets, Wagon

PROTOTYPE_GAUGE_MM: Final = (150.0, 4000.0)
"""Full-size gauge below or above which no railway (nor the cart of an experiment at 1:1) runs; a wide guess."""

PROTOTYPE_WHEEL_MM: Final = (80.0, 4000.0)
"""Full-size wheel diameter beyond which a typing slip (diameter for radius, cm for mm) is likely; a wide guess."""

LONGEST_WHEELBASE_GAUGES: Final = 60.0
"""Wheelbase (pivots) over gauge: 19 m pivots on 1435 mm are 13; beyond 60 a unit is wrong."""

MOST_REMANENCE_MT: Final = 1600.0
"""The theoretical limit: saturation of Nd2Fe14B, 1.6 T."""

LEAST_REMANENCE_MT: Final = 50.0
"""Below it no permanent magnet is sold (ferrite has 200 and more); a slip of unit, T for mT, is likely."""

USUAL_GAUGE_SHARE: Final = 0.08
"""How far a gauge may be from the usual track of its scale before it is worth a note."""


def clashes(wagon: Wagon) -> tuple[str, ...]:
    """What cannot be true, one phrase each; empty for a wagon that can exist."""
    return (
        *_track_clashes(wagon),
        *_wheel_clashes(wagon),
        *_magnet_clashes(wagon),
        *_swing_clashes(wagon),
        *_floor_clashes(wagon),
        *fitting_clashes(wagon),
    )


def notes(wagon: Wagon) -> tuple[str, ...]:
    """What is unusual but possible, one sentence each.

    >>> from wayrule.model import Wheel
    >>> notes(Wagon("van", "HO", 87.0, 9.0, 40.0, Wheel(6.0)))
    ('gauge 9 mm on HO (1:87) stands for 783 mm: narrow gauge; the usual track of the scale is 16.5 mm',)
    """
    usual = [s for s in SCALES if abs(s.ratio / wagon.ratio - 1) < 0.05]
    if not usual or any(abs(wagon.gauge_mm / s.gauge_mm - 1) <= USUAL_GAUGE_SHARE for s in usual):
        return ()
    near = min(usual, key=lambda s: abs(s.gauge_mm - wagon.gauge_mm))
    word = "narrow" if wagon.gauge_mm < near.gauge_mm else "broad"
    return (
        f"gauge {wagon.gauge_mm:g} mm on {wagon.scale} (1:{wagon.ratio:g}) stands for "
        f"{wagon.gauge_mm * wagon.ratio:.0f} mm: {word} gauge; the usual track of the scale is {near.gauge_mm:g} mm",
    )


def _track_clashes(wagon: Wagon) -> list[str]:
    found = []
    low, high = PROTOTYPE_GAUGE_MM
    full = wagon.gauge_mm * wagon.ratio
    if not low <= full <= high:
        found.append(
            f"gauge_mm = {wagon.gauge_mm:g} at 1:{wagon.ratio:g} is {full / 1000:.3g} m full size "
            f"(allowed: {low / 1000:g} to {high / 1000:g} m)"
        )
    if wagon.wheelbase_mm > LONGEST_WHEELBASE_GAUGES * wagon.gauge_mm:
        found.append(
            f"wheelbase_mm = {wagon.wheelbase_mm:g} is {wagon.wheelbase_mm / wagon.gauge_mm:.0f} gauges long "
            f"(allowed: up to {LONGEST_WHEELBASE_GAUGES:g})"
        )
    return found


def _wheel_clashes(wagon: Wagon) -> list[str]:
    wheel, found = wagon.wheel, []
    axles = 4 if wagon.bogie else 2
    if isinstance(wheel.axle, int) and wheel.axle > axles:
        found.append(f"wheel.axle = {wheel.axle} but the wagon has {axles} axles")
    if wheel.diameter_mm is None:
        if wheel.diameter_sd_mm is not None:
            found.append(f"wheel.diameter_sd_mm = {wheel.diameter_sd_mm:g} without a diameter_mm")
        return found
    low, high = PROTOTYPE_WHEEL_MM
    full = wheel.diameter_mm * wagon.ratio
    if not low <= full <= high:
        found.append(
            f"wheel.diameter_mm = {wheel.diameter_mm:g} at 1:{wagon.ratio:g} is {full / 1000:.3g} m full size "
            f"(allowed: {low / 1000:g} to {high / 1000:g} m)"
        )
    spacing, word = (
        (wagon.bogie.wheelbase_mm, "bogie.wheelbase_mm") if wagon.bogie else (wagon.wheelbase_mm, "wheelbase_mm")
    )
    if wheel.diameter_mm >= spacing:
        found.append(f"wheel.diameter_mm = {wheel.diameter_mm:g} does not fit between axles {word} = {spacing:g} apart")
    if wagon.bogie and wagon.bogie.wheelbase_mm >= wagon.bogie.pivots_mm:
        found.append(f"bogie.wheelbase_mm = {wagon.bogie.wheelbase_mm:g} is not below bogie.pivots_mm")
    if wheel.diameter_sd_mm is not None and wheel.diameter_sd_mm > 0.2 * wheel.diameter_mm:
        found.append(f"wheel.diameter_sd_mm = {wheel.diameter_sd_mm:g} is more than 20 % of diameter_mm")
    return found


def swing_mm(magnets: Magnets) -> float | None:
    """How far from the axle centre the magnets reach [mm]: the outer corner of a disc on its flat; None if not stated.

    >>> round(swing_mm(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7)), 3)
    2.625
    """
    if magnets.kind == "ring":
        return None if magnets.diameter_mm is None else magnets.diameter_mm / 2
    across = magnets.diameter_mm or magnets.length_mm
    if across is None or magnets.thickness_mm is None or magnets.flat_radius_mm is None:
        return None
    return math.hypot(magnets.flat_radius_mm + magnets.thickness_mm, across / 2)


def axles_mm(wagon: Wagon) -> tuple[float, ...]:
    """Places of all axles forward of the rear axle (rear pivot), front first [mm].

    >>> from wayrule.model import Bogie, Wheel
    >>> axles_mm(Wagon("coach", "HO", 87.0, 16.5, 118.0, Wheel(10.5), bogie=Bogie(118.0, 29.0)))
    (132.5, 103.5, 14.5, -14.5)
    """
    if wagon.bogie is None:
        return (wagon.wheelbase_mm, 0.0)
    half = wagon.bogie.wheelbase_mm / 2
    return (wagon.wheelbase_mm + half, wagon.wheelbase_mm - half, half, -half)


def sensed_axle_mm(wagon: Wagon) -> float:
    """Place of the axle that carries the wheel sensor, forward of the rear axle (rear pivot) [mm].

    >>> from wayrule.model import Wheel
    >>> sensed_axle_mm(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5, axle="front")))
    65.0
    """
    places = axles_mm(wagon)
    which = {"front": 1, "rear": len(places)}.get(str(wagon.wheel.axle), wagon.wheel.axle)
    return places[int(which) - 1]


def along_axle_mm(magnets: Magnets) -> float | None:
    """How much of the axle the magnets cover [mm]: a disc's diameter, a block's width, a ring's thickness.

    >>> along_axle_mm(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7))
    4.0
    """
    if magnets.kind == "ring":
        return magnets.thickness_mm
    return magnets.width_mm or magnets.length_mm if magnets.kind == "block" else magnets.diameter_mm


def _magnet_clashes(wagon: Wagon) -> list[str]:
    magnets, found = wagon.magnets, []
    if magnets is None:
        return []
    if magnets.grade is not None and magnets.remanence_mt is not None:
        found.append("magnets.grade and magnets.remanence_mt both say how strong the magnets are (give one)")
    if magnets.remanence_mt is not None:
        low, high = magnets.remanence_mt
        if low > high or high > MOST_REMANENCE_MT or low < LEAST_REMANENCE_MT:
            found.append(
                f"magnets.remanence_mt = [{low:g}, {high:g}] (allowed: lowest first, {LEAST_REMANENCE_MT:g} to "
                f"{MOST_REMANENCE_MT:g} mT; 1.3 T is 1300 mT)"
            )
    if magnets.hole_mm is not None and magnets.diameter_mm is not None and magnets.hole_mm >= magnets.diameter_mm:
        found.append(
            f"magnets.hole_mm = {magnets.hole_mm:g} is not below magnets.diameter_mm = {magnets.diameter_mm:g}"
        )
    if magnets.magnetisation is not None and not any(magnets.magnetisation):
        found.append("magnets.magnetisation = [0, 0, 0] points nowhere")
    if magnets.temperature_c is not None and magnets.temperature_c[0] > magnets.temperature_c[1]:
        low, high = magnets.temperature_c
        found.append(f"magnets.temperature_c = [{low:g}, {high:g}] (allowed: lowest first)")
    bore, thick, flat = magnets.hole_mm, wagon.axle.diameter_mm, magnets.flat_radius_mm
    if magnets.kind != "ring" and flat is not None and thick is not None and flat > thick / 2:
        found.append(
            f"magnets.flat_radius_mm = {flat:g} is beyond the outside of the axle, {thick / 2:g} mm from its centre: "
            f"the magnets would hang {flat - thick / 2:.2g} mm clear of it (axle.diameter_mm counts a sleeve in)"
        )
    if magnets.kind == "ring" and bore is not None and thick is not None and bore < thick:
        found.append(f"magnets.hole_mm = {bore:g} but the axle that goes through it has diameter_mm = {thick:g}")
    return found


def _swing_clashes(wagon: Wagon) -> list[str]:
    """The circle that the magnets sweep against rail top and the sensor."""
    magnets, found = wagon.magnets, []
    swing = swing_mm(magnets) if magnets else None
    if magnets is None or swing is None:
        return []
    if wagon.wheel.diameter_mm is not None and swing > wagon.wheel.diameter_mm / 2:
        found.append(
            f"the magnets swing out to {swing:.2f} mm from the axle centre, below the rail top at "
            f"{wagon.wheel.diameter_mm / 2:.2f} mm (smaller magnets, or another flat_radius_mm)"
        )
    along, place = along_axle_mm(magnets), wagon.sensor.place_mm
    if along is not None and along > wagon.gauge_mm:
        found.append(f"the magnets are {along:g} mm long along the axle, more than gauge_mm = {wagon.gauge_mm:g}")
    if place is not None and along is not None and abs(place[1]) <= along / 2:
        away = math.hypot(place[0], place[2])
        if away <= swing:
            found.append(
                f"the sensor at sensor.place_mm = [{place[0]:g}, {place[1]:g}, {place[2]:g}] is {away:.2f} mm from the "
                f"axle centre, inside the magnets that swing out to {swing:.2f} mm"
            )
    return found


def _floor_clashes(wagon: Wagon) -> list[str]:
    found = []
    layers: list[FloorLayer] = sorted(wagon.floor, key=lambda layer: layer.height_mm)
    for layer in layers:
        if layer.material is None and layer.relative_permeability is None and layer.conductivity_ms_m is None:
            found.append(f"the floor layer at {layer.height_mm:g} mm has no material")
    for below, above in pairwise(layers):
        if above.height_mm < below.height_mm + below.thickness_mm - 1e-6:
            found.append(f"the floor layers at {below.height_mm:g} and {above.height_mm:g} mm overlap")
    swing = swing_mm(wagon.magnets) if wagon.magnets else None
    if swing is not None and layers and 0 <= layers[0].height_mm < swing:
        found.append(f"the magnets swing out to {swing:.2f} mm but the floor begins at {layers[0].height_mm:g} mm")
    return found
