"""A line and the spur that leaves it: two runs of one wagon, none turned, the second with what the first taught."""

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks.adjusting.believed import of_quantities
from benchmarks.adjusting.lines import SPEED_MM_S
from benchmarks.row import Row, at_least, at_most
from benchmarks.surveying.promised import over_seeds, stated
from wayrule.model import Facts, Recording, Stations, Survey
from wayrule.pipeline import survey
from wayrule.sim import (
    HO_VAN,
    ImuQuality,
    Leg,
    Railway,
    RunPlan,
    RunTruth,
    SurveyErrors,
    draw_specimen,
    errors,
    laps,
    line_and_spur,
    simulate,
)

NAME: Final = "HO line and spur over one turnout, none turned, the spur with the line's calibration"
LAPS: Final = 4
NEAR_WHEELBASES: Final = 1.5

LINE_PLAN_MM: Final = (0.6, 0.9)
SPUR_PLAN_MM: Final = (2.0, 3.0)
HEIGHT_MM: Final = (0.4, 2.0)
RADIUS_PERCENT: Final = (0.3, 1.0)
GRADIENT_PER_MILLE: Final = (0.5, 2.0)
CANT_MM: Final = 0.02
"""For a good and a cheap sensor; radius: median and worst arc; cant less its constant, whatever the sensor."""

ALONE_PERCENT: Final = 85.0
LEAST_GAIN: Final = 5.0
"""A remembered wagon shall be far better than one that is not: heights by this factor; our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """The two lines drawn from a seed, and one wagon's run along each."""

    line: Railway
    spur: Railway
    recordings: tuple[Recording, Recording]
    truths: tuple[RunTruth, RunTruth]


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Errors of the line, of the spur with the line's calibration, and of the spur with nothing remembered.

    tilted_mm      height of the spur, calibrated and not, with nothing but its mean taken out
    level_start    height of the spur with nothing remembered, taken to begin level
    said           what the calibrated spur's survey says of its cant
    """

    line: SurveyErrors
    spur: SurveyErrors
    alone: SurveyErrors
    tilted_mm: tuple[float, float]
    level_start: SurveyErrors
    level_tilted_mm: float
    said: str


def make(quality: ImuQuality, seed: int) -> Made:
    """Four laps of the line, then the spur once from end to end, all of the wagon on it; switched on anew between."""
    drawing, running = np.random.default_rng(seed).spawn(2)
    line, spur = line_and_spur(drawing)
    specimen, speed, near = (
        draw_specimen(HO_VAN, quality, running),
        SPEED_MM_S["HO"],
        NEAR_WHEELBASES * HO_VAN.wheelbase_mm,
    )
    plans = (
        RunPlan(*laps(line.length_mm, LAPS, speed)),
        RunPlan(near, (Leg(spur.length_mm - 2 * near, speed),)),
    )
    runs = [
        simulate(railway, HO_VAN, plan, quality, running, specimen=specimen, name=name)
        for railway, plan, name in zip((line, spur), plans, ("line", "spur"), strict=True)
    ]
    return Made(line, spur, (runs[0][0], runs[1][0]), (runs[0][1], runs[1][1]))


def judge(made: Made) -> Outcome:
    """Survey one after the other, and the spur once more as if the wagon were new."""
    round_it, along = made.recordings
    first = survey([round_it], HO_VAN, Facts(laps={"line": LAPS}))
    second, alone = survey([along], HO_VAN, calibration=first.calibration), survey([along], HO_VAN)
    level = levelled(alone.stations)
    truth = made.truths[1]
    return Outcome(
        errors(made.line, made.truths[0], first.stations),
        errors(made.spur, truth, second.stations),
        errors(made.spur, truth, alone.stations),
        (tilted_mm(made, second.stations), tilted_mm(made, alone.stations)),
        errors(made.spur, truth, level),
        tilted_mm(made, level),
        of_cant(second),
    )


def levelled(stations: Stations) -> Stations:
    """The same line with all gradients shifted so that its first wheelbase is level: what a level start would give."""
    start = float(np.mean(stations.gradient[stations.s_mm - stations.s_mm[0] <= stations.wheelbase_mm]))
    return dataclasses.replace(
        stations, gradient=stations.gradient - start, z_mm=stations.z_mm - start * (stations.s_mm - stations.s_mm[0])
    )


def tilted_mm(made: Made, stations: Stations) -> float:
    """Rms of the spur's heights less their mean: no plane taken out. Chainage 0 is where the run started."""
    true = made.spur.z(np.clip(stations.s_mm + made.truths[1].chainage_mm[0], 0.0, made.spur.length_mm))
    return float(np.std(stations.z_mm - true))


