"""A survey of a line held against the truth and the limits, with what no run could tell taken out first."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize_scalar

from benchmarks.adjusting.lines import Case, Made
from benchmarks.row import Row
from benchmarks.surveying.promised import over_seeds, stated
from wayrule.model import Stations, Survey
from wayrule.pipeline import survey
from wayrule.sim import ImuQuality, SurveyErrors, errors

MOST_TURNING = 0.05
"""A gyro's scale is never off by more (ten sigma of the simulator's)."""


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One seed of a case, surveyed.

    as_claimed   errors of the survey as it stands
    shape        errors after the factor on all turning is taken out, where the case says so; else the same
    turning      that factor; 1 where none was taken out
    """

    made: Made
    found: Survey
    as_claimed: SurveyErrors
    shape: SurveyErrors
    turning: float

    @property
    def plan_mm(self) -> float:
        """Plan rms after rigid registration, and one scale factor where no tape gives the scale."""
        return self.shape.plan_scaled_rms_mm if self.made.case.free_scale else self.shape.plan_rms_mm

    @property
    def radius_percent(self) -> tuple[float, ...]:
        """Size of the error of every arc's radius, less the same scale factor."""
        stretch = 1.0 + self.shape.length_error_percent / 100.0 if self.made.case.free_scale else 1.0
        return tuple(abs(100.0 * ((1.0 + e / 100.0) / stretch - 1.0)) for e in self.shape.radius_error_percent)


def judge(made: Made) -> Outcome:
    """Survey and compare."""
    found = survey(made.recordings, made.wagon, made.facts)
    as_claimed = compared(made, found, found.stations)
    shape, turning = as_claimed, 1.0
    if made.case.free_turning:
        turning = best_turning(made, found)
        shape = compared(made, found, turned_by(found.stations, turning))
    # samples have done their work: what is kept of many surveys is small
    kept = replace(made, recordings=(), truths=made.truths[:1])
    return Outcome(kept, replace(found, travels=()), as_claimed, shape, turning)


def compared(made: Made, found: Survey, stations: Stations) -> SurveyErrors:
    """Errors of these stations against the truth."""
    return errors(made.railway, made.truths[0], stations, elements=found.elements, faults=found.faults)


def turned_by(stations: Stations, factor: float) -> Stations:
    """The same line with every change of heading times `factor`: each chord is turned by what its heading gains."""
    heading = stations.heading_rad
    chords = np.diff(stations.x_mm) + 1j * np.diff(stations.y_mm)
    gained = (factor - 1.0) * (0.5 * (heading[1:] + heading[:-1]) - heading[0])
    plan = np.concatenate([[0.0], np.cumsum(chords * np.exp(1j * gained))]) + stations.x_mm[0] + 1j * stations.y_mm[0]
    return replace(
        stations,
        x_mm=plan.real,
        y_mm=plan.imag,
        heading_rad=heading[0] + factor * (heading - heading[0]),
        curvature_1_mm=factor * stations.curvature_1_mm,
    )


def best_turning(made: Made, found: Survey) -> float:
    """The factor on all turning that fits the plan best, one scale taken out at the same time."""

    def misfit(factor: float) -> float:
        return compared(made, found, turned_by(found.stations, factor)).plan_scaled_rms_mm

    best = minimize_scalar(
        misfit, bounds=(1.0 - MOST_TURNING, 1.0 + MOST_TURNING), method="bounded", options={"xatol": 1e-6}
    )
    return float(best.x)


def limit_rows(case: Case, quality: ImuQuality, outcomes: Sequence[Outcome]) -> Iterator[Row]:
    """The promised figures of a line for one sensor, each over its seeds."""
    which = 0 if quality.name == "good" else 1
    name, limits = f"{case.name}, {quality.name} IMU", case.limits
    plan = "plan rms"
    if case.free_scale:
        plan += ", one scale removed"
    if case.free_turning:
        plan += " and one factor on all turning fitted"
    radius = "radius of arcs after that factor" if case.free_turning else "radius of arcs"
    shapes = [o.shape for o in outcomes]
    yield over_seeds(f"{name}: {plan}", [o.plan_mm for o in outcomes], limits.plan_mm[which], "mm")
    if case.taped:
        untaped = {f"seed {o.made.seed}": (o.shape.plan_scaled_rms_mm, "mm") for o in outcomes}
        yield stated(f"{name}: plan rms with one scale removed as well, and so the tape's own error", untaped)
    yield over_seeds(f"{name}: height rms", [e.height_rms_mm for e in shapes], limits.height_mm[which], "mm")
    median = [float(np.median(o.radius_percent)) if o.radius_percent else math.nan for o in outcomes]
    worst = [max(o.radius_percent, default=math.nan) for o in outcomes]
    yield over_seeds(f"{name}: {radius}, median", median, limits.radius_percent[0], "%")
    yield over_seeds(f"{name}: {radius}, worst", worst, limits.radius_percent[1], "%")
    gradient = [1000.0 * e.gradient_rms for e in shapes]
    yield over_seeds(f"{name}: gradient rms", gradient, limits.gradient_per_mille[which], "per mille")
    yield over_seeds(f"{name}: cant rms", [e.cant_rms_mm for e in shapes], limits.cant_mm[which], "mm")
