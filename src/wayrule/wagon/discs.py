"""Disc magnets that shops keep, and the arrangements that can be built from them: disc, flat, place of the sensor."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import FreeSpace, Magnets, Wagon
from wayrule.model.arrays import Array
from wayrule.wagon.grades import remanence_mt

Triple = tuple[float, float, float]

COMMON_DISCS: Final[tuple[tuple[float, float], ...]] = (
    (1.0, 0.5), (1.0, 1.0), (1.5, 0.5), (1.5, 1.0), (2.0, 0.5), (2.0, 1.0), (2.0, 2.0), (2.5, 1.0), (3.0, 0.5),
    (3.0, 1.0), (3.0, 1.5), (3.0, 2.0), (4.0, 1.0), (4.0, 1.5), (4.0, 2.0), (5.0, 1.0), (5.0, 1.5), (5.0, 2.0),
    (5.0, 3.0), (6.0, 1.0), (6.0, 2.0), (6.0, 3.0), (7.0, 1.5), (7.0, 2.0), (8.0, 1.0), (8.0, 2.0), (8.0, 3.0),
    (9.0, 2.0), (10.0, 1.0), (10.0, 2.0), (10.0, 3.0), (12.0, 2.0), (12.0, 3.0), (15.0, 2.0), (15.0, 3.0),
)  # fmt: skip
"""Diameter and thickness [mm] of axially magnetised discs that shops keep; common practice, no source."""

KEPT: Final = (1.0, 0.85, 0.7, 0.55)
"""Flats that are tried: distance from the axle's centre over its radius; 1 is the round axle, with nothing filed."""

USUAL_GRADE: Final = "N42"
"""Where the file has no magnets yet."""

STEPS: Final = (5, 5, 6)
"""Places tried in the free space: forward, left, up."""

MOST_ARRANGEMENTS: Final = 200_000
"""More would take a minute and gigabytes."""


@dataclass(frozen=True, slots=True)
class Mounted:
    """A pair of discs on the axle: what is to be bought and filed; depth_mm is NaN where the axle is not stated."""

    diameter_mm: float
    thickness_mm: float
    flat_radius_mm: float
    depth_mm: float


def mounted(wagon: Wagon, discs: Sequence[tuple[float, float]] = COMMON_DISCS) -> tuple[Mounted, ...]:
    """Every disc on every flat, the round axle among them; with the flat of the file where it states one.

    Raises
    ------
    UndeterminedError   neither the axle's diameter nor a flat is stated
    UsageError          a disc that is none

    >>> from wayrule.model import Axle, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), axle=Axle(2.0))
    >>> [(one.flat_radius_mm, round(one.depth_mm, 2)) for one in mounted(van, [(3.0, 1.0)])]
    [(1.0, 0.0), (0.85, 0.15), (0.7, 0.3), (0.55, 0.45)]
    """
    for disc in discs:
        if not all(math.isfinite(size) and 0 < size <= 100 for size in disc):
            raise UsageError(
                expected="discs with a diameter and a thickness above 0 and up to 100 mm",
                came=f"{disc[0]:g} x {disc[1]:g}",
                where="discs",
                next_step="write DIAMETERxTHICKNESS in mm, such as 3x1",
            )
    thick, stated = wagon.axle.diameter_mm, wagon.magnets.flat_radius_mm if wagon.magnets else None
    if thick is None and stated is None:
        raise UndeterminedError(
            expected="axle.diameter_mm, or magnets.flat_radius_mm",
            came="neither",
            where=wagon.name,
            next_step="measure the axle where the magnets go and add it to the wagon file",
        )
    flats = set() if thick is None else {round(share * thick / 2, 9) for share in KEPT}
    flats |= set() if stated is None else {stated}
    radius = math.nan if thick is None else thick / 2
    return tuple(
        Mounted(diameter, thickness, flat, radius - flat)
        for (diameter, thickness), flat in product(discs, sorted(flats, reverse=True))
    )


def magnets_of(wagon: Wagon, one: Mounted) -> Magnets:
    """The pair with the grade of the file."""
    discs = Magnets("disc_pair", one.diameter_mm, one.thickness_mm, flat_radius_mm=one.flat_radius_mm)
    given = wagon.magnets
    if given is None or (given.grade is None and given.remanence_mt is None):
        return replace(discs, grade=USUAL_GRADE)
    return replace(
        discs,
        grade=given.grade,
        remanence_mt=remanence_mt(given) if given.grade is None else None,
        remanence_change_pct_k=given.remanence_change_pct_k,
        temperature_c=given.temperature_c,
    )


def free_space(wagon: Wagon, stated: FreeSpace | None = None) -> FreeSpace:
    """Where the sensor may sit: as stated, else the file's `[space]`, else its one place.

    Raises
    ------
    UndeterminedError   none of them
    UsageError          corners that are not in order

    >>> from wayrule.model import FieldSensor, Wheel
    >>> free_space(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), sensor=FieldSensor(place_mm=(0, 0, 12)))).high_mm
    (0, 0, 12)
    """
    space, place = stated or wagon.space, wagon.sensor.place_mm
    if space is None and place is not None:
        space = FreeSpace(place, place)
    if space is None:
        raise UndeterminedError(
            expected="a [space] with low_mm and high_mm, or sensor.place_mm",
            came="neither",
            where=wagon.name,
            next_step="state the box in which the sensor may sit: forward, left, up from the axle's centre",
        )
    if not all(low <= high for low, high in zip(space.low_mm, space.high_mm, strict=True)):  # NaN is in no order
        raise UsageError(
            expected="a free space whose first corner is behind, right of and below the second",
            came=f"{_corner(space.low_mm)} and {_corner(space.high_mm)}",
            where="space",
            next_step="write the lower value of each axis first",
        )
    return space


def places_in(space: FreeSpace, steps: tuple[int, int, int] = STEPS) -> Array:
    """Places of the sensor, even in the free space, its faces among them: (p, 3).

    >>> places_in(FreeSpace((0, 0, 10), (4, 0, 12)), (3, 3, 2)).tolist()[:3]
    [[0.0, 0.0, 10.0], [0.0, 0.0, 12.0], [2.0, 0.0, 10.0]]
    """
    axes = [
        np.linspace(low, high, count) if high > low and count > 1 else np.array([(low + high) / 2])
        for low, high, count in zip(space.low_mm, space.high_mm, steps, strict=True)
    ]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _corner(place: Triple) -> str:
    return "[" + ", ".join(f"{x:g}" for x in place) + "]"
