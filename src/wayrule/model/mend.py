"""What shall be done to a line: limits, the work sheet, mends of single faults, boards, and string-lining."""

import math
from dataclasses import dataclass

from wayrule.model.arrays import Array, frozen
from wayrule.model.track import Element, Fault


@dataclass(frozen=True, slots=True)
class MendLimits:
    """What may be done to the track.

    lift_mm, lower_mm, slew_mm   at most so much anywhere
    fixed                        stretches that stay as they are: turnouts, bridges (from, to) [mm of chainage]
    shim_mm                      amounts are multiples of this
    leave_mm                     what is out by less is left alone
    """

    lift_mm: float
    lower_mm: float
    slew_mm: float
    fixed: tuple[tuple[float, float], ...] = ()
    shim_mm: float = 0.1
    leave_mm: float = 0.3


@dataclass(frozen=True, slots=True)
class Baseboard:
    """A board or module that can be raised as a whole, from `s0_mm` to `s1_mm` of chainage."""

    name: str
    s0_mm: float
    s1_mm: float


@dataclass(frozen=True, slots=True)
class BoardMove:
    """How a board is set before any rail is shimmed; raising > 0.

    start_mm, end_mm   at the end with the smaller and the larger chainage, mean of both rails
    left_mm            left side against right side, over the gauge
    sd_mm              of the amounts
    """

    board: Baseboard
    start_mm: float
    end_mm: float
    left_mm: float
    sd_mm: float
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class WorkSheet:
    """What to do at every sleeper or mark; every array (n,), amounts rounded to the shim, 0 = leave alone.

    s_mm                 chainage of the sleeper
    left_mm, right_mm    lift of the rail, lowering < 0
    slew_mm              to the left > 0
    left_sd_mm, right_sd_mm, slew_sd_mm   how sure the amounts are, against the track on either side
    board_left_mm, board_right_mm         how far a board that is set first raises the rail
    label                name of a mark at this place, or ""
    """

    s_mm: Array
    left_mm: Array
    right_mm: Array
    slew_mm: Array
    left_sd_mm: Array
    right_sd_mm: Array
    slew_sd_mm: Array
    board_left_mm: Array
    board_right_mm: Array
    label: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.s_mm)
        for name in self.__slots__[:-1]:
            frozen(self, name, (n,))
        if len(self.label) != n:
            raise ValueError(f"WorkSheet.label: expected {n} labels, came {len(self.label)}")

    @property
    def total_mm(self) -> float:
        """All lifts, lowerings and slews together [mm]."""
        return float(abs(self.left_mm).sum() + abs(self.right_mm).sum() + abs(self.slew_mm).sum())


@dataclass(frozen=True, slots=True)
class SingleMend:
    """The least work that takes one fault away.

    from_mm, to_mm        the stretch to be worked
    left_mm, right_mm, slew_mm   greatest amounts on it
    words                 "raise the left rail by up to 0.6 mm over 90 mm at 3.55 m"
    before, after         verdicts; after: as predicted
    after_size, after_sd  what would be left of the fault, in its unit
    """

    fault: Fault
    from_mm: float
    to_mm: float
    left_mm: float
    right_mm: float
    slew_mm: float
    words: str
    before: str
    after: str
    after_size: float
    after_sd: float


@dataclass(frozen=True, slots=True)
class StringLine:
    """One station of string-lining: a chord is laid from the station before to the one after.

    versine_mm   measured in the middle of the chord, left of the chord's way < 0: a curve to the left has versines > 0
    proposed_mm  what it shall be
    throw_mm     outwards of a left-hand curve (to the right) > 0
    """

    s_mm: float
    versine_mm: float
    versine_sd_mm: float
    proposed_mm: float
    throw_mm: float


@dataclass(frozen=True, slots=True)
class MendPlan:
    """All that is to be done, and what it will come to.

    target      the line aimed at, as elements of plan and profile
    boards      first: boards to be set
    sheet       then: every sleeper or mark
    singles     the same, told fault by fault
    predicted   faults that would be found afterwards
    new         of these, those that were not there before
    strings     string-lining, on a chord of `chord_mm`
    beyond      where a limit does not allow the target: (chainage, what is missing [mm], in which direction)
    notes       one sentence each: what was assumed, what cannot be known
    """

    target: tuple[Element, ...]
    boards: tuple[BoardMove, ...]
    sheet: WorkSheet
    singles: tuple[SingleMend, ...]
    predicted: tuple[Fault, ...]
    new: tuple[Fault, ...]
    strings: tuple[StringLine, ...]
    chord_mm: float = math.nan
    beyond: tuple[tuple[float, float, str], ...] = ()
    notes: tuple[str, ...] = ()
