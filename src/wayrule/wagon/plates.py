"""What the layers of a floor do to the field at the sensor: infinite planes, at rest or while the axle turns."""

import math
from collections.abc import Sequence
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.continuation import COPIES, Continuation, Factor, continuation, mirrored, together
from wayrule.maths.sheets import Sheet, back, through
from wayrule.model import FloorLayer
from wayrule.model.arrays import Array
from wayrule.wagon.materials import of_layer

COPIES_ASIDE: Final = 20
"""Copies for a sensor further aside than it is high: right to 2e-6 as far as three times its height, 2e-5 at four."""

HARMONICS: Final = 13
"""Harmonics 0 to 12 of the axle angle each get the factor of their own frequency; those above that of the 12th."""


def sheets_between(layers: Sequence[FloorLayer]) -> tuple[Sheet, ...]:
    """Layers upwards with the air between them.

    Raises
    ------
    ValueError   layers that overlap, with their heights

    >>> [s.thickness_mm for s in sheets_between([FloorLayer("brass", 0.5, 4.0), FloorLayer("steel", 1.0, 5.5)])]
    [0.5, 1.0, 1.0]
    """
    sheets: list[Sheet] = []
    top: float | None = None
    for layer in sorted(layers, key=lambda layer: layer.height_mm):
        if top is not None and layer.height_mm < top - 1e-6:
            raise ValueError(
                f"floor: expected layers that do not overlap, came one that begins at {layer.height_mm:g} mm "
                f"below another's upper side at {top:g} mm"
            )
        if top is not None and layer.height_mm > top:
            sheets.append(Sheet(layer.height_mm - top))
        made_of = of_layer(layer)
        sheets.append(Sheet(layer.thickness_mm, made_of.permeability, made_of.conductivity_ms_m))
        top = layer.height_mm + layer.thickness_mm
    return tuple(sheets)


def covers(layer: FloorLayer, forward_mm: float, left_mm: float) -> bool:
    """Whether a layer lies over (or under) a place; one without sizes lies everywhere.

    >>> covers(FloorLayer("steel", 0.5, 3.0, length_mm=40, width_mm=20, centre_mm=(10, 0)), 29.0, 9.0)
    True
    """
    centre = layer.centre_mm or (0.0, 0.0)
    sizes = (layer.length_mm, layer.width_mm)
    return all(
        size is None or abs(at - middle) <= size / 2
        for size, at, middle in zip(sizes, (forward_mm, left_mm), centre, strict=True)
    )


def passage(
    floor: Sequence[FloorLayer],
    height_mm: float,
    axle_rad_s: float = 0.0,
    *,
    over_mm: tuple[float, float] | None = None,
) -> Continuation | None:
    """What the floor makes of the magnets' field at a sensor; None where it does nothing.

    Parameters
    ----------
    floor : layers above the axle, below the sensor (they shield) or above it (steel there sends field back)
    height_mm : of the sensor above the axle's centre
    axle_rad_s : how fast the axle turns, forwards > 0; 0 is at rest
    over_mm : the sensor's place, forward and left: layers whose stated sizes end before it are left out, and a sensor
        further aside than it is high gets more copies; without it all layers are endless and the sensor is over the
        axle

    Raises
    ------
    ValueError   a layer at the height of the axle or of the sensor; layers that overlap

    Notes
    -----
    Between a stack below (passes T, sends back R' from its upper side) and one above (sends back R), a gap g apart,
    what goes up is T / (1 - R R' e^{-2kg}) of the free field, and R of that comes back from the upper one, mirrored in
    its underside. The planes are taken as infinite: `edges` says what that may cost.

    Examples
    --------
    >>> passage([FloorLayer("brass", 1.0, 4.0), FloorLayer("lead", 3.0, 5.0)], 12.0) is None  # harmless at rest
    True
    """
    if over_mm is not None:
        floor = [layer for layer in floor if covers(layer, *over_mm)]
    for layer in floor:
        if layer.height_mm <= 0 or layer.height_mm < height_mm < layer.height_mm + layer.thickness_mm:
            what = "above the axle's centre" if layer.height_mm <= 0 else f"clear of the sensor at {height_mm:g} mm"
            raise ValueError(
                f"floor: expected every layer {what}, came one from {layer.height_mm:g} "
                f"to {layer.height_mm + layer.thickness_mm:g} mm"
            )
    under = [layer for layer in floor if layer.height_mm < height_mm]
    over = [layer for layer in floor if layer.height_mm >= height_mm]
    below, above = sheets_between(under), sheets_between(over)
    acts = [s for s in (*below, *above) if s.permeability != 1.0 or (axle_rad_s and s.conductivity_ms_m)]
    if not acts:
        return None
    copies = COPIES_ASIDE if over_mm is not None and math.hypot(*over_mm) > height_mm else COPIES
    turning = axle_rad_s != 0.0 and any(s.conductivity_ms_m for s in acts)
    orders = range(HARMONICS if turning else 1)
    if not above:
        up: list[Factor] = [partial(through, sheets=below, omega_rad_s=h * axle_rad_s) for h in orders]
        return continuation(up, height_mm, copies=copies)
    ceiling = min(layer.height_mm for layer in over)
    gap = ceiling - max((layer.height_mm + layer.thickness_mm for layer in under), default=-np.inf)
    ways = [_between(below, above, gap, h * axle_rad_s) for h in orders]
    rising = continuation([way[0] for way in ways], height_mm, copies=copies)
    falling = continuation([way[1] for way in ways], 2 * ceiling - height_mm, copies=copies)
    return together(rising, mirrored(falling, ceiling))


def _between(
    below: tuple[Sheet, ...], above: tuple[Sheet, ...], gap_mm: float, omega_rad_s: float
) -> tuple[Factor, Factor]:
    """Factors on what goes up and what comes down, between two stacks."""

    def up(k: Array) -> NDArray[np.complex128]:
        if not below:
            return np.ones(len(k), dtype=complex)
        again = back(k, above, omega_rad_s) * back(k, below[::-1], omega_rad_s) * np.exp(-2 * k * gap_mm)
        return np.asarray(through(k, below, omega_rad_s) / (1 - again))

    return up, lambda k: np.asarray(up(k) * back(k, above, omega_rad_s))
