"""The card of health: locks found and falsely told, ambers and reds of clean runs, and planted causes seen."""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchmarks.row import Row, at_least, at_most
from benchmarks.surveying import drawn
from wayrule.model import AxleReference, Mishap, Recording, Wagon
from wayrule.pipeline import travel
from wayrule.run.axle import learn_axle
from wayrule.sim import (
    CHEAP,
    GOOD,
    TWO_AXLE,
    Gap,
    ImuQuality,
    Knock,
    Lump,
    RunPlan,
    RunTruth,
    Slide,
    draw_specimen,
    simulate,
)
from wayrule.units import DEG, G_MM_S2

RECALL: Final = 0.95
FALSE_PER_KM: Final = 1.0

LOCK_MM: Final = (40.0, 400.0)
"""Lengths of the locks, evenly in the logarithm: 40 mm is the promise; the longest is 3 s at a slow pull in N."""

LOCKS_A_RUN: Final = 3
APART_MM: Final = 800.0
NEAR_S: Final = 0.1
"""A lock is found where a slide is told within so much of it; a slide that is near none is false."""

CLEAN_MOST: Final = 0.05
"""Ambers and reds a clean run, at most: our choice, so that a colour is worth looking at."""

SEEN_LEAST: Final = 0.9
"""Share of planted causes that turn their item amber or red: our choice."""


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the card."""
    lines = 9 if quick else drawn.LINES
    for quality in (GOOD, CHEAP):
        yield from lock_rows(quality, lines)
        yield from clean_rows(quality, lines)
    yield from planted_rows(9 if quick else 18)


@dataclass(frozen=True, slots=True)
class Locked:
    """Locks of one run: how many there were and were found, what else was told, how far it ran, misses of the path."""

    scale: str
    planted: int
    found: int
    false: int
    way_mm: float
    off: tuple[float, ...]


def lock_rows(quality: ImuQuality, lines: int) -> Iterator[Row]:
    """Recall and false alarms in each scale, and whether the path missed is told within its sigma."""
    judged = [locked(index, quality) for index in range(lines)]
    for scale in drawn.SCALES:
        mine = [one for one in judged if one.scale == scale]
        planted, found = sum(one.planted for one in mine), sum(one.found for one in mine)
        km = sum(one.way_mm for one in mine) / 1e6
        name = f"wheel locks of {LOCK_MM[0]:.0f} to {LOCK_MM[1]:.0f} mm, {scale}, {quality.name} IMU"
        yield at_least(f"{name}: recall of {planted}", found / planted, RECALL, "")
        yield at_most(
            f"{name}: slides and spins told besides, over {km:.2f} km",
            sum(one.false for one in mine) / km,
            FALSE_PER_KM,
            "a km",
        )
    off = [z for one in judged for z in one.off]
    share = 100.0 * float(np.mean(np.abs(off) < 2.0))
    what = f"path missed by {len(off)} locks, {quality.name} IMU: inside two of its sigmas"
    yield at_least(what, share, 90.0, "%")


def locked(index: int, quality: ImuQuality) -> Locked:
    """A drawn line run with locks at random places."""
    one = drawn.draw(index)
    wagon = claimed(TWO_AXLE[one.scale], quality)
    plan = with_locks(one.plan, np.random.default_rng(7000 + index))
    run, truth = simulate(one.railway, wagon, plan, quality, one.running)
    told = [m for m in travel(run, wagon).mishaps if m.kind in ("slide", "spin")]
    spans = [span(truth, slide) for slide in plan.slides]
    near = [[m for m in told if overlaps(m, *where)] for where in spans]
    false = sum(not any(overlaps(m, *where) for where in spans) for m in told)
    off = []
    for (first, last), (slide, *_) in ((w, m) for w, m in zip(spans, near, strict=True) if m):
        gone = abs(float(np.diff(np.interp([first, last], truth.t_s, truth.path_mm))[0]))
        off.append((slide.size - gone) / slide.sd)
    way = float(np.abs(np.diff(truth.chainage_mm)).sum())
    return Locked(one.scale, len(spans), sum(any(m.kind == "slide" for m in ms) for ms in near), false, way, tuple(off))


def with_locks(plan: RunPlan, rng: np.random.Generator) -> RunPlan:
    """Locks drawn anywhere along the path, ramps included, apart from each other."""
    path_mm = sum(abs(leg.distance_mm) for leg in plan.legs)
    slides: list[Slide] = []
    while len(slides) < LOCKS_A_RUN:
        length = math.exp(rng.uniform(math.log(LOCK_MM[0]), math.log(LOCK_MM[1])))
        new = Slide(float(rng.uniform(0.0, path_mm - length)), length)
        if all(
            new.travelled_mm + length + APART_MM < other.travelled_mm
            or new.travelled_mm > other.travelled_mm + other.length_mm + APART_MM
            for other in slides
        ):
            slides.append(new)
    return replace(plan, slides=tuple(slides))


def span(truth: RunTruth, slide: Slide) -> tuple[float, float]:
    """When a lock began and ended."""
    travelled = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(truth.chainage_mm)))))
    rows_ = np.searchsorted(travelled, [slide.travelled_mm, slide.travelled_mm + slide.length_mm])
    first, last = truth.t_s[np.minimum(rows_, len(truth.t_s) - 1)]
    return float(first), float(last)


def overlaps(one: Mishap, first_s: float, last_s: float) -> bool:
    """Whether a mishap lies at that time."""
    return one.first_s < last_s + NEAR_S and one.last_s > first_s - NEAR_S


def claimed(wagon: Wagon, quality: ImuQuality) -> Wagon:
    """The wagon whose file states the noise of the sensor that it has."""
    imu = replace(wagon.imu, gyro_noise_dps_rthz=quality.gyro_noise_dps_rthz, acc_noise_g_rthz=quality.acc_noise_g_rthz)
    return replace(wagon, imu=imu)


def clean_rows(quality: ImuQuality, lines: int) -> Iterator[Row]:
    """Ambers and reds over runs to which nothing befell, calibrated by another run of the same wagon."""
    told: Counter[str] = Counter()
    unknown: Counter[str] = Counter()
    for index in range(lines):
        one = drawn.draw(index)
        wagon = claimed(TWO_AXLE[one.scale], quality)
        run, axle = one_of_two(one, wagon, quality)
        card = travel(run, wagon, axle=axle).health
        assert card is not None
        told.update(f"{item.light} {item.name}" for item in card.of("amber", "red"))
        unknown.update(item.name for item in card.of("unknown"))
    what = f"{lines} clean runs, {quality.name} IMU: ambers and reds a run"
    many = sum(told.values()) / lines
    names = ", ".join(f"{count} {name}" for name, count in told.most_common()) or "none"
    silent = ", ".join(f"{name} in {count}" for name, count in unknown.most_common()) or "none"
    yield at_most(f"{what} ({names}; not known: {silent})", many, CLEAN_MOST, "")


def one_of_two(one: drawn.Drawn, wagon: Wagon, quality: ImuQuality) -> tuple[Recording, AxleReference]:
    """A run, and the axle's reference from another run of the same wagon on the same line."""
    specimen = draw_specimen(wagon, quality, one.running)
    first, _ = simulate(one.railway, wagon, one.plan, quality, one.running, specimen=specimen, name="first")
    run, _ = simulate(one.railway, wagon, one.plan, quality, one.running, specimen=specimen, name="run")
    steady = np.linspace(0.0, 1.0, run.n)
    warmed = replace(run, temp_c=21.0 + 2.0 * steady, battery_v=4.05 - 0.1 * steady)
    reference = learn_axle(first, place_mm=wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt).reference
    return warmed, reference


