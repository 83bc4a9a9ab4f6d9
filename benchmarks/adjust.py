"""The figures of the adjustment: how near to the truth, how honest its error bars, how fast."""

from collections.abc import Iterator, Sequence
from functools import cache, partial

from benchmarks.adjusting.believed import alone_rows, band_rows, covered_row, drawn_rows
from benchmarks.adjusting.cost import cost_rows
from benchmarks.adjusting.detected import DEFECTS, element_rows, fault_rows
from benchmarks.adjusting.floor import floor_rows
from benchmarks.adjusting.judged import Outcome, judge, limit_rows
from benchmarks.adjusting.lines import BRANCH, CASES, OVAL, QUALITIES, SEEDS, UNCALIBRATED, Case, make
from benchmarks.adjusting.mishaps import mishap_rows
from benchmarks.adjusting.pairs import pair_rows
from benchmarks.adjusting.revisits import HELD_OUT_M, revisit_rows
from benchmarks.adjusting.rival import rival_rows
from benchmarks.adjusting.spur import NAME as SPUR
from benchmarks.adjusting.spur import spur_rows
from benchmarks.row import Row, guarded
from benchmarks.surveying import drawn
from wayrule.sim import ImuQuality

QUICK_LINES = 4
FIRST_INDEPENDENT_SEED = 101
INDEPENDENT_SEEDS = 30


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area, in the order of the promise."""
    seeds = SEEDS[:1] if quick else SEEDS
    for case in CASES:
        for quality in QUALITIES[:1] if quick and case not in (OVAL, BRANCH) else QUALITIES:
            yield from guarded(
                f"{case.name}, {quality.name} IMU", "its figures", partial(of_case, case, quality, seeds)
            )
            if not quick or (case is OVAL and quality is QUALITIES[0]):
                what = f"{case.name}, {quality.name} IMU: the floor"
                yield from guarded(what, "none, to be stated", partial(floored, case, quality, seeds))
    for quality in QUALITIES[:1] if quick else QUALITIES:
        yield from guarded(f"{SPUR}, {quality.name} IMU", "its figures", partial(spur_rows, quality, seeds))
        if not quick:
            what = f"claimed sigmas over many seeds, {quality.name} IMU"
            yield from guarded(what, ">= 92 % inside two", partial(over_many_seeds, quality))
        lines = QUICK_LINES if quick else drawn.LINES
        what = f"coverage, {quality.name} IMU"
        yield from guarded(what, "60 to 76 % inside one sigma", partial(covered, quality, lines))
        what = f"coverage between places, {quality.name} IMU"
        yield from guarded(what, "60 to 76 % inside one sigma", partial(pair_rows, quality, lines))
        yield from guarded(
            f"elements and faults, {quality.name} IMU", "recall and precision", partial(found, quality, seeds, quick)
        )
    for quality in QUALITIES[:1] if quick else QUALITIES:
        what = f"mishaps, {quality.name} IMU"
        yield from guarded(what, "found, and the map not bent", partial(mishap_rows, quality, quick=quick))
    what = "robot log, relations held out"
    yield from guarded(what, f"<= {HELD_OUT_M:g} m", partial(revisit_rows, quick=quick))
    yield from guarded("cost", "<= 40 times parsing", partial(cost_rows, quick=quick))
    yield from guarded("a general factor-graph library", ">= 10 times as fast", rival_rows)


@cache
def outcome(case: Case, quality: ImuQuality, seed: int, defects: int = 0) -> Outcome:
    """A case of a seed, surveyed once for all its rows."""
    return judge(make(case, quality, seed, defects=defects))


def of_case(case: Case, quality: ImuQuality, seeds: Sequence[int]) -> Iterator[Row]:
    """The table's figures of a line."""
    outcomes = [outcome(case, quality, seed) for seed in seeds]
    yield from limit_rows(case, quality, outcomes)
    yield from alone_rows(case, quality, outcomes)


def floored(case: Case, quality: ImuQuality, seeds: Sequence[int]) -> Iterator[Row]:
    """How far the survey stays behind one that is told the truth about its wagon."""
    yield from floor_rows(case, quality, [outcome(case, quality, seed) for seed in seeds])


def over_many_seeds(quality: ImuQuality) -> Iterator[Row]:
    """Claimed sigmas of two of the lines over independent seeds, an uncalibrated one's plan among them."""
    independent = range(FIRST_INDEPENDENT_SEED, FIRST_INDEPENDENT_SEED + INDEPENDENT_SEEDS)
    for case in (OVAL, UNCALIBRATED):
        errors = {seed: judge(make(case, quality, seed)).as_claimed for seed in independent}
        name = f"{case.name}, {quality.name} IMU"
        if case is UNCALIBRATED:
            yield covered_row(name, errors)
        judged = [outcome(case, quality, seed).as_claimed for seed in SEEDS]
        yield from band_rows(name, judged, list(errors.values()))


def covered(quality: ImuQuality, lines: int) -> Iterator[Row]:
    """Coverage pooled over lines drawn at random."""
    yield from drawn_rows([drawn.judge(drawn.draw(index), quality) for index in range(lines)], quality)


def found(quality: ImuQuality, seeds: Sequence[int], quick: bool) -> Iterator[Row]:
    """Elements of the lines without defects, faults of the same lines with some."""
    cases = [case for case in CASES if case is not UNCALIBRATED]
    clean = [outcome(case, quality, seed) for case in cases for seed in seeds]
    yield from element_rows(quality, clean)
    tried = (OVAL, BRANCH) if quick else cases
    faulty = [judge(make(case, quality, seed, defects=DEFECTS[case.scale])) for case in tried for seed in seeds]
    yield from fault_rows(quality, faulty, clean)
