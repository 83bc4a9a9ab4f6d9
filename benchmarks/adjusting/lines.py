"""The lines that the adjustment is judged on: how each is drawn, run, and what its owner knows and tells."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np

from benchmarks.surveying.promised import along_the_rails
from wayrule.model import Facts, Recording, Tape, Wagon
from wayrule.sim import (
    CHEAP,
    GOOD,
    TWO_AXLE,
    ImuQuality,
    Leg,
    Railway,
    RunPlan,
    RunTruth,
    Specimen,
    branch_n,
    draw_specimen,
    figure_eight,
    garden_g,
    laps,
    oval,
    simulate,
)

SEEDS: Final = (1, 2, 3)
QUALITIES: Final = (GOOD, CHEAP)

SPEED_MM_S: Final = {"N": 160.0, "HO": 220.0, "G": 350.0}
"""A brisk pull by hand; our choice."""

TAPE_MM: Final = 5.0
"""A tape errs by no more than this, evenly spread; the survey is told it as the tape's sigma. As one sigma it would by
itself put the oval 0.74 mm rms out of place (its points lie 1.34 m rms from their middle), more than everything may."""

CIRCUMFERENCE_SD: Final = 3e-4
GYRO_SCALE_SD: Final = 5e-4
"""How well a calibrated wagon's circumference and gyro scales are known (relative)."""


class Draw(Protocol):
    """Draws a line from a seed, with so many defects planted in it."""

    def __call__(self, rng: np.random.Generator, *, defects: int = 0) -> Railway:
        """The line."""
        ...


@dataclass(frozen=True, slots=True)
class Limits:
    """What is promised of a line: rms over seeds, for a good and for a cheap inertial sensor.

    radius_percent   of the median and of the worst arc, whatever the sensor
    """

    plan_mm: tuple[float, float]
    height_mm: tuple[float, float]
    radius_percent: tuple[float, float]
    gradient_per_mille: tuple[float, float]
    cant_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Case:
    """A line, its runs by one wagon, and what the survey is told.

    plans            name of a run -> how it goes
    taped            one lap is taped along the rails; see TAPE_MM
    calibrated       the wagon file knows circumference and gyro scales (see CIRCUMFERENCE_SD, GYRO_SCALE_SD)
    free_scale       judged after one scale factor is taken out
    free_turning     judged after one factor on all turning is taken out as well
    """

    name: str
    scale: str
    draw: Draw
    plans: Callable[[Railway], Mapping[str, RunPlan]]
    limits: Limits
    taped: bool = False
    calibrated: bool = False
    free_scale: bool = True
    free_turning: bool = False

    @property
    def wagon(self) -> Wagon:
        """The wagon as measured with a caliper."""
        return TWO_AXLE[self.scale]


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """A case drawn from a seed: what the survey is given, and the truth."""

    case: Case
    quality: ImuQuality
    seed: int
    railway: Railway
    wagon: Wagon
    facts: Facts
    recordings: tuple[Recording, ...]
    truths: tuple[RunTruth, ...]


def make(case: Case, quality: ImuQuality, seed: int, *, defects: int = 0) -> Made:
    """Draw the line, pull the wagon along it, and write down what its owner would tell.

    The line depends on the seed alone: a good and a cheap sensor meet the same track.
    """
    drawing, taping, calibrating, running = np.random.default_rng(seed).spawn(4)
    railway = case.draw(drawing, defects=defects)
    plans = case.plans(railway)
    specimen = draw_specimen(case.wagon, quality, running)
    runs = [
        simulate(railway, case.wagon, plan, quality, running, specimen=specimen, name=name)
        for name, plan in plans.items()
    ]
    wagon, recordings = case.wagon, tuple(recording for recording, _ in runs)
    if case.calibrated:
        wagon, recordings = calibrated(wagon, specimen, recordings, calibrating)
    tapes: tuple[Tape, ...] = ()
    if case.taped:
        read = along_the_rails(railway) + float(taping.uniform(-TAPE_MM, TAPE_MM))
        tapes = (Tape("lap", read, TAPE_MM),)
    facts = Facts(
        laps={name: whole for name, plan in plans.items() if (whole := whole_laps(railway, plan))},
        turned=frozenset(name for name, plan in plans.items() if plan.turned),
        tapes=tapes,
    )
    return Made(case, quality, seed, railway, wagon, facts, recordings, tuple(truth for _, truth in runs))


def whole_laps(railway: Railway, plan: RunPlan) -> int:
    """Whole laps that a run makes; 0 on an open line."""
    return round(sum(abs(leg.distance_mm) for leg in plan.legs) / railway.length_mm) if railway.closed else 0


