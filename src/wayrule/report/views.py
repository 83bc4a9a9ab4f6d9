"""Side and plan of a wagon as shapes in mm: what is where, at full size, ready to be placed on pages.

Side: x forward from the rear axle (rear pivot), up from rail top; the front is to the right. Plan: x forward, y to the
left, seen from above, so that the wagon's left is up on the paper.
"""

from dataclasses import dataclass, field, replace
from typing import Final, Literal

from wayrule.formats.wagonchecks import along_axle_mm, axles_mm, sensed_axle_mm, swing_mm
from wayrule.model import Wagon
from wayrule.report.numbers import inches

Kind = Literal["rail", "wheel", "body", "floor", "iron", "part", "magnet", "axle", "sweep", "centre", "sensor"]
IRON: Final = ("steel", "iron", "mumetal", "mu-metal")


BACK_SHARE: Final = 0.87
WHEEL_SHARE: Final = 0.165
"""Backs of the wheels, and a wheel's width, over the gauge: NEM 310 (2009) at 16.5 mm, 14.4 and 2.7 mm."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A rectangle (x, y its lowest corner), a circle (x, y its middle) or a line (width and height from x, y)."""

    kind: Kind
    form: Literal["box", "circle", "line"]
    x: float
    y: float
    width: float
    height: float
    name: str = ""


@dataclass(frozen=True, slots=True)
class Tag:
    """A letter on the drawing for a place, and what the list below the drawing says of it."""

    letter: str
    x: float
    y: float
    text: str


@dataclass(frozen=True, slots=True)
class View:
    """One view: its pieces and tags, the box that they fill [mm], and heights to be dimensioned (from, to, text)."""

    title: str
    pieces: tuple[Piece, ...]
    tags: tuple[Tag, ...]
    low: tuple[float, float]
    high: tuple[float, float]
    heights: tuple[tuple[float, float, str], ...] = ()


@dataclass(slots=True)
class _Drawing:
    """Pieces and tags while they are gathered."""

    pieces: list[Piece] = field(default_factory=list)
    tags: list[Tag] = field(default_factory=list)

    def box(self, kind: Kind, x0: float, y0: float, width: float, height: float, name: str = "") -> None:
        self.pieces.append(Piece(kind, "box", x0, y0, width, height, name))

    def circle(self, kind: Kind, x: float, y: float, diameter: float, name: str = "") -> None:
        self.pieces.append(Piece(kind, "circle", x, y, diameter, diameter, name))

    def line(self, kind: Kind, x0: float, y0: float, x1: float, y1: float, name: str = "") -> None:
        self.pieces.append(Piece(kind, "line", x0, y0, x1 - x0, y1 - y0, name))

    def tag(self, x: float, y: float, text: str) -> None:
        self.tags.append(Tag("abcdefghijklmnopqrstuvwxyz"[len(self.tags) % 26], x, y, text))

    def view(self, title: str) -> View:
        lows = [(min(p.x, p.x + p.width), min(p.y, p.y + p.height)) for p in map(_boxed, self.pieces)]
        highs = [(max(p.x, p.x + p.width), max(p.y, p.y + p.height)) for p in map(_boxed, self.pieces)]
        low, high = (
            (min(x for x, _ in lows), min(y for _, y in lows)),
            (max(x for x, _ in highs), max(y for _, y in highs)),
        )
        return View(title, tuple(self.pieces), tuple(self.tags), low, high)


def _boxed(piece: Piece) -> Piece:
    if piece.form != "circle":
        return piece
    half = piece.width / 2
    return Piece(piece.kind, "box", piece.x - half, piece.y - half, piece.width, piece.height)


def body_mm(wagon: Wagon) -> tuple[float, float]:
    """Rear and front end of the body [mm]; where no length is stated, a wheel beyond the outer axles."""
    places, length = axles_mm(wagon), wagon.body.length_mm
    if length is None:
        reach = 0.75 * (wagon.wheel.diameter_mm or 0.0) + 2.0
        return min(places) - reach, max(places) + reach
    if wagon.body.rear_overhang_mm is not None:
        return -wagon.body.rear_overhang_mm, length - wagon.body.rear_overhang_mm
    middle = (max(places) + min(places)) / 2
    return middle - length / 2, middle + length / 2


