"""The floor: the same adjustment told the true circumference, slip and sensor constants."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from benchmarks.adjusting.judged import Outcome
from benchmarks.adjusting.lines import Case, make
from benchmarks.adjusting.staged import adjusted, with_sigmas
from benchmarks.row import Row
from benchmarks.surveying.promised import stated
from wayrule.model import Recording
from wayrule.sim import ImuQuality, RunTruth, SurveyErrors, errors
from wayrule.track.adjust.problem import Problem
from wayrule.track.adjust.unknowns import WAGON

BETTER: Final = 1e-3
"""A constant that is told is known so much better than before anything was known of it."""

UNTOLD: Final = ("scale", "stretch", "earth_x", "earth_y")
"""What is no constant of the wagon, or is told by its wheel's diameter."""

AIM: Final = 1.5


def floor(case: Case, quality: ImuQuality, seed: int) -> SurveyErrors:
    """Errors of a case whose adjustment is told the truth about the wagon; what is a run's own stays to be found."""
    made = make(replace(case, calibrated=False), quality, seed)
    wheel = made.truths[0].specimen.wheel
    diameter = wheel.circumference_mm / np.pi
    wagon = replace(made.wagon, wheel=replace(made.wagon.wheel, diameter_mm=diameter, diameter_sd_mm=1e-6 * diameter))
    recordings = [corrected(recording, made.truths[0]) for recording in made.recordings]

    def tell(problem: Problem) -> None:
        border, before = problem.border, problem.before
        known = dict(zip(before.acting_names, np.sqrt(np.diag(before.as_met)), strict=True))
        for name in WAGON:
            if name not in UNTOLD:
                at = border.names[name].start
                border.sd[at] = BETTER * float(known.get(name, border.sd[at]))
                border.value[at] = wheel.slip_mm if name == "slip_mm" else 0.0

    done = adjusted(recordings, wagon, made.facts, tell)
    return errors(made.railway, made.truths[0], with_sigmas(done))


def corrected(recording: Recording, truth: RunTruth) -> Recording:
    """Readings in body axes, with nothing of the sensor's own left in them but noise, wander and the gyro's bias."""
    imu = truth.specimen.imu
    assert recording.gyro_rad_s is not None, f"{recording.name}: simulated without a gyro"
    assert recording.acc_mm_s2 is not None, f"{recording.name}: simulated without an accelerometer"
    return replace(
        recording,
        gyro_rad_s=recording.gyro_rad_s @ np.linalg.inv(imu.gyro_matrix).T,
        acc_mm_s2=(recording.acc_mm_s2 - imu.acc_bias_mm_s2) @ np.linalg.inv(imu.acc_matrix).T,
    )


def floor_rows(case: Case, quality: ImuQuality, outcomes: Sequence[Outcome]) -> Iterator[Row]:
    """Errors of the survey over those of the floor, rms over the seeds."""
    floors = [floor(case, quality, outcome.made.seed) for outcome in outcomes]
    figures = {}
    for what, ours, told, unit in (
        ("plan", [o.plan_mm for o in outcomes], [_plan_mm(case, e) for e in floors], "mm"),
        ("height", [o.shape.height_rms_mm for o in outcomes], [e.height_rms_mm for e in floors], "mm"),
        ("cant", [o.shape.cant_rms_mm for o in outcomes], [e.cant_rms_mm for e in floors], "mm"),
    ):
        least = _rms(told)
        figures[what] = (_rms(ours) / least, f"times {least:.2g} {unit}")
    yield stated(
        f"{case.name}, {quality.name} IMU: over the same adjustment told the true circumference, slip and sensor "
        f"constants (aim {AIM:g} on every calibrated or closed line)",
        figures,
    )


def _plan_mm(case: Case, e: SurveyErrors) -> float:
    return e.plan_scaled_rms_mm if case.free_scale else e.plan_rms_mm


def _rms(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