def planted_rows(lines: int) -> Iterator[Row]:
    """Share of runs in which a cause that was planted turns its own item amber or red."""
    for what, (item, befell) in BEFELL.items():
        seen = 0
        for index in range(lines):
            one = drawn.draw(index)
            wagon = claimed(TWO_AXLE[one.scale], CHEAP)
            run, _ = simulate(one.railway, wagon, befell(one.plan, wagon), CHEAP, one.running)
            seen += light(run, wagon, item) in ("amber", "red")
        yield at_least(f"{what}: {item} told, of {lines} runs", seen / lines, SEEN_LEAST, "")
    for what, (item, plant) in DONE.items():
        seen = 0
        for index in range(lines):
            one = drawn.draw(index)
            wagon = claimed(TWO_AXLE[one.scale], CHEAP)
            run, _ = simulate(one.railway, wagon, one.plan, CHEAP, one.running)
            seen += light(plant(run), wagon, item) in ("amber", "red")
        yield at_least(f"{what}: {item} told, of {lines} runs", seen / lines, SEEN_LEAST, "")


def light(run: Recording, wagon: Wagon, item: str) -> str:
    """What the card says of an item."""
    card = travel(run, wagon).health
    assert card is not None
    return card.one(item).light


def lumped(plan: RunPlan, wagon: Wagon) -> RunPlan:
    """Dirt as high as 1 % of the wheel's diameter on one tread: 0.06 mm in N, 0.10 in HO, 0.31 in G."""
    assert wagon.wheel.diameter_mm is not None
    size = 0.01 * wagon.wheel.diameter_mm
    return replace(plan, lumps=(Lump(size, 40.0 * size),))


