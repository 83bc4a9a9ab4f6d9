"""The circumference from three taped 3 m runs, slip from straights and taped laps, a survey with the new file.

Each seed is another wagon on other track. What is promised is of the effective circumference on the day, as the taped
runs show it; what the calibration keeps for other days has the day's part on top, and is held against the same truth.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks.row import Row, at_least, at_most
from wayrule import pipeline
from wayrule.model import Facts, Recording, Wagon
from wayrule.model.purpose import Purpose
from wayrule.pipeline.calibrate import calibrate
from wayrule.sim import (
    GOOD,
    HO_VAN,
    TWO_AXLE,
    Joints,
    Leg,
    Railway,
    Roughness,
    RunPlan,
    Specimen,
    build,
    draw_specimen,
    errors,
    laps,
    oval,
    simulate,
    straight,
)

SEEDS: Final = 100
QUICK_SEEDS: Final = 12
FIRST_SEED: Final = 5001
RUNS: Final = 3
LENGTH_MM: Final = 3000.0
TAPE_SD_MM: Final = 0.7
LAP_SD_MM: Final = 2.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """One seed: relative error and claimed sd of today's circumference, and of the one that is kept."""

    error: float
    sd: float
    kept_error: float
    kept_sd: float


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the distance."""
    count = QUICK_SEEDS if quick else SEEDS
    seeds = range(FIRST_SEED, FIRST_SEED + count)
    for scale in ("HO",) if quick else ("HO", "N", "G"):
        yield from tape_rows(scale, [three_runs(TWO_AXLE[scale], seed) for seed in seeds])
    yield from slip_rows([slip(seed) for seed in seeds[: count // 4]])
    yield from survey_rows(seeds[:3])


def tape_rows(scale: str, found: list[Outcome]) -> Iterator[Row]:
    """The promised figures, and the same of what is kept."""
    what = f"circumference from {RUNS} taped {LENGTH_MM / 1000:g} m runs, {RUNS} tapings of {TAPE_SD_MM} mm, {scale}"
    rms = 100 * math.sqrt(float(np.mean([one.error**2 for one in found])))
    inside = 100 * float(np.mean([abs(one.error) < 2 * one.sd for one in found]))
    claimed = 100 * math.sqrt(float(np.mean([one.sd**2 for one in found])))
    kept = 100 * float(np.mean([abs(one.kept_error) < 2 * one.kept_sd for one in found]))
    yield at_most(f"{what}: error, rms over {len(found)} seeds (claimed {claimed:.3g} %)", rms, 0.03, "%")
    yield at_least(f"{what}: inside its two sigmas", inside, 91.0, "% of seeds")
    yield at_least(f"{what}: as kept for other days, inside its two sigmas", kept, 91.0, "% of seeds")


def shed_road(wagon: Wagon, rng: np.random.Generator) -> Railway:
    """A straight of 4 m with the roughness and joints of its gauge."""
    gauge = wagon.gauge_mm
    return build(
        "Shed road", [straight(LENGTH_MM + 8 * wagon.wheelbase_mm)], scale=wagon.scale, ratio=wagon.ratio,
        gauge_mm=gauge, rng=rng, roughness=Roughness.of_gauge(gauge), joints=Joints(14 * gauge, 0.02, 0.5 * gauge),
    )  # fmt: skip


def taped_run(
    wagon: Wagon, specimen: Specimen, road: Railway, rng: np.random.Generator, number: int
) -> tuple[Recording, Purpose]:
    """A run from stop to stop and a tape of its own, laid along the rails between the two."""
    start = 2 * wagon.wheelbase_mm * float(rng.uniform(1.0, 1.5))
    way = LENGTH_MM + float(rng.uniform(-5.0, 5.0))
    plan = RunPlan(start, (Leg(way, 8.0 * wagon.gauge_mm),))
    recording, truth = simulate(road, wagon, plan, GOOD, rng, specimen=specimen, name=f"floor {number}")
    tape = float(truth.path_mm[-1]) + TAPE_SD_MM * float(rng.standard_normal())
    return recording, Purpose("taped", tape, TAPE_SD_MM, f"taping {number}")


def three_runs(wagon: Wagon, seed: int) -> Outcome:
    """A new wagon on a new road, pulled three times, through the whole of `calibrate`."""
    rng = np.random.default_rng(seed)
    road, specimen = shed_road(wagon, rng), draw_specimen(wagon, GOOD, rng)
    day = calibrate([taped_run(wagon, specimen, road, rng, i) for i in range(RUNS)], wagon)
    if day.distance is None:
        raise ValueError(f"seed {seed}: expected a circumference, came {day.part('distance').refused}")
    circle = day.distance.circle("straight")
    assert circle is not None
    truth = specimen.wheel.circumference_mm
    nominal = math.pi * (wagon.wheel.diameter_mm or math.nan)
    scale, sd = day.calibration.one("wheel_scale")
    return Outcome(
        circle.circumference_mm / truth - 1, circle.circumference_sd_mm / truth,
        nominal * (1 + scale) / truth - 1, nominal * sd / truth,
    )  # fmt: skip


def slip(seed: int) -> tuple[float, float]:
    """Error and claimed sd of the slip [mm] from three taped straights and five laps of a lap taped to 2 mm."""
    rng = np.random.default_rng(seed)
    road, line, specimen = shed_road(HO_VAN, rng), oval(rng), draw_specimen(HO_VAN, GOOD, rng)
    given = [taped_run(HO_VAN, specimen, road, rng, i) for i in range(RUNS)]
    plan = RunPlan(*laps(line.length_mm, 5, 260.0), rate_hz=100.0)
    recording, truth = simulate(line, HO_VAN, plan, GOOD, rng, specimen=specimen, name="oval")
    lap = float(truth.path_mm[-1]) / 5 + LAP_SD_MM * float(rng.standard_normal())
    day = calibrate([*given, (recording, Purpose("laps", lap, LAP_SD_MM, laps=5))], HO_VAN)
    if day.distance is None or math.isnan(day.distance.slip_mm):
        raise ValueError(f"seed {seed}: expected a slip, came {day.part('distance').refused}")
    return day.distance.slip_mm - specimen.wheel.slip_mm, day.distance.slip_sd_mm


def slip_rows(found: list[tuple[float, float]]) -> Iterator[Row]:
    """How often the slip lies within what is claimed."""
    inside = 100 * float(np.mean([abs(error) < 2 * sd for error, sd in found]))
    rms = math.sqrt(float(np.mean([error**2 for error, _ in found])))
    what = f"slip in curves from straights and five taped laps, rms {rms:.2g} mm over {len(found)} seeds"
    yield at_least(f"{what}: inside its two sigmas", inside, 91.0, "% of seeds")


def survey_rows(seeds: range) -> Iterator[Row]:
    """One unturned lap, surveyed with the caliper alone and with the calibration of three taped runs."""
    ratios = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        road, line, specimen = shed_road(HO_VAN, rng), oval(rng), draw_specimen(HO_VAN, GOOD, rng)
        day = calibrate([taped_run(HO_VAN, specimen, road, rng, i) for i in range(RUNS)], HO_VAN)
        plan = RunPlan(*laps(line.length_mm, 1, 260.0), rate_hz=100.0)
        recording, truth = simulate(line, HO_VAN, plan, GOOD, rng, specimen=specimen, name="once")
        facts = Facts(laps={"once": 1})
        plain, better = (
            pipeline.survey([recording], HO_VAN, facts, calibration=one).stations for one in (None, day.calibration)
        )
        ratios.append(errors(line, truth, better).plan_rms_mm / errors(line, truth, plain).plan_rms_mm)
    what = "plan of one unturned lap with the calibration of three taped runs, over the same with the caliper"
    yield at_most(f"{what}, mean of {len(ratios)} seeds", float(np.mean(ratios)), 1.0, "times")
