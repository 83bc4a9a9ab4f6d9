"""A jig to file two opposite flats with: two equal halves that a vice presses on the axle.

            file runs along x, on the floor of the slot
                 |    |  slot  |    |
        +--------+    |        |    +--------+     z
        |  cheek |    +--------+    |        |     ^    x, across the vice, out of the page
        |        |     floor at +f           |     |
    ====|========|======= axle ==============|=    +---> y, along the axle
        |        |     floor at -f           |
        |        |    +--------+    |        |
        +--------+    |  slot  |    +--------+

The halves meet at x = 0 with a gap. Each has a V of 90 degrees for the axle: two Vs face to face hold any round bar in
the middle, however much they were printed too wide. Both floors are cut at once, at +f and -f from the axle's middle:
file the first flat, turn the whole jig over in the vice with the axle still in it, file the second. The flats are then
opposite and parallel as the jig's two floors are, and the wheels may stay on the axle.
"""

import math
from dataclasses import dataclass
from typing import Final

from wayrule.errors import UsageError
from wayrule.formats.wagonchecks import along_axle_mm
from wayrule.model import Flat, Solid, Wagon
from wayrule.wagon.flats import flat_of
from wayrule.wagon.shapes import Shape, box, on_the_bed, prism_along_y

BACK_TO_BACK: Final[dict[float, float]] = {6.5: 5.25, 9.0: 7.4, 12.0: 10.2, 16.5: 14.4, 45.0: 39.8}
"""Gauge -> least distance between the backs of the wheels [mm]: NEM 310 (2009) B; 45 mm from its 1977 edition."""

WALL_MM: Final = 8.0
"""Length of the axle that each end of the jig holds, where there is room [mm]."""

LEAST_WALL_MM: Final = 1.5
"""Below it an end is too weak to be printed and to hold [mm]."""

LEAST_FLOOR_MM: Final = 0.2
"""Half of a bridge of 0.4 mm between the two slots, one line of the usual nozzle [mm]."""

CHEEK_MM: Final = 5.0
"""Height of the cheeks beside the slot, which keep the file straight and give the vice something to hold [mm]."""

GRIP_MM: Final = 0.4
"""Gap between the halves when the Vs touch the axle, so that the vice presses the axle and not the halves [mm]."""

TONGUE_MM: Final = 0.8
"""Half the thickness of the tongues that keep the halves level: four lines of a 0.4 mm nozzle in all [mm]."""


@dataclass(frozen=True, slots=True)
class Fit:
    """What depends on the printer and on the tools at hand.

    clearance_mm    between parts that slide into each other [mm]
    trim_mm         added to the depth of both flats: above 0 where a first try came out too thick across its flats
    file_mm         width of the file [mm]
    guide_mm        thickness of steel strips glued on the slot's floors as a guide that does not wear [mm]; 0 is none
    wheels_on       whether the wheels stay on the axle, so that the jig has to go between them
    """

    clearance_mm: float = 0.15
    trim_mm: float = 0.0
    file_mm: float = 6.0
    guide_mm: float = 0.0
    wheels_on: bool = True


@dataclass(frozen=True, slots=True)
class Jig:
    """The jig's half (print two) and the sizes that the one who files wants to know.

    width_mm     along the axle
    slot_mm      width of the slot, and so the length of the flats
    file_mm      widest file that goes in
    floor_mm     of the slot above the axle's middle
    half_mm      from the middle of the jig to its outside, across the vice
    steps        how to use it, a sentence each
    """

    solid: Solid
    flat: Flat
    width_mm: float
    slot_mm: float
    file_mm: float
    floor_mm: float
    half_mm: float
    height_mm: float
    steps: tuple[str, ...]


