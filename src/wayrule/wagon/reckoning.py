"""Thousands of arrangements of discs, flats and sensor reckoned together: what is to be expected of each."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.continuation import Continuation
from wayrule.maths.turnfit import angle_errors, rings_of
from wayrule.model import Wagon
from wayrule.model.arrays import Array
from wayrule.wagon.discs import Mounted, magnets_of
from wayrule.wagon.disturbers import disturbance
from wayrule.wagon.edges import magnetic
from wayrule.wagon.expected import Expected, Pull, expected
from wayrule.wagon.keptout import in_floor, in_swing, unbuildable
from wayrule.wagon.moves import Moves
from wayrule.wagon.needed import bodies, layers_between
from wayrule.wagon.plates import covers
from wayrule.wagon.sources import as_drawn
from wayrule.wagon.turns import fields_over_turn

ANGLES: Final = 36
"""Harmonics up to the 17th; 24 miss 2 % of the error of a sensor at 1.6 times the magnets' reach (measured)."""

PHI: Final[Array] = np.arange(ANGLES, dtype=np.float64) * (2 * math.pi / ANGLES)

LEFT_OUT: Final = 1e-5
"""Harmonics of the field below this are left out: 1e-5 rad, 0.05 um on a 10 mm wheel."""

LEFT_OUT_MOVED: Final = 1e-2
"""The same where only the change with a motion counts, which is small: that is right to half a per cent (measured)."""


@dataclass(frozen=True, slots=True, eq=False)
class Reckoned:
    """Arrangements that were reckoned: pair (n,), place (n, 3), what to expect, the errors from motion and from
    disturbers (n,) [mm], and the most that these add to a component of the field (n,) [mT].
    """

    pair: NDArray[np.int64]
    place_mm: Array
    expected: Expected
    motion_mm: Array
    foreign_mm: Array
    foreign_mt: Array


def reckoned(
    wagon: Wagon,
    radius: float,
    pairs: Sequence[Mounted],
    places: Array,
    moves: Moves,
    pull: Pull,
    fell: Counter[str],
) -> Reckoned | None:
    """Everything that can be built; the rest is counted."""
    inside = in_floor(wagon, places)
    floors = list(_floors(wagon, places, ~inside))
    numbered: list[NDArray[np.int64]] = []
    found: list[tuple[Array, Array, Array]] = []
    for disc, numbers in _by_disc(pairs).items():
        built = []
        for k in numbers:
            reason = unbuildable(wagon, pairs[k])
            if reason is not None:
                fell[reason] += len(places)
                continue
            swing = in_swing(wagon, pairs[k], places)
            fell["sensor inside the floor"] += int(np.sum(inside & ~swing))
            fell["sensor where the magnets swing"] += int(np.sum(swing))
            built.append((k, ~swing & ~inside))
        for floor, here in floors:
            row = np.array([(k, p) for k, free in built for p in np.flatnonzero(free & here)], dtype=np.int64)
            if len(row):
                flat = np.array([pairs[k].flat_radius_mm for k in row[:, 0]])
                field, motion = _fields(wagon, disc, flat, places[row[:, 1]], moves, floor)
                numbered.append(row[:, 0])
                found.append((places[row[:, 1]], field, motion))
    if not found:
        return None
    place, field, motion = (np.concatenate(column) for column in zip(*found, strict=True))
    pair = np.concatenate(numbered)
    told = expected(field, wagon.sensor, 2 * radius, pull)
    foreign = _foreign_mt(wagon, pairs, pair, place)
    size = np.sqrt(np.sum(foreign**2, axis=1))
    return Reckoned(pair, place, told, radius * motion, radius * size * told.per_mt_rad, np.sum(foreign, axis=1))