def side_view(wagon: Wagon) -> View:
    """The wagon from its right side, front to the right."""
    drawn, at = _Drawing(), sensed_axle_mm(wagon)
    axle = (wagon.wheel.diameter_mm or 0.0) / 2
    rear, front = body_mm(wagon)
    drawn.line("rail", rear - 4, 0.0, front + 4, 0.0, "rail-top")
    if wagon.body.height_mm is not None:
        floors = [layer.height_mm + axle for layer in wagon.floor]
        bottom = min(floors, default=axle)
        drawn.box("body", rear, bottom, front - rear, wagon.body.height_mm - bottom, "body")
    for place in axles_mm(wagon):
        if axle:
            drawn.circle("wheel", place, axle, 2 * axle, "wheel" if place == at else "")
        drawn.line("centre", place, -2.0, place, axle + max(axle, 3.0))
    _floor_from_the_side(drawn, wagon, at, axle, (rear, front))
    _placed(drawn, wagon, upright=True)
    swing = swing_mm(wagon.magnets) if wagon.magnets else None
    if swing is not None:
        drawn.circle("sweep", at, axle, 2 * swing, "magnets-sweep")
        _magnets_from_the_side(drawn, wagon, at, axle)
        drawn.tag(at - swing * 0.7, axle - swing * 0.7, _swing_text(wagon, swing, axle))
    if wagon.axle.diameter_mm is not None:
        drawn.circle("axle", at, axle, wagon.axle.diameter_mm, "axle")
    _sensor(drawn, wagon, at, axle, upright=True)
    view = drawn.view("Side, front to the right")
    if wagon.sensor.place_mm is None or not axle:
        return view
    high = axle + wagon.sensor.place_mm[2]
    return replace(view, heights=((axle, high, f"{high - axle:.2f}"), (0.0, high, f"{high:.2f}")))


def plan_view(wagon: Wagon) -> View:
    """The wagon from above, front to the right, its left side up on the paper."""
    drawn, at = _Drawing(), sensed_axle_mm(wagon)
    half, diameter = wagon.gauge_mm / 2, wagon.wheel.diameter_mm or 0.0
    rear, front = body_mm(wagon)
    for side in (1, -1):
        drawn.line("rail", rear - 4, side * half, front + 4, side * half, "rail-left" if side > 0 else "rail-right")
    drawn.line("centre", rear - 4, 0.0, front + 4, 0.0, "middle")
    if wagon.body.width_mm is not None:
        drawn.box("body", rear, -wagon.body.width_mm / 2, front - rear, wagon.body.width_mm, "body")
    reach = max(half + 2.0, (wagon.axle.length_mm or 0.0) / 2)
    for place in axles_mm(wagon):
        drawn.line("centre", place, -reach - 2, place, reach + 2, "axle-line" if place == at else "")
        for side in (1, -1):
            if diameter:
                near, wide = BACK_SHARE * half, WHEEL_SHARE * wagon.gauge_mm
                drawn.box("wheel", place - diameter / 2, near if side > 0 else -near - wide, diameter, wide)
    if wagon.axle.diameter_mm is not None:
        long = wagon.axle.length_mm or wagon.gauge_mm
        drawn.box("axle", at - wagon.axle.diameter_mm / 2, -long / 2, wagon.axle.diameter_mm, long, "axle")
    for layer in wagon.floor:
        if layer.length_mm is not None or layer.width_mm is not None:
            _plate(drawn, wagon, at, layer.material or "layer", (layer.length_mm, layer.width_mm), layer.centre_mm)
    _placed(drawn, wagon, upright=False)
    _magnets_from_above(drawn, wagon, at)
    _sensor(drawn, wagon, at, diameter / 2, upright=False)
    return drawn.view("Plan, from above, front to the right, left side up")


def _floor_from_the_side(drawn: _Drawing, wagon: Wagon, at: float, axle: float, body: tuple[float, float]) -> None:
    for layer in wagon.floor:
        middle, length = sum(body) / 2, layer.length_mm or body[1] - body[0]
        if layer.length_mm is not None:
            middle = at + (layer.centre_mm[0] if layer.centre_mm else 0.0)
        name = layer.material or "layer"
        kind: Kind = "iron" if name.lower() in IRON or (layer.relative_permeability or 1) > 2 else "floor"
        low = axle + layer.height_mm
        drawn.box(kind, middle - length / 2, low, length, layer.thickness_mm, f"floor-{name}")
        text = f"{name}, {layer.thickness_mm:g} mm thick, its underside {layer.height_mm:g} mm above the axle's centre"
        if layer.length_mm is not None:
            text += f"; from {middle - length / 2 - at:+g} to {middle + length / 2 - at:+g} mm of the axle"
        drawn.tag(middle + length * 0.3, low + layer.thickness_mm / 2, text)


