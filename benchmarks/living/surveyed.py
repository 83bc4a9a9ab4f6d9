"""Surveyed lines on which wagons are pushed and watched: the survey, the wagon as it then is known, and the truth."""

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from benchmarks.adjusting.lines import CASES, SPEED_MM_S, Case, Limits, make, over_a_branch
from wayrule import pipeline
from wayrule.model import Calibration, Recording, Stations, Wagon
from wayrule.model.arrays import Array
from wayrule.sim import GOOD, Leg, Railway, RunPlan, RunTruth, Specimen, random_line, simulate

OPEN_HO: Final = Case(
    "HO line 9.9 m, open: out, back, turned, shunting", "HO", lambda _, *, defects=0: _open_line(defects),
    over_a_branch, Limits((9, 9), (9, 9), (9, 9), (9, 9), (9, 9)),
)  # fmt: skip
LINES: Final = (CASES[0], CASES[1], CASES[3], CASES[4], OPEN_HO)
"""Oval, figure-eight, N branch, garden, and an open line in H0; the wagon's constants are what the survey learnt."""


def _open_line(defects: int) -> Railway:
    return random_line(np.random.default_rng(0), defects=defects)


@dataclass(frozen=True, slots=True, eq=False)
class SurveyedLine:
    """A line, its survey, the wagon that made it, and the chainage that the survey gives to each true one."""

    railway: Railway
    wagon: Wagon
    specimen: Specimen
    stations: Stations
    calibration: Calibration
    true_mm: Array
    told_mm: Array

    def told(self, chainage_mm: Array) -> Array:
        """The survey's chainage of true ones."""
        if not self.railway.closed:
            order = np.argsort(self.true_mm, kind="stable")
            return np.interp(chainage_mm, self.true_mm[order], self.told_mm[order])
        lap = self.stations.length_mm
        once = self.true_mm - self.true_mm[0] <= self.railway.length_mm * 1.001
        told = np.unwrap(self.told_mm[once], period=lap)
        away = (chainage_mm - self.true_mm[0]) % self.railway.length_mm
        return np.asarray(np.interp(away, self.true_mm[once] - self.true_mm[0], told) % lap)

    def push(
        self, start_mm: float, legs: tuple[Leg, ...], rng: np.random.Generator, *, turned: bool = False
    ) -> tuple[Recording, RunTruth]:
        """The wagon that made the survey, on another day's push."""
        plan = RunPlan(start_mm, legs, turned=turned, still_s=(2.0, 2.5))
        return simulate(self.railway, self.wagon, plan, GOOD, rng, specimen=self.specimen)


@cache
def surveyed(number: int) -> SurveyedLine:
    """One of `LINES`, surveyed."""
    made = make(LINES[number], GOOD, 1, defects=3)
    found = pipeline.survey(made.recordings, made.wagon, made.facts)
    truth, some = made.truths[0], slice(None, None, 20)
    return SurveyedLine(
        made.railway, made.wagon, truth.specimen, found.stations, found.calibration, truth.chainage_mm[some],
        found.travels[0].chainage_mm[some],
    )  # fmt: skip


def speed_of(line: SurveyedLine) -> float:
    """A brisk pull [mm/s]."""
    return SPEED_MM_S[line.railway.scale]


STEP_MM = 5.0


def stations_of(line: Railway) -> Stations:
    """The line itself, with the sigmas of a good survey."""
    n = int(line.length_mm / STEP_MM)
    s = np.asarray(np.arange(n) * (line.length_mm / n), dtype=np.float64)
    x, y = line.xy(s)
    heading = line.heading(s)
    sd = {"x_sd_mm": 0.3, "y_sd_mm": 0.3, "z_sd_mm": 0.2, "heading_sd_rad": 3e-4}
    sd |= {"curvature_sd_1_mm": 5e-6, "gradient_sd": 1e-4, "cant_sd_mm": 2e-3}
    return Stations(
        s_mm=s, x_mm=x, y_mm=y, z_mm=line.z(s), heading_rad=heading, curvature_1_mm=line.curvature(s),
        gradient=line.gradient(s), cant_mm=line.cant(s), passes=np.full(n, 8), closed=line.closed,
        length_mm=line.length_mm, gauge_mm=line.gauge_mm, wheelbase_mm=65.0,
        **{name: np.full(n, value) for name, value in sd.items()},
    )  # fmt: skip
