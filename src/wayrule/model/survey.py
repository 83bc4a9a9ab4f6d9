"""The result of surveying a line: the track, its pieces, the runs placed on it, and what was assumed."""

import dataclasses
import math
from dataclasses import dataclass

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model.between import Between, Joint
from wayrule.model.calibration import Calibration
from wayrule.model.recording import Mark, Problem
from wayrule.model.repeat import Repeat
from wayrule.model.track import Element, Fault, Stations
from wayrule.model.travel import Travel


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its sd, unit and where it comes from; `sd` NaN says that it has none."""

    name: str
    value: float
    sd: float
    unit: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Misclosure:
    """By how much a closed line fails to close.

    ratio_plan, ratio_height   misclosure over what the sigmas predicted for it
    """

    plan_mm: float
    height_mm: float
    heading_rad: float
    plan_percent_of_length: float
    ratio_plan: float
    ratio_height: float


@dataclass(frozen=True, slots=True)
class Closure:
    """Closed line: net turn per lap (whole turns of 360 deg), misclosure before and after the adjustment."""

    laps: float
    turns_per_lap: int
    before: Misclosure
    after: Misclosure


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """All that `wayrule survey` found out.

    estimates    what was learnt of wagon and runs: scale, biases, mounting, slip ...
    decisions    (what, answer, why, how to overrule), each a choice that the data made
    assumptions  one sentence each: what is not known and what was taken instead
    calibration  the wagon as it is known after these runs, for a later survey with it
    inputs       (role, file name, sha256)
    repeats      how well passes over one place agree; () where nothing was passed twice
    pairs        what lies between the places that were asked for
    joint        how the errors of all places go together: what `between` asks; None where it was not kept
    """

    stations: Stations
    elements: tuple[Element, ...]
    faults: tuple[Fault, ...]
    travels: tuple[Travel, ...]
    closure: Closure | None
    estimates: tuple[Estimate, ...]
    decisions: tuple[tuple[str, str, str, str], ...]
    assumptions: tuple[str, ...]
    problems: tuple[Problem, ...]
    marks: tuple[tuple[float, Mark], ...]
    calibration: Calibration
    inputs: tuple[tuple[str, str, str], ...]
    wagon_name: str
    scale: str
    ratio: float
    version: str
    repeats: tuple[Repeat, ...] = ()
    pairs: tuple[Between, ...] = ()
    joint: Joint | None = dataclasses.field(default=None, repr=False)

    def between(self, a: str | float, b: str | float) -> Between:
        """What lies between two places, with sigmas from the full covariance.

        Parameters
        ----------
        a, b : chainage [mm], the name of a mark (the mean of its places), or start or end of the first run

        Raises
        ------
        UsageError          for a place off the line, or one place twice
        UndeterminedError   for a name that no recording has, or a survey that keeps no covariance
        """
        asked = f"between {_word(a)} and {_word(b)}"
        if self.joint is None:
            raise UndeterminedError(
                expected="a survey that keeps how its errors go together",
                came="one without",
                where=asked,
                next_step="survey the runs again, or with --between A:B",
            )
        a_mm, b_mm = (self._place_mm(place, asked) for place in (a, b))
        if a_mm == b_mm or (self.stations.closed and abs(a_mm - b_mm) == self.stations.length_mm):
            raise UsageError(
                expected="two different places",
                came=f"{a_mm:.0f} mm of chainage twice",
                where=asked,
                next_step="name two places",
            )
        return dataclasses.replace(self.joint.between(a_mm, b_mm), a=_word(a), b=_word(b))

    def _place_mm(self, place: str | float, asked: str) -> float:
        """Chainage of a place as a person names it."""
        try:
            s_mm = float(place)
        except ValueError:
            return self._named_mm(str(place), asked)
        reach = (0.0, self.stations.length_mm) if self.stations.closed else tuple(self.stations.s_mm[[0, -1]].tolist())
        if not reach[0] <= s_mm <= reach[1]:
            raise UsageError(
                expected=f"a place on the line, which reaches from {reach[0]:.0f} to {reach[1]:.0f} mm",
                came=f"{s_mm:g}",
                where=asked,
                next_step="give mm of chainage, 0 where the first run starts, or the name of a mark",
            )
        return s_mm

    def _named_mm(self, name: str, asked: str) -> float:
        if name in ("start", "end"):
            return float(self.travels[0].chainage_mm[0 if name == "start" else -1])
        places = [s_mm for s_mm, mark in self.marks if mark.name == name and math.isfinite(s_mm)]
        if not places:
            known = ", ".join(sorted({mark.name for _, mark in self.marks})) or "the recordings have none"
            raise UndeterminedError(
                expected=f"a chainage in mm, start, end or the name of a mark ({known})",
                came=repr(name),
                where=asked,
                next_step="write it as it stands in a recording's mark column",
            )
        if not self.stations.closed:
            return sum(places) / len(places)
        turn = 2 * math.pi / self.stations.length_mm  # a mark at the seam has places at both ends of the chainage
        middle = math.atan2(sum(math.sin(turn * s) for s in places), sum(math.cos(turn * s) for s in places))
        return (middle / turn) % self.stations.length_mm


def _word(place: str | float) -> str:
    return place if isinstance(place, str) else f"{place:g}"