def unwritten(plan: RunPlan, wagon: Wagon) -> RunPlan:  # noqa: ARG001  as every planting
    """Two seconds without a row, in the middle of the first leg."""
    return replace(plan, gaps=(Gap(0.5 * abs(plan.legs[0].distance_mm), 2.0),))


def knocked(plan: RunPlan, wagon: Wagon) -> RunPlan:  # noqa: ARG001  as every planting
    """One knock of 1.5 g, half-way."""
    return replace(plan, knocks=(Knock(0.5 * abs(plan.legs[0].distance_mm)),))


def noisy(run: Recording) -> Recording:
    """Gyro and accelerometer with three times the noise of a cheap sensor."""
    assert run.gyro_rad_s is not None
    assert run.acc_mm_s2 is not None
    rng, white = np.random.default_rng(5), math.sqrt(run.rate_hz / 2.0)
    gyro = rng.normal(0.0, 2.8 * CHEAP.gyro_noise_dps_rthz * white * DEG, run.gyro_rad_s.shape)
    force = rng.normal(0.0, 2.8 * CHEAP.acc_noise_g_rthz * white * G_MM_S2, run.acc_mm_s2.shape)
    return replace(run, gyro_rad_s=run.gyro_rad_s + gyro, acc_mm_s2=run.acc_mm_s2 + force)


def short_range(run: Recording) -> Recording:
    """The field cut at 0.99 of what it reaches."""
    assert run.field_mt is not None
    top = 0.99 * np.nanmax(np.abs(run.field_mt))
    return replace(run, field_mt=np.where(np.abs(run.field_mt) > top, np.nan, run.field_mt))


def fast_clock(run: Recording) -> Recording:
    """Stamps 4 % too far apart."""
    return replace(run, t_s=1.04 * run.t_s)


BEFELL: Final[dict[str, tuple[str, Callable[[RunPlan, Wagon], RunPlan]]]] = {
    "dirt of 1 % of the diameter on one tread": ("wheel wobble", lumped),
    "two seconds not written": ("turn counting", unwritten),
    "one knock of 1.5 g": ("knocks", knocked),
}

DONE: Final[dict[str, tuple[str, Callable[[Recording], Recording]]]] = {
    "inertial sensor with three times its noise": ("noise", noisy),
    "field cut at 0.99 of its peak": ("saturation", short_range),
    "clock 4 % off": ("clock", fast_clock),
}
