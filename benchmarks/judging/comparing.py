"""Comparing surveys: a line measured twice has not changed, a mended one has; and what it costs."""

import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from benchmarks.row import Row, at_least, at_most
from wayrule import pipeline
from wayrule.model import Facts, Recording, Surveyed, surveyed_of
from wayrule.sim import GOOD, TWO_AXLE, RunPlan, draw_specimen, laps, oval, random_line, simulate
from wayrule.sim.motion import Leg
from wayrule.sim.railway import Railway
from wayrule.track.compare.compare import compare

PAIRS: Final = 20
LEAST_QUIET: Final = 17
FIRST_SEED: Final = 4100
RATE_HZ: Final = 50.0
SPEED_MM_S: Final = 250.0


def comparing_rows(quick: bool) -> Iterator[Row]:
    """Every figure of comparing."""
    count = 6 if quick else PAIRS
    least = LEAST_QUIET if not quick else 5
    quiet, seconds = 0, []
    told: list[str] = []
    for index in range(count):
        before, after, cost = twice(FIRST_SEED + index)
        began = time.perf_counter()
        comparison = compare(before, after)
        seconds.append((time.perf_counter() - began) / cost)
        quiet += not comparison.changes
        told += [f"{index}: {c.quantity} {c.sigma:.1f}" for c in comparison.changes]
    row = at_least(
        f"surveys of one line measured twice, without a significant change, of {count} pairs", quiet, least, ""
    )
    yield row if row.ok else replace(row, why="; ".join(told))
    yield at_most("time of comparing over that of surveying, median", float(np.median(seconds)), 1.0, "times")


def twice(seed: int) -> tuple[Surveyed, Surveyed, float]:
    """Two surveys of one line on two days with one wagon, and the seconds that the second took.

    Even seeds: an oval, three laps; odd: a random open line, there and back, the second day run from its other end.
    """
    rng = np.random.default_rng(seed)
    line = oval(rng, defects=2) if seed % 2 == 0 else random_line(rng, defects=2)
    specimen = draw_specimen(TWO_AXLE["HO"], GOOD, rng)
    surveys, seconds = [], 0.0
    for day in range(2):
        recording, _ = simulate(line, TWO_AXLE["HO"], plan(line, day), GOOD, rng, specimen=specimen, name=f"day {day}")
        surveys.append(surveyed(recording))
        seconds = surveys[-1][1]
    return surveys[0][0], surveys[1][0], seconds


def plan(line: Railway, day: int) -> RunPlan:
    """Laps of a ring; an open line there and back, on the second day from the far end."""
    if line.closed:
        return RunPlan(*laps(line.length_mm, 3, SPEED_MM_S), rate_hz=RATE_HZ)
    way = 1 if day == 0 else -1
    reach = line.length_mm - 200.0
    legs = (Leg(way * reach, SPEED_MM_S), Leg(-way * reach, SPEED_MM_S))
    return RunPlan(100.0 if way > 0 else line.length_mm - 100.0, legs, rate_hz=RATE_HZ)


def surveyed(recording: Recording) -> tuple[Surveyed, float]:
    """A run's survey, and how long it took [s]."""
    began = time.perf_counter()
    survey = pipeline.survey((recording,), TWO_AXLE["HO"], Facts())
    return surveyed_of(survey, recording.name), time.perf_counter() - began
