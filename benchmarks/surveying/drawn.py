"""Lines drawn at random, to learn whether the claimed sigmas can be believed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks.row import Row, at_least, between
from benchmarks.surveying.promised import along_the_rails
from wayrule.model import Facts, Tape
from wayrule.pipeline import survey
from wayrule.sim import (
    GOOD,
    TWO_AXLE,
    ImuQuality,
    Leg,
    Railway,
    RunPlan,
    SurveyErrors,
    coverage,
    errors,
    laps,
    random_line,
    simulate,
)

LINES: Final = 60
"""At least thirty are asked for; among thirty, how straight their sensors happen to sit moves the cant's share by 20
points."""

TAPE_SD_MM: Final = 5.0
QUICK_LINES: Final = 6
SCALES: Final = ("HO", "N", "G")
FIRST_SEED: Final = 1001

SPEED_MM_S: Final = {"N": (120.0, 200.0), "HO": (150.0, 280.0), "G": (250.0, 450.0)}
"""Range of pulling speeds by scale; our choice, a brisk pull by hand."""

ONE_SIGMA_PERCENT: Final = (55.0, 80.0)
TWO_SIGMA_PERCENT: Final = 90.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """A line and how it is run: whole laps of a closed one (taped or not), out and back on an open one.

    laps     0 on an open line
    tape_mm  what the tape read along the lap, or None
    """

    index: int
    scale: str
    railway: Railway
    plan: RunPlan
    laps: int
    tape_mm: float | None
    running: np.random.Generator

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        how = f"{self.laps} laps{', taped' if self.tape_mm else ''}" if self.laps else "out and back"
        return f"{self.railway.name} ({self.scale}, {self.railway.length_mm / 1000:.1f} m, {how})"

    @property
    def facts(self) -> Facts:
        """What its owner states: the laps of a closed line, and the tape where there is one."""
        tapes = (Tape("lap", self.tape_mm, TAPE_SD_MM),) if self.tape_mm else ()
        return Facts(laps={"run": self.laps} if self.laps else {}, tapes=tapes)


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A drawn line with its errors, or with the reason why there is no survey of it."""

    title: str
    errors: SurveyErrors | None
    why: str = ""


def draw(index: int) -> Drawn:
    """The index-th line: scale in turn, everything else from its own seed."""
    scale = SCALES[index % len(SCALES)]
    drawing, choosing, running = np.random.default_rng(FIRST_SEED + index).spawn(3)
    railway = random_line(drawing, scale)
    speed = float(choosing.uniform(*SPEED_MM_S[scale]))
    if railway.closed:
        count = int(choosing.integers(2, 4))
        taped = along_the_rails(railway) + float(choosing.normal(0.0, TAPE_SD_MM))
        tape = taped if choosing.random() < 0.5 else None
        return Drawn(index, scale, railway, RunPlan(*laps(railway.length_mm, count, speed)), count, tape, running)
    wheelbase = TWO_AXLE[scale].wheelbase_mm
    reach = railway.length_mm - 3.0 * wheelbase  # the whole wagon stays on the line
    plan = RunPlan(wheelbase, (Leg(reach, speed, 2.0), Leg(-reach, speed)))
    return Drawn(index, scale, railway, plan, 0, None, running)


def judge(drawn: Drawn, quality: ImuQuality = GOOD) -> Judged:
    """Run, survey, compare. A line that cannot be surveyed is told as such, and counts as one.

    Once for each drawn line: its dice are cast then.
    """
    wagon = TWO_AXLE[drawn.scale]
    recording, truth = simulate(drawn.railway, wagon, drawn.plan, quality, drawn.running, name="run")
    try:
        found = survey([recording], wagon, drawn.facts)
        if found.stations.closed != drawn.railway.closed:
            return Judged(drawn.title, None, f"surveyed as {'a closed' if found.stations.closed else 'an open'} line")
        return Judged(drawn.title, errors(drawn.railway, truth, found.stations, elements=found.elements))
    except Exception as error:  # whatever it is, it must show in the table rather than thin out the pool
        return Judged(drawn.title, None, f"{type(error).__name__}: {error}")


def coverage_rows(judged: Sequence[Judged]) -> Iterator[Row]:
    """Shares inside one and two claimed sigmas for every quantity, pooled over the lines."""
    surveyed = [j.errors for j in judged if j.errors is not None]
    missing = "; ".join(f"{j.title}: {j.why}" for j in judged if j.errors is None)
    what, many = "lines drawn at random that were surveyed", f"{len(surveyed)} of {len(judged)}"
    yield Row(what, many, "all", not missing, missing)
    for quantity, share in coverage(surveyed).items():
        what = f"{quantity}: true errors over {len(surveyed)} drawn lines inside"
        yield between(f"{what} one claimed sigma", 100.0 * share.inside_one, *ONE_SIGMA_PERCENT, "%")
        yield at_least(f"{what} two claimed sigmas", 100.0 * share.inside_two, TWO_SIGMA_PERCENT, "%")
