"""What a mishap costs: the same runs with and without it, found or not, and how many are found where nothing befell."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from scipy.stats import chi2

from benchmarks.adjusting.judged import judge
from benchmarks.adjusting.lines import BRANCH, GARDEN, OVAL, SPEED_MM_S, Case, Made, make
from benchmarks.row import Row, at_most, between
from benchmarks.surveying import drawn
from wayrule.pipeline import survey, travel
from wayrule.sim import (
    TWO_AXLE,
    Gap,
    Hand,
    ImuQuality,
    Knock,
    Leg,
    Railway,
    RunPlan,
    Slide,
    laps,
    simulate,
    with_stop,
)

COSTS_SHARE: Final = 0.5
"""A mishap may make plan or height worse by this share of the line's own limit (our choice)."""

FALSE_ALARMS: Final = 0

SET_DOWN_MM: Final = 100.0
"""How far further on a lifted wagon is set down; it travels as much less afterwards, so that its laps stay whole."""


@dataclass(frozen=True, slots=True)
class Befell:
    """A kind of mishap: what a plan is told for a run of so many mm with a stop, and how many it should be found as."""

    name: str
    kinds: tuple[str, ...]
    knocks: tuple[float, ...] = ()
    slide: tuple[float, float] | None = None
    gap_s: float = 0.0
    hand: tuple[float, float, float] | None = None

    def befalling(self, plan: RunPlan) -> RunPlan:
        """The same run with it: knocks and slides at shares of its path, a hand at its stop."""
        path_mm = sum(leg.distance_mm for leg in plan.legs)
        at_stop_mm = plan.legs[0].distance_mm - 5.0
        return replace(
            plan,
            knocks=tuple(Knock(share * path_mm) for share in self.knocks),
            slides=(Slide(0.25 * path_mm, *self.slide),) if self.slide else (),
            gaps=(Gap(0.3 * path_mm, self.gap_s),) if self.gap_s else (),
            hands=(Hand(at_stop_mm, 2.0, *self.hand),) if self.hand else (),
        )


BEFELL: Final = (
    Befell("nothing", ()),
    Befell("five knocks of 1.5 g", ("knock",) * 5, knocks=(0.12, 0.31, 0.5, 0.77, 0.9)),
    Befell("a hand at a stop", ("hand",), hand=(0.0, 0.0, 3.0)),
    Befell("lifted and set down 100 mm on", ("lift",), hand=(SET_DOWN_MM, 15.0, 10.0)),
    Befell("nothing written for 2 s", ("gap",), gap_s=2.0),
    Befell("wheel locked over 60 mm", ("slide",), slide=(60.0, 1.0)),
    Befell("wheel slid over 200 mm at 0.7 of its speed", ("slide",), slide=(200.0, 0.3)),
    Befell("wheel spun over 60 mm at 1.5 times its speed", ("spin",), slide=(60.0, -0.5)),
)

LIFTED: Final = BEFELL[3]

QUICK_SEEDS, JUMP_SEEDS = 3, 12

LINES: Final = (
    ("HO oval, 4 laps + 3 turned, taped", OVAL),
    ("N branch, out and back", BRANCH),
    ("G garden, 2 laps + 1 turned", GARDEN),
)

SEED: Final = 1


