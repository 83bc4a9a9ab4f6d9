"""What the magnets on the axle come near to: rail top, things between the rails, sleepers, floor, brakes.

All heights are from rail top, so that the axle's centre is half the wheel's diameter up.
"""

import math
from dataclasses import dataclass
from typing import Final

from wayrule.formats.wagonchecks import along_axle_mm, sensed_axle_mm, swing_mm
from wayrule.model import Wagon

OVER_RAIL_MM: Final = 0.5
"""Distance to keep above rail top where the file does not say [mm]: room for ballast grains and rail joints; common
practice, no source."""

TOUCHING_MM: Final = 0.2
"""Distance to floor, brake gear and frames below which play and paint make things touch [mm]; common practice,
no source."""

SAME_MM: Final = 0.3
"""Two statements of one height may differ by a caliper's slip [mm]; common practice, no source."""

ASSEMBLY_SD_MM: Final = 0.05
"""How well a disc sits on its flat (filing, glue) [mm]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Gap:
    """One clearance: how much there is, with sigma, and how much is wanted [mm].

    ok     gap less play is at least what is wanted
    text   one line with the numbers
    """

    what: str
    gap_mm: float
    sd_mm: float
    wanted_mm: float
    ok: bool
    text: str


def clearances(wagon: Wagon) -> tuple[Gap, ...]:
    """Every clearance that the file says enough for; empty without magnets that have a size.

    Notes
    -----
    Lowest point of the magnets above rail top: wheel diameter / 2 less the circle that their outer corners sweep, less
    the axle's play up or down. sigma: half the caliper's on the wheel and 0.05 mm of assembly. The body sinks on its
    springs onto the magnets by body.spring_mm.

    Examples
    --------
    >>> from wayrule.model import Magnets, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04),
    ...             magnets=Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7))
    >>> for gap in clearances(van):
    ...     print(gap.text)
    rail top: the magnets stay 2.63 ± 0.05 mm above it (0.5 mm wanted): clear
    """
    swing = swing_mm(wagon.magnets) if wagon.magnets else None
    if wagon.magnets is None or swing is None:
        return ()
    return (*_below(wagon, swing), *_above(wagon, swing), *_beside(wagon))


def _below(wagon: Wagon, swing: float) -> list[Gap]:
    wheel, clear = wagon.wheel, wagon.clearance
    if wheel.diameter_mm is None:
        return []
    play = wagon.axle.play_mm[2] if wagon.axle.play_mm else 0.0
    lowest = wheel.diameter_mm / 2 - swing
    sd = math.hypot((wheel.diameter_sd_mm or 0.0) / 2, ASSEMBLY_SD_MM)
    wanted = OVER_RAIL_MM if clear.over_rail_mm is None else clear.over_rail_mm
    # the wheel stands on the rail: play lifts the frame, not the axle, so it costs nothing here
    found = [_gap("rail top", lowest, sd, wanted, "the magnets stay {} above it")]
    if clear.between_rails_mm is not None:
        gap = lowest - clear.between_rails_mm
        words = f"studs or rack at {clear.between_rails_mm:g} mm above rail top"
        found.append(_gap(words, gap, sd, min(wanted, OVER_RAIL_MM), "the magnets stay {} above them"))
    if clear.sleeper_mm is not None:
        words = f"sleepers at {clear.sleeper_mm:g} mm above rail top"
        found.append(_gap(words, lowest - clear.sleeper_mm, sd, OVER_RAIL_MM, "the magnets stay {} above them"))
    if clear.brake_gear_mm is not None:
        words = f"brake gear {clear.brake_gear_mm:g} mm from the axle's centre"
        found.append(_gap(words, clear.brake_gear_mm - swing, ASSEMBLY_SD_MM, TOUCHING_MM + play, "{} are left"))
    return found


def _above(wagon: Wagon, swing: float) -> list[Gap]:
    """The floor above the magnets, and the sensor against floor and magnets."""
    found = []
    overhead = [layer for layer in wagon.floor if layer.height_mm >= 0 and _covers(layer.length_mm, layer.centre_mm)]
    sink = (wagon.body.spring_mm or 0.0) + (wagon.axle.play_mm[2] if wagon.axle.play_mm else 0.0)
    if overhead:
        lowest = min(overhead, key=lambda layer: layer.height_mm)
        words = f"floor ({lowest.material or 'layer'}) {lowest.height_mm:g} mm above the axle's centre"
        if sink:
            words += f", {sink:g} mm lower when it sinks"
        gap = lowest.height_mm - sink - swing
        found.append(_gap(words, gap, ASSEMBLY_SD_MM, TOUCHING_MM, "{} are left above the magnets"))
    return found


def _covers(length: float | None, centre: tuple[float, float] | None) -> bool:
    """A layer without a stated size is the whole floor; a plate counts where it reaches over the axle."""
    return length is None or centre is None or abs(centre[0]) <= length / 2


def _beside(wagon: Wagon) -> list[Gap]:
    along, width = along_axle_mm(wagon.magnets) if wagon.magnets else None, wagon.clearance.frame_width_mm
    if along is None or width is None:
        return []
    play = wagon.axle.play_mm[1] if wagon.axle.play_mm else 0.0
    words = f"wheels or frames {width:g} mm apart"
    gap = (width - along) / 2
    return [_gap(words, gap, ASSEMBLY_SD_MM, TOUCHING_MM + play, "{} are left on either side of the magnets")]


def _gap(what: str, gap: float, sd: float, wanted: float, words: str) -> Gap:
    ok = gap >= wanted
    told = words.format(f"{gap:.2f} ± {sd:.2f} mm")
    verdict = "clear" if ok else ("too near" if gap > 0 else f"they clash by {-gap:.2f} mm")
    return Gap(what, gap, sd, wanted, ok, f"{what}: {told} ({wanted:g} mm wanted): {verdict}")


def clash_lines(wagon: Wagon) -> tuple[str, ...]:
    """One line for each thing that touches or overlaps, with its numbers: gaps that are too small, and a sensor inside
    a layer of the floor; what cannot be true at all is refused when the file is read."""
    lines = [gap.text for gap in clearances(wagon) if not gap.ok]
    place = wagon.sensor.place_mm
    if place is not None:
        for layer in wagon.floor:
            top = layer.height_mm + layer.thickness_mm
            if layer.height_mm < place[2] < top and _inside(layer.length_mm, layer.width_mm, layer.centre_mm, place):
                lines.append(
                    f"sensor: {place[2]:g} mm above the axle's centre it lies inside the {layer.material or 'floor'} "
                    f"layer from {layer.height_mm:g} to {top:g} mm: cut a hole there, or move it"
                )
    return (*lines, *_sensor_on_its_board(wagon))


def _sensor_on_its_board(wagon: Wagon) -> list[str]:
    """The sensor's place against that of the board it sits on."""
    sensor, board, size, wheel = (
        wagon.sensor.place_mm,
        wagon.board.place_mm,
        wagon.board.size_mm,
        wagon.wheel.diameter_mm,
    )
    if sensor is None or board is None or size is None:
        return []
    x = sensor[0] + sensed_axle_mm(wagon)
    found = [
        f"sensor: {at:g} mm {way} of the rear axle's middle it lies off its board, which reaches from "
        f"{mid - long / 2:g} to {mid + long / 2:g} mm: correct sensor.place_mm or board.place_mm"
        for way, at, mid, long in (("forward", x, board[0], size[0]), ("left", sensor[1], board[1], size[1]))
        if abs(at - mid) > long / 2
    ]
    if wheel is not None and wagon.board.sensor_height_mm is not None:
        one, other = wheel / 2 + sensor[2], board[2] + wagon.board.sensor_height_mm
        if abs(one - other) > SAME_MM:
            found.append(
                f"sensor: {one:.2f} mm above rail top by sensor.place_mm, but {other:.2f} mm by board.place_mm and "
                "board.sensor_height_mm: correct one of them"
            )
    return found


def _inside(
    length: float | None,
    width: float | None,
    centre: tuple[float, float] | None,
    place: tuple[float, float, float],
) -> bool:
    """Whether a place lies within the plate's outline."""
    x, y = centre or (0.0, 0.0)
    return (length is None or abs(place[0] - x) < length / 2) and (width is None or abs(place[1] - y) < width / 2)