def _foreign_mt(wagon: Wagon, pairs: Sequence[Mounted], numbers: NDArray[np.int64], places: Array) -> Array:
    """The disturbers' fields at their worst: (n, d); along and across alike, as the budget has them: 1 / sqrt 2 of each
    counts at either end of a way."""
    sources = {k: bodies(magnets_of(wagon, pairs[k]), wagon.name) for k in set(numbers.tolist())}
    size = [
        [disturbance(item, (x, y, z), sources[k]).size_mt for item in wagon.disturbers]
        for k, (x, y, z) in zip(numbers.tolist(), places.tolist(), strict=True)
    ]
    return np.array(size, dtype=np.float64).reshape(len(numbers), len(wagon.disturbers))


def _fields(
    wagon: Wagon, disc: Mounted, flat: Array, places: Array, moves: Moves, floor: Continuation | None
) -> tuple[Array, Array]:
    """Field at rest (n, a, 3), and the error of the angle from all motions, as it counts in a distance (n,) [rad].

    One disc on flats of any depth is a disc that is shifted; a moved axle is a sensor that is moved the other way. Each
    arrangement is a wagon as drawn, and once more with each motion.
    """
    sources = bodies(magnets_of(wagon, disc), wagon.name)
    out = np.array([source.place_mm / np.linalg.norm(source.place_mm) for source in sources])
    shift = (flat - disc.flat_radius_mm)[:, None, None] * out
    forward, left, up = (float(x) for x in places[0])

    def fields(moved_mm: Array, askew_rad: Array, left_out: float) -> Array:
        """At the sensor with each of so many motions: (n, m, a, 3)."""
        count, each = len(flat), len(moved_mm)
        build = replace(
            as_drawn(count * each, len(sources)),
            shift_mm=np.repeat(shift, each, axis=0),
            sensor_mm=((places - places[0])[:, None] - moved_mm).reshape(-1, 3),
            axle_rad=np.tile(askew_rad, (count, 1)),
        )
        found = fields_over_turn(
            sources, (forward, left, up), build=build, phi_rad=PHI, floor=floor, truncated=left_out
        )
        return found.reshape(count, each, ANGLES, 3)

    none = np.zeros((1, 3))
    rest = fields(none, none[:, :2], LEFT_OUT)[:, 0]
    if not len(moves.weight):
        return rest, np.zeros(len(flat))
    moved = fields(
        np.concatenate([none, moves.shift_mm]), np.concatenate([none[:, :2], moves.askew_rad]), LEFT_OUT_MOVED
    )
    rings = rings_of(np.ascontiguousarray(moved[:, 0]))
    with np.errstate(invalid="ignore"):
        read = np.stack(
            [
                angle_errors(np.ascontiguousarray(moved[:, k]), rings.centre, rings.to_circle)
                for k in range(moved.shape[1])
            ]
        )
        size = np.sqrt(np.mean((read[1:] - read[0]) ** 2, axis=2)).T
    return rest, moves.in_distance(size)


def _floors(
    wagon: Wagon, places: Array, free: NDArray[np.bool_]
) -> Iterator[tuple[Continuation | None, NDArray[np.bool_]]]:
    """What lies between, and the places (p,) of bool that share it: one height, the same layers, alike far aside."""
    keys = [
        (place[2], tuple(covers(layer, place[0], place[1]) for layer in wagon.floor), math.hypot(*place[:2]) > place[2])
        if magnetic(wagon.floor)
        else ()
        for place in places.tolist()
    ]
    for key in dict.fromkeys(key for key, is_free in zip(keys, free, strict=True) if is_free):
        here = np.array([other == key for other in keys])  # one key is free throughout, or not at all
        forward, left, up = places[np.argmax(here)].tolist()
        yield layers_between(wagon, (forward, left, up)) if key else None, here


def _by_disc(pairs: Sequence[Mounted]) -> dict[Mounted, list[int]]:
    """Numbers of the pairs of each disc; the disc is named by its first pair."""
    found: dict[tuple[float, float], list[int]] = {}
    for k, pair in enumerate(pairs):
        found.setdefault((pair.diameter_mm, pair.thickness_mm), []).append(k)
    return {pairs[numbers[0]]: numbers for numbers in found.values()}
