"""False alarms on clean lines, and what judging costs."""

import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

import numpy as np

from benchmarks.judging.comparing import plan, surveyed
from benchmarks.row import Row, at_most
from wayrule.formats.trainfile import stock_from_words
from wayrule.model import Finding, Judgement, Surveyed
from wayrule.model.track import STATION_COLUMNS
from wayrule.sim import GOOD, TWO_AXLE, as_laid, draw_specimen, random_line, simulate
from wayrule.sim.railway import Railway
from wayrule.sim.register import Laid, lay
from wayrule.track.judge.judge import judge
from wayrule.track.rules.sets import rule_set

LINES: Final = 10
FIRST_SEED: Final = 8200
STOCK: Final = ["engine6:180", "coach:200x3"]
LONG_MM: Final = 1e6
STEP_MM: Final = 5.0
WITHIN_MM: Final = 150.0
"""So far from where the truth breaks a rule, a finding still speaks of the same place."""


def alarm_rows(*, quick: bool) -> Iterator[Row]:
    """Clean lines, then a line of 1 km."""
    count = 3 if quick else LINES
    metres, false, true, there, told, cost = 0.0, 0, 0, 0, [], []
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        railway, line, laid, seconds = clean(seed)
        cost.append(seconds)
        found, truth = judged(line), judged(as_laid(railway, wheelbase_mm=line.stations.wheelbase_mm))
        metres += railway.length_mm / 1000.0
        there += truth.count("fail")
        for one in (f for f in found.findings if f.verdict == "fail"):
            if holds(one, truth, laid, railway):
                true += 1
            else:
                false += 1
                told.append(f"{seed}: {one.words}")
    what = (
        f"false fails per 100 m on {count} clean lines ({metres:.0f} m; {true} fails were true, of {there} there are)"
    )
    row = at_most(what, 100.0 * false / metres, 1.0, "")
    yield replace(row, why="; ".join(told)) if not row.ok else row
    yield from _cost(float(np.max(cost)))


def clean(seed: int) -> tuple[Railway, Surveyed, Laid, float]:
    """A line without a defect, its survey, how that lies on the truth, and the seconds it took."""
    rng = np.random.default_rng(seed)
    railway = random_line(rng, defects=0)
    specimen = draw_specimen(TWO_AXLE["HO"], GOOD, rng)
    recording, truth = simulate(
        railway, TWO_AXLE["HO"], plan(railway, 0), GOOD, rng, specimen=specimen, name=f"seed {seed}"
    )
    line, seconds = surveyed(recording)
    return railway, line, lay(railway, truth, line.stations), seconds


def judged(line: Surveyed) -> Judgement:
    """A line for the stock of this figure, by the usual rules."""
    return judge(line, rule_set("usual", line.stations.gauge_mm, line.ratio), stock_from_words(STOCK, line.ratio))


def holds(finding: Finding, truth: Judgement, laid: Laid, railway: Railway) -> bool:
    """Whether the truth breaks the same rule at that place."""
    at = float(laid.railway_mm(np.array(finding.s_mm)))
    reach = 0.5 * (finding.s1_mm - finding.s0_mm) + WITHIN_MM
    shifts = (-railway.length_mm, 0.0, railway.length_mm) if railway.closed else (0.0,)
    places = [at % railway.length_mm + shift if railway.closed else at for shift in shifts]
    return any(
        one.rule == finding.rule and one.verdict == "fail" and one.s0_mm - reach <= place <= one.s1_mm + reach
        for one in truth.findings
        for place in places
    )


def _cost(survey_s: float) -> Iterator[Row]:
    """Judging 1 km at 5 mm; surveying it costs more than one of the lines above did, which is a fraction as long."""
    line = as_laid(random_line(np.random.default_rng(FIRST_SEED), defects=0))
    long = stretched(line, LONG_MM)
    began = time.perf_counter()
    judged(long)
    seconds = time.perf_counter() - began
    what = (
        f"judging 1 km at 5 mm ({len(long.stations.s_mm)} stations, {seconds:.2f} s) over surveying one of these lines"
    )
    yield at_most(what, seconds / survey_s, 1.0, "times")


def stretched(line: Surveyed, length_mm: float) -> Surveyed:
    """The same line again and again, side by side in plan, until it is so long; open."""
    st = line.stations
    times = int(np.ceil(length_mm / st.length_mm))
    n = len(st.s_mm)
    again = np.arange(times).repeat(n)
    kept = [name for name in STATION_COLUMNS if name not in ("s_mm", "x_mm", "y_mm")]
    columns: dict[str, Any] = {name: np.tile(getattr(st, name), times) for name in (*kept, "passes")}
    period = st.length_mm + STEP_MM
    wide = float(np.ptp(st.x_mm)) + 500.0
    columns["s_mm"] = np.tile(st.s_mm, times) + again * period
    columns["x_mm"] = np.tile(st.x_mm, times) + again * wide
    columns["y_mm"] = np.tile(st.y_mm, times)
    stations = replace(st, closed=False, length_mm=times * period, **columns)
    pieces = tuple(
        replace(e, s0_mm=e.s0_mm + k * period, s1_mm=e.s1_mm + k * period) for k in range(times) for e in line.elements
    )
    return replace(line, stations=stations, elements=pieces)
