"""Mending carried out: faults planted, surveyed, mended from the work sheet by a hand that errs, and surveyed again."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchmarks.judging.comparing import plan, surveyed
from benchmarks.row import Row, at_least, at_most
from wayrule.model import Fault, MendPlan, Surveyed
from wayrule.sim import GOOD, TWO_AXLE, Railway, draw_specimen, random_line, simulate
from wayrule.sim.mending import EXECUTION_SD_MM, carried_out
from wayrule.sim.register import Laid, fault_on_railway, lay
from wayrule.track.compare.compare import compare
from wayrule.track.mend.plan import mend_plan

LINES: Final = 10
QUICK_LINES: Final = 2
FIRST_SEED: Final = 8100
"""Lines that nobody had looked at when the mending was settled."""
DEFECTS: Final = 6
GONE_PERCENT: Final = 90.0


@dataclass(frozen=True, slots=True, eq=False)
class Mended:
    """One line before and after; faults in chainage of the railway as it was."""

    name: str
    before: Surveyed
    after: Surveyed
    plan: MendPlan
    old: tuple[Fault, ...]
    left: tuple[Fault, ...]
    gone: int
    new: tuple[Fault, ...]
    mending_s: float
    surveying_s: float


def mended(seed: int) -> Mended:
    """Survey, mend, survey again: one wagon, two days."""
    rng = np.random.default_rng(seed)
    line = random_line(rng, defects=DEFECTS)
    wagon = TWO_AXLE["HO"]
    specimen = draw_specimen(wagon, GOOD, rng)

    def run(railway: Railway, name: str) -> tuple[Surveyed, tuple[Fault, ...], Laid, float]:
        recording, truth = simulate(railway, wagon, plan(railway, 0), GOOD, rng, specimen=specimen, name=name)
        found, seconds = surveyed(recording)
        laid = lay(railway, truth, found.stations)
        return found, tuple(fault_on_railway(f, laid) for f in found.faults), laid, seconds

    before, old, laid, seconds = run(line, "before")
    began = time.perf_counter()
    todo = mend_plan(before)
    spent = time.perf_counter() - began
    done = carried_out(line, todo.sheet, laid, rng, sd_mm=EXECUTION_SD_MM)
    after, left, _, _ = run(done, "after")

    def near(a: Fault, b: Fault) -> bool:
        away = abs(a.s_mm - b.s_mm) % line.length_mm
        return a.kind == b.kind and min(away, line.length_mm - away if line.closed else away) < wagon.wheelbase_mm

    gone = sum(not any(near(f, g) for g in left) for f in old)
    new = tuple(g for g in left if not any(near(f, g) for f in old))
    return Mended(line.name, before, after, todo, old, left, gone, new, spent, seconds)


def mending_rows(quick: bool) -> Iterator[Row]:
    """Findings gone, none new, and what a comparison says of the work."""
    done = [mended(FIRST_SEED + k) for k in range(QUICK_LINES if quick else LINES)]
    count, gone = sum(len(m.old) for m in done), sum(m.gone for m in done)
    how = f"mended by the sheet with {EXECUTION_SD_MM:g} mm of error and surveyed again"
    where = f"{len(done)} lines, {count} faults, {how}"
    row = at_least(f"{where}: faults gone", 100.0 * gone / count, GONE_PERCENT, "%")
    told = "; ".join(f"{m.name}: {_words(m.left)}" for m in done if m.left)
    yield row if row.ok else replace(row, why=told)
    new = at_most(f"{where}: new faults", sum(len(m.new) for m in done), 0, "")
    yield new if new.ok else replace(new, why="; ".join(f"{m.name}: {_words(m.new)}" for m in done if m.new))
    promised = sum(len(m.plan.new) for m in done)
    yield at_most(f"{where}: new faults that the sheet itself predicts", promised, 0, "")
    yield from _told(done, where)
    shares = [m.mending_s / m.surveying_s for m in done]
    yield at_most("time of mending over that of surveying, worst", max(shares), 1.0, "times")


def _told(done: list[Mended], where: str) -> Iterator[Row]:
    """Comparing says of each planted fault that it has become smaller, by its true size within two sigmas.

    A kink is left out of the sizes: it is spread and not taken away, and how much of it a contrast of a few wheelbases
    still sees is no truth to hold a number against.
    """
    signs, sizes, count, sized = 0, 0, 0, 0
    for m in done:
        for fate in compare(m.before, m.after).fates:
            if fate.before is None:
                continue
            count += 1
            signs += fate.change * fate.before.size < 0
            if fate.before.kind != "kink":
                sized += 1
                both = float(np.hypot(fate.sd, np.hypot(fate.before.sd, EXECUTION_SD_MM)))
                sizes += abs(fate.change + fate.before.size) <= 2.0 * both
    yield at_least(f"{where}: comparing tells the right sign", 100.0 * signs / max(count, 1), GONE_PERCENT, "%")
    what = f"{where}: comparing tells the size within two sigmas (all but kinks)"
    yield at_least(what, 100.0 * sizes / max(sized, 1), GONE_PERCENT, "%")


def _words(faults: tuple[Fault, ...]) -> str:
    return ", ".join(f"{f.kind} {f.size:.2f} {f.unit} at {f.s_mm:.0f}" for f in faults)
