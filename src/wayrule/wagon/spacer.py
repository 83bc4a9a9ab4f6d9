"""A frame that holds the board above the floor, so that its field sensor is where the wagon file says."""

from dataclasses import dataclass
from typing import Final

from wayrule.errors import UsageError
from wayrule.formats.wagonchecks import sensed_axle_mm
from wayrule.model import Solid, Wagon
from wayrule.wagon.shapes import Shape, box, on_the_bed, prism_along_y

WALL_MM: Final = 1.6
"""Four lines of a 0.4 mm nozzle [mm]."""

LEDGE_MM: Final = 1.5
"""How far the board's edge rests on the frame [mm]."""

LIP_MM: Final = 1.2
"""How far the frame's edge stands above the board's underside [mm]."""

LEAST_MM: Final = 0.4
"""Thinner than two layers is no spacer [mm]."""


@dataclass(frozen=True, slots=True)
class Spacer:
    """The frame and what it is built to.

    height_mm       floor's top to the board's underside
    floor_top_mm    above the axle's centre
    sensor_mm       above the axle's centre
    steps           how to use it, a sentence each
    """

    solid: Solid
    height_mm: float
    floor_top_mm: float
    sensor_mm: float
    steps: tuple[str, ...]


def underside_mm(wagon: Wagon) -> float | None:
    """The board's underside above the axle's centre [mm], from the sensor's place and its height on the board."""
    place, height = wagon.sensor.place_mm, wagon.board.sensor_height_mm
    return None if place is None or height is None else place[2] - height


def sensor_spacer(wagon: Wagon, clearance_mm: float = 0.2) -> Spacer:
    """The frame for a wagon's board.

    Parameters
    ----------
    clearance_mm   round the board [mm]

    Raises
    ------
    UsageError   where the file does not say enough, or the board would lie on or in the floor

    Examples
    --------
    >>> from wayrule.model import Board, FieldSensor, FloorLayer, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), floor=(FloorLayer("plastic", 1.2, 3.2),),
    ...             sensor=FieldSensor(place_mm=(0.8, 1.2, 12.5)), board=Board((42.0, 18.0, 5.0), sensor_height_mm=1.3))
    >>> round(sensor_spacer(van).height_mm, 3)
    6.8
    """
    size, under = wagon.board.size_mm, underside_mm(wagon)
    missing = [
        key
        for key, value in (
            ("board.size_mm", size),
            ("sensor.place_mm", wagon.sensor.place_mm),
            ("board.sensor_height_mm", wagon.board.sensor_height_mm),
            ("a [[floor]]", wagon.floor or None),
        )
        if value is None
    ]
    if missing or size is None or under is None or wagon.sensor.place_mm is None:
        raise UsageError(
            expected="the board's size, the sensor's place and height on it, and the floor",
            came=f"nothing for {', '.join(missing)}",
            where="sensor spacer",
            next_step="measure them and add them to the wagon file",
        )
    if not 0 <= clearance_mm <= 1:
        raise UsageError(
            expected="a clearance from 0 to 1 mm round the board",
            came=f"{clearance_mm:g}",
            where="sensor spacer",
            next_step="usual printers need 0.1 to 0.3 mm",
        )
    top = max(layer.height_mm + layer.thickness_mm for layer in wagon.floor)
    height = under - top
    if height < LEAST_MM:
        raise UsageError(
            expected=f"the board's underside at least {LEAST_MM:g} mm above the floor's top at {top:g} mm",
            came=f"{under:g} mm (the sensor's {wagon.sensor.place_mm[2]:g} mm less its height on the board)",
            where="sensor spacer",
            next_step=f"raise sensor.place_mm by {LEAST_MM - height:.2f} mm, or lay the board straight on the floor",
        )
    frame, marks = _frame(wagon, (size[0], size[1]), height, clearance_mm)
    solid = on_the_bed(frame, "sensor spacer")
    steps = (
        "Print as it lies in the file: no support. The end with the gap for the wires is the front.",
        f"Glue it on the floor; its notches {marks}.",
        f"Drop the board in with the sensor's chip as the file says: {wagon.board.sensor_height_mm:g} mm above the "
        f"underside. Its middle is then {wagon.sensor.place_mm[2]:g} mm above the axle's centre; check with the "
        f"caliper's depth rod: {height:.2f} mm from the floor to the board's underside. Each 0.1 mm changes field "
        "and reach a little, not the distance measured.",
        "Hold the board with a drop of removable glue, not with a steel screw.",
    )
    return Spacer(solid, height, top, wagon.sensor.place_mm[2], steps)


def _frame(wagon: Wagon, size: tuple[float, float], height: float, loose: float) -> tuple[Shape, str]:
    """A frame round the board's edge; the board's middle is the origin."""
    x, y = size[0] / 2 + loose, size[1] / 2 + loose
    ledge = min(LEDGE_MM, size[0] / 6, size[1] / 6)
    outer = box((-x - WALL_MM, -y - WALL_MM, 0.0), (x + WALL_MM, y + WALL_MM, height + LIP_MM))
    pocket = box((-x, -y, height), (x, y, height + LIP_MM + 1))
    hole = box(
        (-size[0] / 2 + ledge, -size[1] / 2 + ledge, -1.0), (size[0] / 2 - ledge, size[1] / 2 - ledge, height + 1)
    )
    wires = box((x - 1.0, -y / 2, height), (x + WALL_MM + 1, y / 2, height + LIP_MM + 1))
    frame = outer - pocket - hole - wires
    half = min(1.0, height / 2)
    place = wagon.board.place_mm
    forward = sensed_axle_mm(wagon) - place[0] if place is not None else None
    words = (
        "on the ends mark the middle of the wagon" if place is None or abs(place[1]) < y else "mark the board's middle"
    )
    across = -place[1] if place is not None and abs(place[1]) < y else 0.0
    ends = _notch(half).rotate((0, 0, 90)).translate((0.0, across, 0.0))
    frame = frame - ends.translate((x + WALL_MM, 0, 0)) - ends.translate((-x - WALL_MM, 0, 0))
    if forward is not None and abs(forward) < x:
        side = _notch(half).translate((forward, 0.0, 0.0))
        frame = frame - side.translate((0, y + WALL_MM, 0)) - side.translate((0, -y - WALL_MM, 0))
        words += ", those on the sides stand over the axle"
    return frame, words


def _notch(half: float) -> Shape:
    """A notch at the foot of a wall that runs along x: a prism across it."""
    return prism_along_y([(-half, -0.01), (half, -0.01), (0.0, half)], -0.8, 0.8)