def _placed(drawn: _Drawing, wagon: Wagon, *, upright: bool) -> None:
    """Board, cell and parts that have a place."""
    named = [("board", wagon.board), ("cell", wagon.cell), *((part.name, part) for part in wagon.parts)]
    for name, thing in named:
        size, place = thing.size_mm, thing.place_mm  # type: ignore[attr-defined]
        if size is None or place is None:
            continue
        y, tall = (place[2], size[2]) if upright else (place[1] - size[1] / 2, size[1])
        drawn.box("part", place[0] - size[0] / 2, y, size[0], tall, f"part-{name}")
        where = f"{place[2]:g} mm above rail top" if upright else f"{_sideways(place[1])}"
        text = f"{name}, {size[0]:g} × {size[1]:g} × {size[2]:g} mm, middle {place[0]:g} mm forward of the rear axle"
        drawn.tag(place[0] + size[0] * 0.25, y + tall * 0.7, f"{text}, {where}")


def _sideways(left: float) -> str:
    if left == 0:
        return "on the middle line"
    return f"{abs(left):g} mm to the {'left' if left > 0 else 'right'}"


def _plate(
    drawn: _Drawing,
    wagon: Wagon,
    at: float,
    name: str,
    size: tuple[float | None, float | None],
    centre: tuple[float, float] | None,
) -> None:
    rear, front = body_mm(wagon)
    length, width = size[0] or front - rear, size[1] or wagon.body.width_mm or wagon.gauge_mm
    x, y = centre or (0.0, 0.0)
    middle = at + x if size[0] is not None else (rear + front) / 2
    kind: Kind = "iron" if name.lower() in IRON else "floor"
    drawn.box(kind, middle - length / 2, y - width / 2, length, width, f"plate-{name}")
    text = (
        f"{name} plate, {length:g} × {width:g} mm, from {middle - length / 2 - at:+g} to "
        f"{middle + length / 2 - at:+g} mm of the axle, {_sideways(y)}"
    )
    drawn.tag(middle + length * 0.35, y + width * 0.35, text)


def _magnets_from_the_side(drawn: _Drawing, wagon: Wagon, at: float, axle: float) -> None:
    magnets = wagon.magnets
    if magnets is None:
        return
    if magnets.kind == "ring":
        drawn.circle("magnet", at, axle, magnets.diameter_mm or 0.0, "magnet")
        return
    wide, flat, thick = magnets.diameter_mm or magnets.length_mm, magnets.flat_radius_mm, magnets.thickness_mm
    if wide is None or flat is None or thick is None:
        return
    drawn.box("magnet", at - wide / 2, axle + flat, wide, thick, "magnet-upper")
    if magnets.kind == "disc_pair":
        drawn.box("magnet", at - wide / 2, axle - flat - thick, wide, thick, "magnet-lower")


def _magnets_from_above(drawn: _Drawing, wagon: Wagon, at: float) -> None:
    magnets = wagon.magnets
    along = along_axle_mm(magnets) if magnets else None
    if magnets is None or along is None:
        return
    wide = magnets.diameter_mm or magnets.length_mm or along
    if magnets.kind in ("disc_pair", "single"):
        drawn.circle("magnet", at, 0.0, wide, "magnet")
    else:
        drawn.box("magnet", at - wide / 2, -along / 2, wide, along, "magnet")
    ring = magnets.kind == "ring"
    what, seat = ("ring magnet", "it goes round it") if ring else ("magnets", "the flats lie under them")
    drawn.tag(at - wide * 0.3, -along * 0.3, f"{what} on the axle, {along:g} mm along it; {seat}")


def _swing_text(wagon: Wagon, swing: float, axle: float) -> str:
    text = f"circle of {2 * swing:.2f} mm ({inches(2 * swing)}) that the magnets sweep"
    return text + (f", {axle - swing:.2f} mm above rail top at its lowest" if wagon.wheel.diameter_mm else "")


def _sensor(drawn: _Drawing, wagon: Wagon, at: float, axle: float, *, upright: bool) -> None:
    place = wagon.sensor.place_mm
    if place is None:
        return
    forward = "over the axle" if place[0] == 0 else f"{abs(place[0]):g} mm {'forward' if place[0] > 0 else 'behind'}"
    if upright:
        text = (
            f"FIELD SENSOR: {place[2]:.2f} mm ({inches(place[2])}) above the axle's centre, {axle + place[2]:.2f} mm "
            f"({inches(axle + place[2])}) above rail top, {forward} of the axle"
        )
        drawn.circle("sensor", at + place[0], axle + place[2], 1.2, "sensor")
        drawn.tag(at + place[0], axle + place[2], text)
        return
    drawn.circle("sensor", at + place[0], place[1], 1.2, "sensor")
    text = f"FIELD SENSOR: {forward} of the axle's line, {_sideways(place[1])} of the middle line"
    drawn.tag(at + place[0], place[1], text.replace("on the middle line of the middle line", "on the middle line"))
