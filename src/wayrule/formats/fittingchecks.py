"""Values of axle, body, board, cell, parts and disturbers that cannot be true together."""

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

from wayrule.model import Board, Cell, Disturber, Part, Wagon

Triple = tuple[float, float, float]

TOUCH_MM = 1e-6
"""Parts that only touch do not overlap."""


class Box(NamedTuple):
    """A part with a place: its middle below, and its size [mm]."""

    name: str
    size_mm: Triple
    place_mm: Triple


def fitting_clashes(wagon: Wagon) -> tuple[str, ...]:
    """What cannot be true, one phrase each."""
    return (*_body_clashes(wagon), *_overlaps(wagon), *_space_clashes(wagon), *_disturber_clashes(wagon))


def boxes(wagon: Wagon) -> tuple[Box, ...]:
    """Board, cell and parts that have both a size and a place.

    >>> from wayrule.model import Board, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), board=Board((40.0, 18.0, 5.0), (30.0, 0.0, 14.0)))
    >>> [box.name for box in boxes(van)]
    ['board']
    """
    named: list[tuple[str, Board | Cell | Part]] = [("board", wagon.board), ("cell", wagon.cell)]
    named += [(part.name, part) for part in wagon.parts]
    return tuple(Box(n, p.size_mm, p.place_mm) for n, p in named if p.size_mm is not None and p.place_mm is not None)


def overlap_mm(a: Box, b: Box) -> Triple | None:
    """How far two boxes reach into each other: forward, left, up [mm]; None where they do not.

    >>> overlap_mm(Box("a", (4, 4, 4), (0, 0, 0)), Box("b", (4, 4, 4), (3, 1, 2)))
    (1.0, 3.0, 2.0)
    """
    x, y = (
        min(one.place_mm[k] + one.size_mm[k] / 2 for one in (a, b))
        - max(one.place_mm[k] - one.size_mm[k] / 2 for one in (a, b))
        for k in (0, 1)
    )
    tops = min(a.place_mm[2] + a.size_mm[2], b.place_mm[2] + b.size_mm[2])
    z = tops - max(a.place_mm[2], b.place_mm[2])
    return (float(x), float(y), float(z)) if min(x, y, z) > TOUCH_MM else None


def _body_clashes(wagon: Wagon) -> Iterator[str]:
    body, axle = wagon.body, wagon.axle
    if body.mass_g is not None and body.ballast_mass_g is not None and body.ballast_mass_g >= body.mass_g:
        yield f"body.ballast_mass_g = {body.ballast_mass_g:g} is not below body.mass_g = {body.mass_g:g} with it in"
    if body.length_mm is not None and body.over_buffers_mm is not None and body.over_buffers_mm < body.length_mm:
        yield f"body.over_buffers_mm = {body.over_buffers_mm:g} is below body.length_mm = {body.length_mm:g}"
    if body.inside_mm is not None:
        outside = (body.length_mm, body.width_mm, body.height_mm)
        for name, inner, outer in zip(("length", "width", "height"), body.inside_mm, outside, strict=True):
            if outer is not None and inner > outer:
                yield f"body.inside_mm has {inner:g} mm of {name}, more than body.{name}_mm = {outer:g}"
    wheel = wagon.wheel.diameter_mm
    if axle.diameter_mm is not None and wheel is not None and axle.diameter_mm >= wheel:
        yield f"axle.diameter_mm = {axle.diameter_mm:g} is not below wheel.diameter_mm = {wheel:g}"
    if axle.play_mm is not None and min(axle.play_mm) < 0:
        yield f"axle.play_mm = {list(axle.play_mm)} (allowed: 0 or more, to either side)"


def _overlaps(wagon: Wagon) -> Iterator[str]:
    for a, b in combinations(boxes(wagon), 2):
        depth = overlap_mm(a, b)
        if depth is not None:
            yield (
                f"{a.name} and {b.name} overlap by {depth[0]:.3g} x {depth[1]:.3g} x {depth[2]:.3g} mm "
                f"(places {_shown(a.place_mm)} and {_shown(b.place_mm)})"
            )


def _space_clashes(wagon: Wagon) -> Iterator[str]:
    if wagon.space is not None and any(
        low > high for low, high in zip(wagon.space.low_mm, wagon.space.high_mm, strict=True)
    ):
        yield (
            f"space.low_mm = {_shown(wagon.space.low_mm)} is not below space.high_mm = {_shown(wagon.space.high_mm)} "
            "in all three directions"
        )


def _disturber_clashes(wagon: Wagon) -> Iterator[str]:
    for number, item in enumerate(wagon.disturbers, 1):
        if item.direction is not None and not any(item.direction):
            yield f"disturber[{number}].direction = [0, 0, 0] points nowhere"
        if item.place_mm == wagon.sensor.place_mm:
            yield f"disturber[{number}].place_mm = {_shown(item.place_mm)} is the sensor's own place"
        if item.kind in ("axle", "iron") and not any(item.place_mm):
            yield f"disturber[{number}].place_mm = [0, 0, 0] is the axle's own place"
        wanted = _wanted(item)
        if wanted:
            yield f"disturber[{number}] of kind {item.kind} does not say how strong it is (give {wanted})"


def _wanted(item: Disturber) -> str:
    """What is missing to know how strong a disturber is; "" where nothing is."""
    if item.kind == "axle" or item.moment_ma_m2 is not None:
        return ""
    if item.kind == "iron":
        return "" if item.size_mm is not None else "size_mm"
    sized = item.size_mm is not None or (item.diameter_mm is not None and item.length_mm is not None)
    return "" if sized and item.remanence_mt is not None else "moment_ma_m2, or remanence_mt and the magnet's size"


def _shown(place: Triple) -> str:
    return "[" + ", ".join(f"{v:g}" for v in place) + "]"