def mishap_rows(quality: ImuQuality, *, quick: bool) -> Iterator[Row]:
    """Each kind on each line; then the false alarms."""
    for title, case in LINES[:1] if quick else LINES:
        clean: tuple[float, float] | None = None
        for befell in BEFELL:
            made = make(replace(case, plans=partial(plans_of, case, befell)), quality, SEED)
            found = [one.kind for run in made.recordings for one in travel(run, made.wagon).mishaps]
            outcome = judge(made)
            plan, height = outcome.plan_mm, outcome.shape.height_rms_mm
            name = f"{title}, {quality.name} IMU, {befell.name}"
            told = ", ".join(found) or "nothing"
            yield Row(f"{name}: found", told, ", ".join(befell.kinds) or "nothing", tuple(found) == befell.kinds)
            if clean is None:
                clean = plan, height
                continue
            for what, value, before, limit in (
                ("plan", plan, clean[0], case.limits.plan_mm[0]),
                ("height", height, clean[1], case.limits.height_mm[0]),
            ):
                yield at_most(f"{name}: {what} rms, {before:.2f} mm without", value, before + COSTS_SHARE * limit, "mm")
    yield jump_row(quality, QUICK_SEEDS if quick else JUMP_SEEDS)
    yield false_alarm_row(quality, drawn.QUICK_LINES if quick else drawn.LINES)


def plans_of(case: Case, befell: Befell, railway: Railway) -> dict[str, RunPlan]:
    """A run with a stop, to which it happens, and another to which nothing does."""
    speed, wheelbase = SPEED_MM_S[railway.scale], TWO_AXLE[railway.scale].wheelbase_mm
    further = befell.hand[0] if befell.hand else 0.0
    if case is BRANCH:
        near, reach = 1.5 * wheelbase, railway.length_mm - 3.0 * wheelbase
        stop, rest = 0.4 * reach, 0.6 * reach - 2.0 * SET_DOWN_MM
        other = RunPlan(near + reach, (Leg(-reach, speed),))
        start = near
    else:
        around = 2 if case is GARDEN else 4
        stop, rest = 0.7 * railway.length_mm, (around - 0.7) * railway.length_mm - further
        other = RunPlan(*laps(railway.length_mm, around - 1, speed), turned=True)
        start = 0.0
    return {"befallen": befell.befalling(RunPlan(*with_stop(stop, rest, speed, start_mm=start))), "other": other}


def jump_row(quality: ImuQuality, seeds: int) -> Row:
    """Whether the sigma of where a lifted wagon was set down is believable, over seeds."""
    off = []
    for seed in range(1, seeds + 1):
        made = make(replace(BRANCH, plans=partial(plans_of, BRANCH, LIFTED)), quality, seed)
        found = survey(made.recordings, made.wagon, made.facts)
        told = " ".join(problem.text for problem in found.problems)
        ((jump, sd),) = re.findall(r"goes on ([+-][\d.]+) \+- ([\d.]+) mm", told)
        off.append((float(jump) - SET_DOWN_MM * by_the_wheel(made)) / float(sd))
    low, high = (float(chi2.ppf(share, seeds) / seeds) for share in (0.005, 0.995))
    what = (
        f"N branch, {quality.name} IMU, lifted and set down: mean squared normalised error of the jump, {seeds} seeds"
    )
    return between(what, float(np.mean(np.square(off))), low, high, "")


def by_the_wheel(made: Made) -> float:
    """What the wheel of the wagon's file rolls over a mm of track."""
    diameter = made.wagon.wheel.diameter_mm
    assert diameter is not None
    return np.pi * diameter / made.truths[0].circumference_mm


def false_alarms(quality: ImuQuality, lines: int) -> list[str]:
    """Mishaps found in runs of lines drawn at random, every effect on, to which none befell."""
    found = []
    for index in range(lines):
        one = drawn.draw(index)
        wagon = TWO_AXLE[one.scale]
        run, _ = simulate(one.railway, wagon, one.plan, quality, one.running)
        found += [f"{one.title}: {m.kind} at {m.first_s:.1f} s" for m in travel(run, wagon).mishaps]
    return found


def false_alarm_row(quality: ImuQuality, lines: int) -> Row:
    """Mishaps found in runs of lines drawn at random to which none befell."""
    found = false_alarms(quality, lines)
    what = f"mishaps found in {lines} drawn lines without any, {quality.name} IMU"
    return Row(what, str(len(found)), f"<= {FALSE_ALARMS}", len(found) <= FALSE_ALARMS, "; ".join(found))