def calibrated(
    wagon: Wagon, specimen: Specimen, recordings: tuple[Recording, ...], rng: np.random.Generator
) -> tuple[Wagon, tuple[Recording, ...]]:
    """The wagon file and the recordings of a calibrated wagon: both scales right but for what a calibration leaves."""
    diameter = specimen.wheel.circumference_mm / np.pi * (1.0 + CIRCUMFERENCE_SD * float(rng.standard_normal()))
    wheel = replace(wagon.wheel, diameter_mm=diameter, diameter_sd_mm=CIRCUMFERENCE_SD * diameter)
    gain = np.diag(specimen.imu.gyro_matrix) * (1.0 + GYRO_SCALE_SD * rng.standard_normal(3))
    corrected = []
    for one in recordings:
        assert one.gyro_rad_s is not None, f"{one.name}: simulated without a gyro"
        corrected.append(replace(one, gyro_rad_s=one.gyro_rad_s / gain))
    return replace(wagon, wheel=wheel, imu=replace(wagon.imu, gyro_scale_sd=GYRO_SCALE_SD)), tuple(corrected)


def round_and_round(forwards: int, turned: int, backwards: int = 0) -> Callable[[Railway], dict[str, RunPlan]]:
    """Laps of a closed line: as the wagon stands, turned end for end, and the other way round."""

    def plans(railway: Railway) -> dict[str, RunPlan]:
        length, speed = railway.length_mm, SPEED_MM_S[railway.scale]
        out = {
            "forwards": RunPlan(*laps(length, forwards, speed)),
            "turned": RunPlan(*laps(length, turned, speed), turned=True),
        }
        if backwards:
            out["backwards"] = RunPlan(*laps(length, backwards, speed, backwards=True))
        return out

    return plans


def over_a_branch(railway: Railway) -> dict[str, RunPlan]:
    """Out, back, out again turned end for end, and shunting to and fro; the whole wagon stays on the line."""
    wheelbase, speed = TWO_AXLE[railway.scale].wheelbase_mm, SPEED_MM_S[railway.scale]
    near, reach = 1.5 * wheelbase, railway.length_mm - 3.0 * wheelbase
    shunting = (0.55, -0.25, 0.45, -0.35, 0.40, -0.80)
    return {
        "out": RunPlan(near, (Leg(reach, speed),)),
        "back": RunPlan(near + reach, (Leg(-reach, speed),)),
        "turned": RunPlan(near, (Leg(reach, speed),), turned=True),
        "shunting": RunPlan(near, tuple(Leg(share * reach, speed, 2.0) for share in shunting)),
    }


OVAL: Final = Case(
    "HO oval 9 m, 4 laps + 3 turned + 3 other way, lap taped +-5 mm",
    "HO", oval, round_and_round(4, 3, 3),
    Limits((0.5, 0.7), (0.3, 0.5), (0.15, 0.5), (0.4, 0.7), (0.02, 0.06)),
    taped=True, free_scale=False,
)  # fmt: skip

EIGHT: Final = Case(
    "HO figure-eight 25 m over itself, 3 + 2 + 2 laps",
    "HO", figure_eight, round_and_round(3, 2, 2),
    Limits((1.0, 1.5), (1.0, 1.5), (0.3, 1.0), (0.5, 0.9), (0.02, 0.03)),
)  # fmt: skip

BRANCH: Final = Case(
    "N branch 14 m, open: out, back, turned, shunting; wagon calibrated",
    "N", branch_n, over_a_branch,
    Limits((1.2, 2.0), (0.5, 0.6), (0.3, 0.8), (0.6, 0.9), (0.01, 0.02)),
    calibrated=True,
)  # fmt: skip

UNCALIBRATED: Final = Case(
    "N branch 14 m, the same, never calibrated",
    "N", branch_n, over_a_branch,
    Limits((1.2, 2.0), (0.5, 0.6), (1.0, 1.5), (0.8, 1.0), (0.01, 0.02)),
    free_turning=True,
)  # fmt: skip

GARDEN: Final = Case(
    "G garden 59 m, 2 laps + 1 turned",
    "G", garden_g, round_and_round(2, 1),
    Limits((4.5, 6.0), (1.5, 2.0), (0.7, 3.0), (0.5, 0.8), (0.04, 0.1)),
)  # fmt: skip

CASES: Final = (OVAL, EIGHT, BRANCH, UNCALIBRATED, GARDEN)
