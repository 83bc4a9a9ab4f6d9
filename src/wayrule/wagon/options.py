"""What could be changed about a wagon: each change is made, and its budget reckoned anew."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.wagonchecks import clashes
from wayrule.model import Budget, FloorLayer, Option, Wagon
from wayrule.wagon.budget import Conditions, budget
from wayrule.wagon.clearance import clash_lines
from wayrule.wagon.edges import magnetic
from wayrule.wagon.grades import GRADES, grade_named
from wayrule.wagon.plates import covers

DISCS_MM: Final = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0)
"""Diameters of discs that are sold everywhere; common practice, no source."""

RANGES_MT: Final = (4.0, 8.0, 16.0, 20.0, 40.0, 80.0, 160.0)
"""Ranges of field sensors; common practice, no source."""

STRONG: Final = "N52"
OFF_EDGE_MM: Final = (2.0, 4.0, 6.0, 8.0)
"""How far beyond a plate's edge the sensor is tried."""

MOST_OF: Final = 0.7
"""Off a plate's edge the nearest place is told that brings so much of what the best one does."""

WORTH: Final = 1.05
"""A change that brings less than 5 % is not told."""

FAR: Final = 0.15
"""The sensor is moved by this part of its height, and at least by 1 mm."""


@dataclass(frozen=True, slots=True)
class _Change:
    words: str
    wagon: Wagon


def options(wagon: Wagon, now: Budget, conditions: Conditions | None = None) -> tuple[Option, ...]:
    """Changes that make the distance better, best first; those that clash with the file's own sizes are left out.

    Parameters
    ----------
    now : the budget of the wagon as it is, under the same conditions
    """
    before = set(clashes(wagon)) | set(clash_lines(wagon))
    found = [
        option
        for change in (*_plates(wagon), *_places(wagon), *_magnets(wagon), *_sensors(wagon, now))
        if not (set(clashes(change.wagon)) | set(clash_lines(change.wagon))) - before
        and (option := _tried(change, now, conditions)) is not None
    ]
    found += _off_the_edge(wagon, now, conditions)
    return tuple(sorted(found, key=lambda option: -option.gain))


def _tried(change: _Change, now: Budget, conditions: Conditions | None) -> Option | None:
    """The change with its numbers; None where it does not pay, saturates the sensor, or cannot be."""
    try:
        then = budget(change.wagon, conditions)
    except (WayruleError, ValueError):
        return None
    gain = now.repeats_mm / then.repeats_mm
    if gain < WORTH or (then.saturates and not now.saturates):
        return None
    field = then.signal_mt[1] / now.signal_mt[1]
    text = (
        f"{change.words}: {_mm(then.repeats_mm)} instead of {_mm(now.repeats_mm)}"
        + (f", {field:.1f} times the field" if abs(field - 1) > 0.05 else "")
        + "."
    )
    return Option(change.words, then.repeats_mm, gain, then.signal_mt[1], text)


def _mm(value: float) -> str:
    return f"{value:.2g} mm" if value < 10 else f"{value:.0f} mm"


def _named(layer: FloorLayer) -> str:
    return f"{layer.material or 'the magnetic'} {layer.thickness_mm:g} mm"


def _plates(wagon: Wagon) -> Iterator[_Change]:
    for steel in magnetic(wagon.floor):
        rest = tuple(layer for layer in wagon.floor if layer is not steel)
        yield _Change(f"take the {_named(steel)} layer out (lead or zinc for the weight)", replace(wagon, floor=rest))


def _off_the_edge(wagon: Wagon, now: Budget, conditions: Conditions | None) -> Iterator[Option]:
    """For a steel plate with sizes over the sensor: the sensor moved off its edge, the plate cut back from the sensor;
    each as little as brings most of what more would."""
    place = wagon.sensor.place_mm
    for steel in magnetic(wagon.floor):
        if place is None or steel.length_mm is None or not covers(steel, place[0], place[1]):
            continue
        rest = tuple(layer for layer in wagon.floor if layer is not steel)
        known = set(clash_lines(wagon))
        for changes in (_moved(wagon, steel, place), _cut(wagon, steel, steel.length_mm, rest, place)):
            tried = [_tried(one, now, conditions) for one in changes if not set(clash_lines(one.wagon)) - known]
            paying = [one for one in tried if one is not None]
            most = max((one.gain for one in paying), default=1.0)
            yield from [one for one in paying if one.gain > 1 + MOST_OF * (most - 1)][:1]


