"""Two opposite flats on a round axle, and the paper strip that marks where they go."""

import math
from typing import Final

from wayrule.errors import UsageError
from wayrule.model import Flat, Strip, Wagon

PAPER_MM: Final = 0.10
"""Thickness of ordinary printing paper of 80 g/m2 [mm]; common practice, no source."""


def flat(diameter_mm: float, flat_radius_mm: float) -> Flat:
    """Depth and width of a flat whose middle is `flat_radius_mm` from the axle's centre.

    Parameters
    ----------
    diameter_mm      of the axle, above 0 [mm]
    flat_radius_mm   from its centre to the flat, above 0 and below half the diameter [mm]

    Raises
    ------
    UsageError   when the flat would lie outside the axle, or beyond its centre

    Notes
    -----
    Chord of a circle: width = 2 sqrt(r^2 - f^2), depth = r - f (Euclid, Elements III.35, for the chord and the diameter
    that halves it).

    Examples
    --------
    >>> f = flat(2.0, 0.7)
    >>> round(f.width_mm, 3), round(f.depth_mm, 3), round(f.across_mm, 3)
    (1.428, 0.3, 1.4)
    """
    radius = diameter_mm / 2
    if not 0 < flat_radius_mm < radius:
        raise UsageError(
            expected=f"a flat between the centre and the outside of the axle, 0 to {radius:g} mm",
            came=f"flat_radius_mm = {flat_radius_mm:g}",
            where="magnets and axle",
            next_step="correct magnets.flat_radius_mm or axle.diameter_mm; a disc glued on a round axle has no flat",
        )
    width = 2 * math.sqrt(radius**2 - flat_radius_mm**2)
    return Flat(
        diameter_mm=diameter_mm,
        flat_radius_mm=flat_radius_mm,
        depth_mm=radius - flat_radius_mm,
        width_mm=width,
        across_mm=2 * flat_radius_mm,
        width_per_0_01=0.01 * 4 * flat_radius_mm / width,
    )


def flat_of(wagon: Wagon) -> Flat | None:
    """The flats of a wagon's axle; None where nothing is filed (a ring, discs on the round axle) or stated."""
    magnets, thick = wagon.magnets, wagon.axle.diameter_mm
    if magnets is None or magnets.kind == "ring" or magnets.flat_radius_mm is None or thick is None:
        return None
    if magnets.flat_radius_mm == thick / 2:  # glued on the round axle
        return None
    return flat(thick, magnets.flat_radius_mm)


def strip(what: str, diameter_mm: float, paper_mm: float = PAPER_MM, tab_mm: float | None = None) -> Strip:
    """A strip that goes once round.

    Notes
    -----
    Paper that is bent keeps its length half-way through its thickness: once round is pi (d + t). A strip made for
    another thickness misses by pi times the difference, and its middle mark, counted from the first, is off by half of
    that on a circle of pi (d + t), so by 180 deg times difference over (d + t).

    Examples
    --------
    >>> axle = strip("axle", 2.0, 0.1)
    >>> round(axle.length_mm, 3), round(axle.error_mm_per_0_1, 3), round(axle.error_deg_per_0_1, 1)
    (6.597, 0.314, 8.6)
    >>> round(strip("wheel", 10.5, 0.1).error_deg_per_0_1, 2)
    1.7
    """
    middle = diameter_mm + paper_mm
    return Strip(
        what=what,
        diameter_mm=diameter_mm,
        paper_mm=paper_mm,
        length_mm=math.pi * middle,
        tab_mm=max(3.0, min(8.0, diameter_mm)) if tab_mm is None else tab_mm,
        error_mm_per_0_1=math.pi * 0.1,
        error_deg_per_0_1=180.0 * 0.1 / middle,
    )


def strips_of(wagon: Wagon, paper_mm: float = PAPER_MM) -> tuple[Strip, ...]:
    """Strips for the tread of the wheel with the sensor and for its axle, as far as their diameters are stated."""
    found = []
    if wagon.wheel.diameter_mm is not None:
        found.append(strip("wheel, on its tread", wagon.wheel.diameter_mm, paper_mm))
    if wagon.axle.diameter_mm is not None:
        found.append(strip("axle", wagon.axle.diameter_mm, paper_mm))
    return tuple(found)