def filing_jig(wagon: Wagon, fit: Fit | None = None) -> Jig:
    """The jig for a wagon's axle and magnets.

    Raises
    ------
    UsageError   where the file does not say enough, the jig does not go between the wheels, or a clearance is absurd

    Examples
    --------
    >>> from wayrule.model import Axle, Magnets, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7)
    >>> jig = filing_jig(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), magnets=discs, axle=Axle(2.0)))
    >>> jig.width_mm, jig.slot_mm, jig.solid.size_mm[0] == jig.width_mm
    (13.8, 6.5, True)
    """
    fit = fit or Fit()
    flats, along = flat_of(wagon), along_axle_mm(wagon.magnets) if wagon.magnets else None
    if flats is None or along is None:
        raise UsageError(
            expected="axle.diameter_mm, and magnets with a size and a flat_radius_mm",
            came="one of them missing, or a ring, which needs no flat",
            where="filing jig",
            next_step="measure the axle with a caliper and add it to the wagon file",
        )
    _sane(fit, flats)
    width, slot = _lengths(wagon, along, fit)
    half_mm, height = _outside(wagon, flats, fit)
    floor = flats.flat_radius_mm - fit.trim_mm - fit.guide_mm
    shape = _half(flats, fit, (width, slot, half_mm, height, floor))
    solid = on_the_bed(shape.rotate((0.0, 90.0, 0.0)).rotate((0.0, 0.0, 90.0)), "filing jig, one of two halves")
    file_mm = slot - 0.3
    steps = _steps(flats, fit, slot, file_mm)
    return Jig(solid, flats, width, slot, file_mm, floor, half_mm, height, steps)


def sane(fit: Fit) -> Fit:
    """The same, where printers and tools have such sizes.

    Raises
    ------
    UsageError   a clearance, trim, file or guide that is absurd

    >>> sane(Fit(clearance_mm=0.2)).clearance_mm
    0.2
    """
    given = {"clearance_mm": (fit.clearance_mm, 0.0, 0.6), "trim_mm": (fit.trim_mm, -0.3, 0.3)}
    given |= {"file_mm": (fit.file_mm, 0.5, 30.0), "guide_mm": (fit.guide_mm, 0.0, 3.0)}
    for name, (value, low, high) in given.items():
        if not low <= value <= high:
            raise UsageError(
                expected=f"{name} from {low:g} to {high:g} mm",
                came=f"{value:g}",
                where="filing jig",
                next_step="usual printers need 0.1 to 0.3 mm of clearance and next to no trim",
            )
    return fit


def _sane(fit: Fit, flats: Flat) -> None:
    sane(fit)
    floor = flats.flat_radius_mm - fit.trim_mm - fit.guide_mm
    if floor < LEAST_FLOOR_MM:
        raise UsageError(
            expected=f"a slot floor at least {LEAST_FLOOR_MM:g} mm from the axle's middle, so that it can be printed",
            came=f"{floor:.2f} mm (flat_radius_mm {flats.flat_radius_mm:g} less trim {fit.trim_mm:g} and guide "
            f"{fit.guide_mm:g})",
            where="filing jig",
            next_step="thinner guides, or a flat that is less deep",
        )


def back_to_back_mm(wagon: Wagon) -> float:
    """Room between the wheels: stated as clearance.frame_width_mm, the standard's for the gauge, or 0.8 of the gauge.

    >>> from wayrule.model import Wheel
    >>> back_to_back_mm(Wagon("van", "N", 160.0, 9.0, 38.0, Wheel(5.6)))
    7.4
    """
    if wagon.clearance.frame_width_mm is not None:
        return wagon.clearance.frame_width_mm
    return BACK_TO_BACK.get(wagon.gauge_mm, 0.8 * wagon.gauge_mm)


def _lengths(wagon: Wagon, along: float, fit: Fit) -> tuple[float, float]:
    """Width of the jig along the axle, and of its slot [mm]: as wide as the file wants, as far as there is room."""
    least = along + 0.4
    wanted = max(least, fit.file_mm + 0.5)
    if not fit.wheels_on:
        return wanted + 2 * WALL_MM, wanted
    room = back_to_back_mm(wagon) - 0.6
    width = min(room, wanted + 2 * WALL_MM)
    slot = min(wanted, width - 2 * LEAST_WALL_MM)
    if slot < least:
        raise UsageError(
            expected=f"room for {least + 2 * LEAST_WALL_MM:.1f} mm of jig between the wheels",
            came=f"{room:.1f} mm ({back_to_back_mm(wagon):g} mm between their backs)",
            where="filing jig",
            next_step="pull one wheel off and ask for the jig with wheels_on = False, or use smaller magnets",
        )
    return width, slot


