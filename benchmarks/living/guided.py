"""Pushes from random starts: after how much way the wagon's place is certain, and whether it then is right."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks.living.surveyed import LINES, SurveyedLine, speed_of, stations_of, surveyed
from benchmarks.row import Row, at_most
from wayrule import pipeline
from wayrule.live.follower import cut
from wayrule.model import Located
from wayrule.pipeline.onward import calibrated_scale
from wayrule.run.instrument import instrument
from wayrule.run.trail import trail
from wayrule.sim import HO_VAN, Leg, Piece, build, straight
from wayrule.track.known import known_line
from wayrule.track.locate import locate

WITHIN_MM, WAY_M = 20.0, 1.5
"""Promised in H0; in another gauge both grow with it."""
LOOKS: Final = (0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.5)
"""Way in m (H0) after which it is asked where the wagon is."""


@dataclass(frozen=True, slots=True)
class Push:
    """One push: what was told after each of `LOOKS`, and by how much the likeliest place then was off [mm]; a wagon
    taken the wrong way round is off by infinity."""

    told: tuple[Located, ...]
    off_mm: tuple[float, ...]

    def certain_m(self) -> float:
        """Way after which it was certain for the first time; infinite where it never was."""
        return next((m for m, one in zip(LOOKS, self.told, strict=True) if one.here), math.inf)

    def false(self, within_mm: float) -> bool:
        """Whether it ever was certain of a wrong place."""
        return any(one.here is not None and off > within_mm for one, off in zip(self.told, self.off_mm, strict=True))


def pushes(line: SurveyedLine, count: int, seed: int) -> list[Push]:
    """Pushes from random starts, forward and backward, either way round, at a third to a whole of a brisk pull."""
    rng = np.random.default_rng(seed)
    gauges = line.railway.gauge_mm / 16.5
    way = (1000.0 * WAY_M + 60.0) * gauges
    margin, length = 3.0 * line.wagon.wheelbase_mm, line.railway.length_mm
    one, scale = instrument(line.wagon, line.calibration), calibrated_scale(line.calibration)
    known, lap = known_line(line.stations), line.stations.length_mm
    found = []
    for _ in range(count):
        sign, turned = (-1.0 if rng.integers(2) else 1.0), bool(rng.integers(2))
        low, high = (margin, length - margin - way) if sign > 0 else (margin + way, length - margin)
        start = rng.uniform(0.0, length) if line.railway.closed else rng.uniform(low, high)
        speed = speed_of(line) * rng.uniform(0.33, 1.0)
        recording, truth = line.push(start, (Leg(sign * way, speed),), rng, turned=turned)
        went = pipeline.travel(recording, line.wagon, scale=scale)
        told, off = [], []
        for asked in LOOKS:
            row = int(np.searchsorted(np.abs(went.distance_mm), 1000.0 * asked * gauges))
            place = locate(trail(cut(went, slice(None, row)), one), known, one)
            told.append(place)
            if not place.places or place.places[0].way != truth.facing:
                off.append(math.inf)
                continue
            gap = place.places[0].s_mm - float(line.told(truth.chainage_mm[row - 1 : row])[0])
            off.append(abs((gap + lap / 2) % lap - lap / 2) if line.railway.closed else abs(gap))
        found.append(Push(tuple(told), tuple(off)))
    return found


def guided_rows(quick: bool) -> Iterator[Row]:
    """Line by line, all together, and where no reading can tell."""
    count = 6 if quick else 60
    false, all_of_them = 0, 0
    for number, case in enumerate(LINES):
        line = surveyed(number)
        gauges = line.railway.gauge_mm / 16.5
        within, limit = WITHIN_MM * gauges, WAY_M * gauges
        done = pushes(line, count, 100 + number)
        right = [p for p in done if p.told[-1].here is not None and p.off_mm[-1] <= within]
        false += sum(p.false(within) for p in done)
        all_of_them += len(done)
        ways = np.array([p.certain_m() for p in done]) * gauges
        certain = np.isfinite(ways)
        off = max((p.off_mm[-1] for p in right), default=math.nan)
        yield Row(
            f"guide, {case.name.split(',')[0]}: {count} pushes from random starts, certain and within {within:.0f} mm "
            f"after {limit:.2f} m",
            f"{len(right)} of {count} (certain after {np.median(ways[certain]):.2f} m, at worst "
            f"{ways[certain].max() if certain.any() else math.nan:.2f} m; off by {off:.1f} mm at most)",
            f"{count} of {count}",
            len(right) == count,
        )
    share = 100.0 * false / all_of_them
    yield at_most(f"guide, false certainty in {all_of_them} pushes, asked {len(LOOKS)} times each", share, 1.0, "%")
    yield from alike_rows(quick)


def alike_rows(quick: bool) -> Iterator[Row]:
    """A level oval of bare sectional track, its own image under half a turn: both places are named, none is certain."""
    half = (straight(600.0), Piece("arc", 450.0 * np.pi, 1 / 450.0, 1 / 450.0), straight(600.0))
    bare = build("level oval", (*half, *half), scale="HO", ratio=87.0, gauge_mm=16.5, closed=True)
    base = surveyed(0)
    chainage = np.linspace(0.0, bare.length_mm, 2000)
    line = SurveyedLine(bare, HO_VAN, base.specimen, stations_of(bare), base.calibration, chainage, chainage)
    done = pushes(line, 6 if quick else 40, 7)
    certain = sum(any(one.here for one in p.told) for p in done)
    lap = bare.length_mm
    named = 0
    for p in done:
        places = p.told[-1].places
        pairs = [abs(abs(a.s_mm - b.s_mm) - lap / 2) < WITHIN_MM for a in places for b in places if a is not b]
        named += any(pairs)
    yield Row(
        f"guide, two equal halves of a level oval: {len(done)} pushes, none certain, both places named after 1.5 m",
        f"{certain} certain, both named in {named}",
        f"0 certain, both named in {len(done)}",
        certain == 0 and named == len(done),
    )