def _moved(wagon: Wagon, steel: FloorLayer, place: tuple[float, float, float]) -> Iterator[_Change]:
    """The sensor past the nearest edge of the plate, further and further."""
    ways = []
    for axis, size in ((0, steel.length_mm), (1, steel.width_mm)):
        middle = (steel.centre_mm or (0.0, 0.0))[axis]
        if size is not None:
            edges = ((middle + side * size / 2, side) for side in (1, -1))
            ways += [(abs(edge - place[axis]), axis, edge, side) for edge, side in edges]
    _, axis, edge, side = min(ways)
    way = (("forward", "backward"), ("left", "right"))[axis][side < 0]
    for beyond in OFF_EDGE_MM:
        there = [*place]
        there[axis] = edge + side * beyond
        by = abs(there[axis] - place[axis])
        words = f"move the sensor {by:.1f} mm {way}, {beyond:g} mm off the edge of the {_named(steel)} plate"
        yield _Change(words, seated(wagon, (there[0], there[1], there[2])))


def _cut(
    wagon: Wagon, steel: FloorLayer, length: float, rest: tuple[FloorLayer, ...], place: tuple[float, float, float]
) -> Iterator[_Change]:
    """The plate cut across, so that the longer piece ends short of the sensor, further and further."""
    x, y = steel.centre_mm or (0.0, 0.0)
    side = 1.0 if x >= place[0] else -1.0
    end = x + side * length / 2
    for beyond in OFF_EDGE_MM:
        begin = place[0] + side * beyond
        left = abs(end - begin)
        if (end - begin) * side <= 0:
            return
        piece = replace(steel, length_mm=left, centre_mm=((begin + end) / 2, y))
        words = (
            f"cut the {_named(steel)} plate back to {left:.0f} mm, so that it ends {beyond:g} mm "
            f"{'before' if side > 0 else 'behind'} the sensor"
        )
        yield _Change(words, replace(wagon, floor=(*rest, piece)))


def seated(wagon: Wagon, place: tuple[float, float, float]) -> Wagon:
    """The wagon with its sensor somewhere else, the board under it moved along where its place is stated."""
    old, board = wagon.sensor.place_mm, wagon.board
    if old is not None and board.place_mm is not None:
        x, y, z = (b + new - was for b, new, was in zip(board.place_mm, place, old, strict=True))
        board = replace(board, place_mm=(x, y, z))
    return replace(wagon, sensor=replace(wagon.sensor, place_mm=place), board=board)


def _places(wagon: Wagon) -> Iterator[_Change]:
    """The sensor lower, higher, and right over the axle."""
    place = wagon.sensor.place_mm
    if place is None:
        return
    step = max(1.0, round(FAR * abs(place[2]) * 2) / 2)
    tried = [
        (f"sit the sensor {step:g} mm lower", (place[0], place[1], place[2] - step)),
        (f"sit the sensor {step:g} mm higher", (place[0], place[1], place[2] + step)),
    ]
    if math.hypot(place[0], place[1]) > 0.05 * abs(place[2]):
        tried.append(("sit the sensor right over the middle of the axle", (0.0, 0.0, place[2])))
    for words, there in tried:
        space = wagon.space
        inside = space is None or all(
            low <= at <= high for low, at, high in zip(space.low_mm, there, space.high_mm, strict=True)
        )
        if inside:
            yield _Change(words, seated(wagon, there))


def _magnets(wagon: Wagon) -> Iterator[_Change]:
    """The next larger disc, a second disc, a stronger grade."""
    magnets = wagon.magnets
    if magnets is None:
        return
    if magnets.kind in ("disc_pair", "single") and magnets.diameter_mm is not None:
        larger = next((size for size in DISCS_MM if size > magnets.diameter_mm + 1e-9), None)
        if larger is not None:
            words = f"take discs of {larger:g} mm instead of {magnets.diameter_mm:g} mm, as thick"
            yield _Change(words, replace(wagon, magnets=replace(magnets, diameter_mm=larger)))
    if magnets.kind == "single":
        words = "add a second disc on the opposite flat"
        yield _Change(words, replace(wagon, magnets=replace(magnets, kind="disc_pair")))
    if magnets.grade is not None and grade_named(magnets.grade).remanence_mt[1] < GRADES[STRONG].remanence_mt[0]:
        words = f"take grade {STRONG} instead of {magnets.grade}"
        yield _Change(words, replace(wagon, magnets=replace(magnets, grade=STRONG)))


def _sensors(wagon: Wagon, now: Budget) -> Iterator[_Change]:
    """The smallest range that the nearest field leaves room in; a larger one where it is full."""
    sensor = wagon.sensor
    if sensor.range_mt is None:
        return
    fits = next((size for size in RANGES_MT if size > 1.3 * now.nearest_mt), None)
    if fits is not None and fits != sensor.range_mt and (now.saturates or fits < sensor.range_mt):
        words = f"set the sensor's range to ±{fits:g} mT instead of ±{sensor.range_mt:g} mT"
        yield _Change(words, replace(wagon, sensor=replace(sensor, range_mt=fits)))
