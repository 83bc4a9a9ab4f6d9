"""The result of surveying a line: the track, its pieces, the runs placed on it, and what was assumed."""

from dataclasses import dataclass

from wayrule.model.calibration import Calibration
from wayrule.model.recording import Mark, Problem
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