def of_cant(found: Survey) -> str:
    """The sentence about the cant's constant; "" where there is none."""
    return next((s for s in found.assumptions if "the cant is known but for one constant" in s), "")


def radius_percent(e: SurveyErrors) -> list[float]:
    """Size of the error of every arc's radius, one scale taken out: no tape gave it."""
    stretch = 1.0 + e.length_error_percent / 100.0
    return [abs(100.0 * ((1.0 + r / 100.0) / stretch - 1.0)) for r in e.radius_error_percent]


def spur_rows(quality: ImuQuality, seeds: Sequence[int]) -> Iterator[Row]:
    """The promised figures of line and spur for one sensor, and what the spur would be without the calibration."""
    outcomes = [judge(make(quality, seed)) for seed in seeds]
    which = 0 if quality.name == "good" else 1
    name = f"{NAME}, {quality.name} IMU"
    for what, of, limit in (
        ("line", [o.line for o in outcomes], LINE_PLAN_MM),
        ("spur", [o.spur for o in outcomes], SPUR_PLAN_MM),
    ):
        yield over_seeds(
            f"{name}: plan rms of the {what}, one scale removed", [e.plan_scaled_rms_mm for e in of], limit[which], "mm"
        )
    for what, of in (("line", [o.line for o in outcomes]), ("spur", [o.spur for o in outcomes])):
        yield over_seeds(f"{name}: height rms of the {what}", [e.height_rms_mm for e in of], HEIGHT_MM[which], "mm")
        gradient = [1000.0 * e.gradient_rms for e in of]
        yield over_seeds(f"{name}: gradient rms of the {what}", gradient, GRADIENT_PER_MILLE[which], "per mille")
        yield over_seeds(
            f"{name}: cant rms of the {what}, less its constant", [e.cant_rms_mm for e in of], CANT_MM, "mm"
        )
    arcs = [radius_percent(o.line) + radius_percent(o.spur) or [math.nan] for o in outcomes]
    median, worst = RADIUS_PERCENT
    yield over_seeds(f"{name}: radius of arcs of both, median", [float(np.median(a)) for a in arcs], median, "%")
    yield over_seeds(f"{name}: radius of arcs of both, worst", [max(a) for a in arcs], worst, "%")
    yield from remembered_rows(name, outcomes)


def remembered_rows(name: str, outcomes: Sequence[Outcome]) -> Iterator[Row]:
    """What the calibration is worth, what stays unknown, and how far the spur's sigmas can be believed."""
    height, alone = (
        rms([e.height_rms_mm for e in of]) for of in ([o.spur for o in outcomes], [o.alone for o in outcomes])
    )
    yield at_least(
        f"{name}: spur's height rms without the calibration over that with it", alone / height, LEAST_GAIN, "times"
    )
    yield stated(
        f"{name}: spur's height rms",
        {
            "without the calibration": (alone, "mm"),
            "the same, no plane removed": (rms([o.tilted_mm[1] for o in outcomes]), "mm"),
            "with it, no plane removed": (rms([o.tilted_mm[0] for o in outcomes]), "mm"),
        },
    )
    level = rms([o.level_start.height_rms_mm for o in outcomes])
    yield at_most(
        f"{name}: spur's height rms without the calibration over assuming a level start", alone / level, 1.0, "times"
    )
    tilted, level_tilted = rms([o.tilted_mm[1] for o in outcomes]), rms([o.level_tilted_mm for o in outcomes])
    yield at_most(f"{name}: the same, no plane removed", tilted / level_tilted, 1.0, "times")
    constant = rms([o.spur.cant_mean_mm for o in outcomes])
    said = "; ".join(o.said.split(" constant ")[-1].split(",")[0] for o in outcomes)
    what = f"{name}: the spur's cant keeps an unknown constant, and the survey says so"
    yield Row(what, f"{constant:.2g} mm rms; said: {said}", "a sentence with its size", all(o.said for o in outcomes))
    shares = of_quantities([o.spur for o in outcomes])
    least = min(shares, key=lambda k: shares[k].inside_two)
    each = ", ".join(f"{k} {100 * share.inside_two:.0f}" for k, share in shares.items())
    row = at_least(
        f"{name}: true errors of the spur inside two claimed sigmas, least of the quantities",
        100.0 * shares[least].inside_two, ALONE_PERCENT, "%",
    )  # fmt: skip
    yield Row(row.what, f"{row.measured} ({each})", row.limit, row.ok)


def rms(values: Sequence[float]) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(np.square(values))))
