"""Two surveys of one line side by side: how they lie on each other, where they differ, and what is significant."""

from dataclasses import dataclass
from typing import Literal

from wayrule.model.arrays import Array, frozen
from wayrule.model.finding import Finding
from wayrule.model.track import Fault

Quantity = Literal["curvature", "gradient", "cant", "plan", "height"]
Fate = Literal["gone", "smaller", "same", "larger", "new", "not told", "newly told"]


@dataclass(frozen=True, slots=True)
class Registered:
    """How the later survey's chainage lies on the earlier one's: earlier = start + way * stretch * later.

    way          +1 where both run the same way, -1 against each other
    start_mm     chainage of the earlier survey at which the later one's chainage 0 lies
    stretch      mm of the earlier chainage for one of the later
    start_sd_mm, stretch_sd   from the fit
    local_sd_mm  how far places still lie off each other along the track, beyond start and stretch
    overlap_mm   how much of the earlier line both have
    misfit       0: bends and grades are equal, about 1: unrelated
    """

    way: int
    start_mm: float
    stretch: float
    start_sd_mm: float
    stretch_sd: float
    local_sd_mm: float
    overlap_mm: float
    misfit: float


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """Later less earlier along the line; every array (n,), NaN where one of the two does not know.

    Units as in stations: 1/mm, 1, mm. `plan` is sideways, left > 0, and `height` upwards, both after the best shift
    (and turn in plan) and the registration's stretch.

    offset, offset_sd   what all of the line shares, taken out of `change` (curvature, gradient, cant)
    sd                  of `change`: both error bars and the registration's
    scatter             by how much the line as a whole scatters more or less than that
    limit               |change| / (sd * scatter) beyond which a change is significant: 1 % false alarm on the line
    """

    quantity: Quantity
    s_mm: Array
    change: Array
    sd: Array
    offset: float
    offset_sd: float
    scatter: float
    limit: float

    def __post_init__(self) -> None:
        for name in ("s_mm", "change", "sd"):
            frozen(self, name, (len(self.s_mm),))


@dataclass(frozen=True, slots=True)
class Change:
    """A stretch of the earlier chainage on which a quantity has changed significantly.

    s_mm    where it is largest; size there, with its sd (scatter included), in `unit`: mm, %, 1/m
    sigma   size over sd
    """

    quantity: Quantity
    s0_mm: float
    s1_mm: float
    s_mm: float
    size: float
    unit: str
    sd: float
    sigma: float


@dataclass(frozen=True, slots=True)
class FaultFate:
    """What became of a fault; chainage, signs and rails are those of the earlier survey.

    before, after   the fault as each survey tells it, None where it does not
    change, sd      of its size as measured at its place from the difference of both surveys, in the fault's unit
    fate            gone, smaller, same, larger, new; "not told" and "newly told": one survey alone tells it, yet the
                    difference is not significant
    """

    fate: Fate
    before: Fault | None
    after: Fault | None
    change: float
    sd: float

    @property
    def fault(self) -> Fault:
        """The fault itself, as it was told first."""
        one = self.before or self.after
        assert one is not None
        return one


@dataclass(frozen=True, slots=True)
class FindingFate:
    """What became of a finding; `s_mm` is chainage of the earlier survey.

    fate            gone: passed or no longer found; smaller, same, larger: by its verdict; new
    before, after   what each judgement says of the rule there; None where it says nothing
    change, sd      of its size, where both tell it; NaN otherwise
    """

    fate: Fate
    before: Finding | None
    after: Finding | None
    s_mm: float
    change: float
    sd: float

    @property
    def finding(self) -> Finding:
        """The finding itself, as it was told first."""
        one = self.before or self.after
        assert one is not None
        return one


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """The later of two surveys less the earlier one, or a survey less its plan.

    findings   what became of the findings, where both surveys were judged; None where not
    """

    before_name: str
    after_name: str
    registered: Registered
    differences: tuple[Difference, ...]
    changes: tuple[Change, ...]
    fates: tuple[FaultFate, ...]
    notes: tuple[str, ...]
    findings: tuple[FindingFate, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Movement of one line over many surveys, against the first.

    names        (m,) of the surveys, in the order given
    places_mm    (n,) chainages of the first
    plan_mm, height_mm   (m, n) sideways (left > 0) and upwards; plan_sd_mm, height_sd_mm their sigmas
    plan_moved, height_moved   (n,) whether the place moved in any survey, 5 % false alarm over all places and surveys
    """

    names: tuple[str, ...]
    places_mm: Array
    plan_mm: Array
    plan_sd_mm: Array
    height_mm: Array
    height_sd_mm: Array
    plan_moved: tuple[bool, ...]
    height_moved: tuple[bool, ...]