def _outside(wagon: Wagon, flats: Flat, fit: Fit) -> tuple[float, float]:
    """From the middle to the outside across the vice, and height over all [mm]."""
    radius = flats.diameter_mm / 2
    half = max(radius * math.sqrt(2) + 6.0, 10.0)
    if fit.wheels_on and wagon.wheel.diameter_mm is not None:
        half = max(half, wagon.wheel.diameter_mm / 2 + 3.0)  # the vice's jaws stay clear of flanges
    tongue = _tongue_z(flats, fit) + TONGUE_MM + fit.clearance_mm + 1.0
    return half, 2 * max(flats.flat_radius_mm + CHEEK_MM, tongue)


def _tongue_z(flats: Flat, fit: Fit) -> float:
    return flats.diameter_mm / 2 * math.sqrt(2) + TONGUE_MM + fit.clearance_mm + 0.6


def _half(flats: Flat, fit: Fit, sizes: tuple[float, float, float, float, float]) -> Shape:
    """One half, at x > 0; the other is the same turned by half a turn about y."""
    width, slot, half, height, floor = sizes
    y, z, face = width / 2, height / 2, GRIP_MM / 2
    apex = flats.diameter_mm / 2 * math.sqrt(2)
    at, thick, reach = _tongue_z(flats, fit), TONGUE_MM, GRIP_MM + 1.2
    block = box((face, -y, -z), (half, y, z))
    tongue = box((face - reach, -y, at - thick), (face + 0.5, y, at + thick))
    loose = thick + fit.clearance_mm
    groove = box((face - 1.0, -y - 1, -at - loose), (face + reach + 0.2, y + 1, -at + loose))
    vee = prism_along_y([(apex, 0.0), (apex - 3 * z, 3 * z), (apex - 3 * z, -3 * z)], -y - 1, y + 1)
    slots = box((-half, -slot / 2, floor), (half + 1, slot / 2, z + 1)) + box(
        (-half, -slot / 2, -z - 1), (half + 1, slot / 2, -floor)
    )
    lead = prism_along_y([(half + 1, z + 1), (half - 1.6, z + 1), (half + 1, z - 1.6)], -y - 1, y + 1)
    return (block + tongue) - groove - vee - slots - lead - lead.mirror((0, 0, 1))


def _steps(flats: Flat, fit: Fit, slot: float, file_mm: float) -> tuple[str, ...]:
    """How to use it."""
    guide = (
        f"Glue a steel strip of {fit.guide_mm:g} mm on each slot floor, on both sides of the axle, and let it set."
        if fit.guide_mm
        else "The floors are plastic: they tell you when to stop, they do not stop a file that is pressed."
    )
    return (
        "Print two of the half as it lies in the file: no support, all walls solid (four or more perimeters). The "
        "notched edges come to the outside.",
        guide,
        "No magnets on the bench yet: filings stick to them. Safety glasses on.",
        "Lay the axle in the V of one half, wheels outside, put the other half on (tongues into grooves), and set both "
        "on a flat plate so that their tops are level.",
        "Close the vice on the outer faces, jaws below the slot floor; the halves must not touch each other. If "
        "the axle turns by hand, tighten; a strip of paper in the V helps.",
        f"File along the slot with a flat file up to {file_mm:.1f} mm wide, its safe edge to the cheek, light "
        f"strokes, until it slides on both floors without cutting. Flats are {slot:.1f} mm long and "
        f"{flats.width_mm:.2f} mm wide then.",
        "Turn the whole jig over in the vice without taking the axle out, and file the second flat.",
        f"Take it out: the caliper must read {flats.across_mm:.2f} mm across the flats, {flats.depth_mm:.2f} mm "
        "less than the axle on each side. 0.05 mm too thick: print again with trim 0.025, or give a few more "
        "strokes.",
        "Break the sharp edges with one stroke, wipe axle, wheels and bench, vacuum the filings: then unpack the "
        "magnets.",
    )
