"""What the finished wagon weighs, against the masses that standards publish for its scale and length."""

import re
from dataclasses import dataclass
from typing import Final

from wayrule.model import Wagon
from wayrule.units import INCH_MM

OUNCE_G: Final = 28.349523125
"""One avoirdupois ounce [g]; exact by definition (international yard and pound agreement, 1959)."""

NEM_302: Final[dict[str, float]] = {
    "Z": 0.12, "N": 0.17, "TT": 0.25, "HO": 0.4, "S": 0.6, "O": 1.0, "I": 2.0, "II": 4.0,
}  # fmt: skip
"""Scale -> least mass for each mm over the buffers [g/mm]; NEM 302, edition 2015, section 2."""

RP_20_1: Final[dict[str, tuple[float, float]]] = {
    "O": (5, 1), "On3": (1.5, 0.75), "S": (2, 0.5), "Sn3": (1, 0.5), "HO": (1, 0.5), "HOn3": (0.75, 0.375),
    "TT": (0.75, 0.375), "N": (0.5, 0.15),
}  # fmt: skip
"""Scale -> initial mass [oz] and addition for each inch of the body [oz/in]; NMRA RP-20.1 (a club's table prints
0.75 for S: sources disagree)."""

USUAL_SPREAD: Final = 0.15
"""How far from RP-20.1's mass a wagon may be and still be called right; common practice, no source."""


@dataclass(frozen=True, slots=True)
class MassSum:
    """What the finished wagon weighs [g], line by line; None where a line is not stated (it then counts as 0).

    total_g     of the lines that are stated
    missing     the keys that would complete it
    """

    as_it_came_g: float
    ballast_out_g: float
    board_g: float | None
    cell_g: float | None
    load_g: float
    total_g: float
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MassVerdict:
    """One standard's mass for this wagon [g], how much is missing (below 0: over), and a sentence.

    kind   "least" (a wagon should weigh at least this) or "aim" (it should weigh about this)
    """

    source: str
    kind: str
    wanted_g: float
    short_g: float
    text: str


def mass_sum(wagon: Wagon) -> MassSum | None:
    """Mass as it came, less the ballast, with board, cell and load; None where body.mass_g is not stated.

    No standard deviation: the masses are stated without one.

    >>> from wayrule.model import Board, Body, Cell, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), body=Body(mass_g=62.0, ballast_mass_g=24.0),
    ...             board=Board(mass_g=4.5), cell=Cell(mass_g=5.5))
    >>> mass_sum(van).total_g
    48.0
    """
    body, board, cell = wagon.body, wagon.board.mass_g, wagon.cell.mass_g
    if body.mass_g is None:
        return None
    out, load = body.ballast_mass_g or 0.0, body.load_mass_g or 0.0
    missing = tuple(key for key, value in (("board.mass_g", board), ("cell.mass_g", cell)) if value is None)
    total = body.mass_g - out + (board or 0.0) + (cell or 0.0) + load
    return MassSum(body.mass_g, out, board, cell, load, total, missing)


def mass_verdicts(wagon: Wagon) -> tuple[MassVerdict, ...]:
    """The finished mass against NEM 302 and NMRA RP-20.1, where they speak of the scale and the lengths are stated.

    >>> from wayrule.model import Body, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), body=Body(98.0, over_buffers_mm=110.0, mass_g=38.0))
    >>> for verdict in mass_verdicts(van):
    ...     print(verdict.text)
    NEM 302 (2015) asks for at least 44.0 g at 110 mm over the buffers: 6.0 g are missing.
    NMRA RP-20.1 aims at 83.0 g for a body of 98 mm (3.86 in): 45.0 g are missing.
    """
    summed = mass_sum(wagon)
    if summed is None:
        return ()
    found = [_nem(wagon, summed.total_g), _nmra(wagon, summed.total_g)]
    return tuple(v for v in found if v is not None)


def no_verdict(wagon: Wagon) -> str:
    """Why neither standard says anything: the scale is in no table, or the length that counts is not stated.

    >>> from wayrule.model import Wheel
    >>> no_verdict(Wagon("wagon", "IIm", 22.5, 45.0, 160.0, Wheel(31.0)))
    'Neither NEM 302 nor NMRA RP-20.1 gives a mass for scale IIm.'
    """
    name = letter(wagon.scale)
    if name not in NEM_302 and name not in RP_20_1:
        return f"Neither NEM 302 nor NMRA RP-20.1 gives a mass for scale {wagon.scale}."
    wanted = [key for key, table in (("over_buffers_mm", NEM_302), ("length_mm", RP_20_1)) if name in table]
    return f"To compare the mass with a standard, state {' or '.join(f'body.{key}' for key in wanted)}."


def letter(scale: str) -> str:
    """The scale's letter as the standards' tables have it: "O (US)" is O, "N (British)" is N."""
    return re.sub(r"\s*\(.*\)$", "", scale)


def _nem(wagon: Wagon, total_g: float) -> MassVerdict | None:
    rate, length = NEM_302.get(letter(wagon.scale)), wagon.body.over_buffers_mm
    if rate is None or length is None:
        return None
    wanted = rate * length
    short = wanted - total_g
    told = f"{short:.1f} g are missing" if short > 0 else f"met, with {-short:.1f} g to spare"
    text = f"NEM 302 (2015) asks for at least {wanted:.1f} g at {length:g} mm over the buffers: {told}."
    return MassVerdict("NEM 302:2015 section 2", "least", wanted, short, text)


def _nmra(wagon: Wagon, total_g: float) -> MassVerdict | None:
    row, length = RP_20_1.get(letter(wagon.scale)), wagon.body.length_mm
    if row is None or length is None:
        return None
    inches = length / INCH_MM
    wanted = (row[0] + row[1] * inches) * OUNCE_G
    short = wanted - total_g
    if abs(short) <= USUAL_SPREAD * wanted:
        told = f"within {USUAL_SPREAD:.0%} of it"
    else:
        told = f"{short:.1f} g are missing" if short > 0 else f"{-short:.1f} g too many"
    text = f"NMRA RP-20.1 aims at {wanted:.1f} g for a body of {length:g} mm ({inches:.2f} in): {told}."
    return MassVerdict("NMRA RP-20.1", "aim", wanted, short, text)
