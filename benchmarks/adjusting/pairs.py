"""Whether the claimed sigmas between two places can be believed: pairs drawn at random on lines drawn at random."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from benchmarks.adjusting.believed import ONE_SIGMA_PERCENT, TWO_SIGMA_PERCENT
from benchmarks.row import Row, between
from benchmarks.surveying import drawn
from wayrule.pipeline import survey
from wayrule.sim import TWO_AXLE, ImuQuality, simulate
from wayrule.sim.pairs import pair_errors

PAIRS: Final = 12
"""Pairs of places on each line."""


def pooled(quality: ImuQuality, lines: int) -> dict[str, list[float]]:
    """Errors over sigmas of each quantity, over all pairs of all lines."""
    out: dict[str, list[float]] = {}
    for index in range(lines):
        one = drawn.draw(index)
        recording, truth = simulate(one.railway, TWO_AXLE[one.scale], one.plan, quality, one.running, name="run")
        found = survey([recording], TWO_AXLE[one.scale], one.facts)
        low, high = float(found.stations.s_mm[0]), float(found.stations.s_mm[-1])
        places = np.random.default_rng(index).uniform(low, high, (PAIRS, 2))
        pairs = [found.between(a, b) for a, b in places.tolist()]
        for name, values in pair_errors(one.railway, truth, found.stations, pairs).items():
            out.setdefault(name, []).extend(values)
    return out


def pair_rows(quality: ImuQuality, lines: int) -> Iterator[Row]:
    """Shares inside one and two claimed sigmas."""
    for name, values in pooled(quality, lines).items():
        off = np.abs(np.array(values))
        what = f"{lines} randomly drawn lines, {quality.name} IMU: true {name} of {len(off)} pairs of places inside"
        yield between(f"{what} one claimed sigma", 100.0 * float(np.mean(off <= 1.0)), *ONE_SIGMA_PERCENT, "%")
        yield between(f"{what} two claimed sigmas", 100.0 * float(np.mean(off <= 2.0)), *TWO_SIGMA_PERCENT, "%")
