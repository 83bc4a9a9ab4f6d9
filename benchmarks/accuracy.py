"""`python -m benchmarks.accuracy`: measures how well a survey meets its truth and writes it down in docs/accuracy.md.

Nothing on the page depends on the day or on the machine's speed; times are rows of `python -m benchmarks survey`.
"""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from benchmarks import adjust
from benchmarks.adjusting.lines import CASES, QUALITIES
from benchmarks.adjusting.spur import spur_rows
from benchmarks.row import Row
from benchmarks.surveying.drawn import LINES, QUICK_LINES, Judged, coverage_rows, draw, judge
from benchmarks.surveying.promised import (
    EIGHT,
    LAPS,
    OVAL,
    RATE_HZ,
    SEEDS,
    SPEED_MM_S,
    TAPE_MM,
    TAPE_SD_MM,
    THINNED_HZ,
    Outcome,
    Promise,
    height_percent,
    measure,
    promised_rows,
)
from wayrule.sim import Coverage, coverage

PAGE = Path(__file__).parents[1] / "docs" / "accuracy.md"
"""Where the page stands."""

HEAD = f"""# How accurate a survey is

Measured by the program itself against railways whose truth is known, on fixed seeds. This page is written by a
command and not by hand; to make it again, from the root of a checkout with its environment active:

```sh
pip install ".[bench]"
python -m benchmarks.accuracy
```

`python -m benchmarks survey` holds the same figures, and the time and memory that a survey takes, against their
limits (`--quick` for a first look). A figure that falls short is printed like any other.

**What is simulated.** A two-axle wagon with a turning field on its axle and an inertial sensor with a gyro of 0.004
deg/s/√Hz and 3 deg/h bias stability and an accelerometer of 90 µg/√Hz, recorded at {RATE_HZ} Hz. Body pose follows
the chord between the axles. Flange play, out-of-round wheels, slip in curves, vibration, rough track with joints,
an inertial sensor askew and off its scale, and a recorder's clock that runs fast are all in (`wayrule.sim`). The
survey is given the wagon file and the facts named below, nothing else.
"""

LINES_HEAD = f"""## Two lines, three seeds each

{LAPS} laps at {SPEED_MM_S:.0f} mm/s, stated (`@laps={LAPS}`), one lap taped along the rails: the tape errs by at
most {TAPE_MM:.0f} mm, evenly spread, drawn from the seed, and the survey is told that (sd {TAPE_SD_MM:.1f} mm).

Plan: rms after the best shift and turn. Height: rms after the best plane. Radius: the worst arc of the line.
Gradient: rms of means over two wheelbases. Cant: rms of means over one wheelbase, after its mean. Distance: the
largest error anywhere along the run, of the whole path; beside it the same with the tape's own error taken out, and
that error. Speed: rms at 150 mm/s and above. 50 and 20 Hz are the same recordings with every 4th or 10th row kept
and nothing averaged, so noise and vibration fold in.
"""

COVERAGE_HEAD = """## Can the error bars be believed?

Share of true errors inside one and two claimed sigmas, over lines drawn at random: every shape, three gauges, with
and without a tape, closed and open. Errors along one line go together, so every line counts alike, one line
alone proves little, and the pooled shares themselves are only as sure as their standard errors say (from the scatter
of the lines). Expected of perfect error bars: 68 % and 95 %.
"""

SCALED_HEAD = """\
Each line by itself: plan rms after the best shift and turn, the same with one scale taken out too (without a tape
the scale rests on the caliper), height rms after the best plane, and the share inside one sigma for each quantity.
"""

ADJUSTED_HEAD = """## Whole surveys of six lines, a good and a cheap inertial sensor

All runs of a line in one adjustment, three seeds each; a figure is the rms over the seeds. Plan: after the best shift
and turn, and one scale factor where no tape gives the scale. Height, gradient, cant as above. The cheap sensor has
three times the noise of the good one and four times its bias and wander. "Over the same adjustment told ..." is the
floor: what is lost by not knowing the wagon. The last line is surveyed twice, the spur with the first's
`calibration.json`. `python -m benchmarks adjust` makes the same rows, and those of elements, faults and cost.
"""

CLOSURE_HEAD = """## Do laps close?

Misclosure of single laps: before, of the plain reading (standstill bias, caliper wheel); after, by what the
adjustment left over. The ratio is to what the sigmas predict: near 1 they can be believed. The adjusted line itself
closes exactly.
"""


def main(words: list[str] | None = None) -> int:
    """Measure and write the page."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.accuracy", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one seed and six drawn lines, for a first look")
    parser.add_argument("--out", type=Path, default=PAGE, help="where to write it (docs/accuracy.md)")
    chosen = parser.parse_args(words)
    seeds = SEEDS[:1] if chosen.quick else SEEDS
    measured = [(p, outcomes(p, seeds)) for p in (OVAL, EIGHT)]
    judged = [told(judge(draw(index))) for index in range(QUICK_LINES if chosen.quick else LINES)]
    text = page(measured, judged, adjusted_rows(seeds))
    chosen.out.write_text(text, encoding="utf-8", newline="\n")
    return 0


def adjusted_rows(seeds: Sequence[int]) -> Iterator[Row]:
    """The table of the adjustment, line by line, for each sensor, with its floor."""
    for quality in QUALITIES:
        for case in CASES:
            print(f"{case.name}, {quality.name} IMU", file=sys.stderr, flush=True)
            yield from adjust.of_case(case, quality, seeds)
            yield from adjust.floored(case, quality, seeds)
        yield from spur_rows(quality, seeds)


def outcomes(promise: Promise, seeds: Sequence[int]) -> list[Outcome]:
    """All seeds at the full rate, then at the lower ones."""
    found = []
    for rate_hz in (RATE_HZ, *THINNED_HZ):
        for seed in seeds:
            print(f"{promise.name}, seed {seed}, {rate_hz} Hz", file=sys.stderr, flush=True)
            found.append(measure(promise, seed, rate_hz))
    return found


def told(judged: Judged) -> Judged:
    """Say which line is done."""
    print(judged.title, judged.why, file=sys.stderr, flush=True)
    return judged


def page(
    measured: Sequence[tuple[Promise, Sequence[Outcome]]], judged: Sequence[Judged], adjusted: Iterable[Row]
) -> str:
    """The whole page."""
    everything = [o for _, some in measured for o in some]
    full = [(p, [o for o in some if o.rate_hz == RATE_HZ]) for p, some in measured]
    parts = [
        HEAD,
        LINES_HEAD,
        table(LINE_COLUMNS, [line_cells(o) for o in everything]),
        "Against their limits:\n",
        limits_table(row for p, some in full for row in promised_rows(p, some) if row.limit.startswith("<=")),
        ADJUSTED_HEAD,
        limits_table(adjusted),
        CLOSURE_HEAD,
        table(CLOSURE_COLUMNS, [cells for _, some in full for o in some for cells in closure_cells(o)]),
        COVERAGE_HEAD,
        coverage_table(judged),
        limits_table(coverage_rows(judged)),
        SCALED_HEAD,
        table(DRAWN_COLUMNS, [drawn_cells(j) for j in judged]),
    ]
    return "\n".join(parts)


def table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table of a page; the first column is text, the others are numbers.

    >>> print(table(("line", "mm"), [("oval", "1.2")]), end="")
    | line | mm |
    |---|--:|
    | oval | 1.2 |
    """
    lines = ["| " + " | ".join(columns) + " |", "|---" + "|--:" * (len(columns) - 1) + "|"]
    lines += ["| " + " | ".join(cells) + " |" for cells in rows]
    return "\n".join(lines) + "\n"


LINE_COLUMNS = (
    "line", "seed", "rate Hz", "plan mm", "height mm", "radius %", "gradient ‰", "cant mm", "distance %",
    "without tape's error %", "tape's error %", "speed %",
)  # fmt: skip


def line_cells(outcome: Outcome) -> tuple[str, ...]:
    """One recording of a promised line."""
    e = outcome.errors
    return (
        outcome.line,
        str(outcome.seed),
        str(outcome.rate_hz),
        f"{e.plan_rms_mm:.2f}",
        f"{e.height_rms_mm:.2f}",
        f"{outcome.radius_percent:.2f}",
        f"{1000 * e.gradient_rms:.2f}",
        f"{e.cant_rms_mm:.3f}",
        f"{outcome.distance_percent:.3f}",
        f"{outcome.untaped_percent:.3f}",
        f"{outcome.tape_percent:+.3f}",
        f"{outcome.speed_percent:.2f}",
    )


def limits_table(rows: Iterable[Row]) -> str:
    """Rows with their limits and verdicts."""
    return table(
        ("figure", "measured", "limit", "holds"),
        [(r.what, r.measured or f"not measured: {r.why}", r.limit, "yes" if r.ok else "**no**") for r in rows],
    )


CLOSURE_COLUMNS = (
    "line", "seed", "", "plan mm", "% of length", "ratio", "height mm", "% of length", "ratio",
)  # fmt: skip


def closure_cells(outcome: Outcome) -> list[tuple[str, ...]]:
    """Misclosure before and after."""
    if outcome.closure is None:
        return [(outcome.line, str(outcome.seed), "no closed line found", *("" for _ in CLOSURE_COLUMNS[3:]))]
    both = (("before", outcome.closure.before), ("after", outcome.closure.after))
    return [
        (
            outcome.line,
            str(outcome.seed),
            when,
            f"{gap.plan_mm:.2f}",
            f"{gap.plan_percent_of_length:.3f}",
            f"{gap.ratio_plan:.2f}",
            f"{gap.height_mm:.2f}",
            f"{height_percent(gap):.3f}",
            f"{gap.ratio_height:.2f}",
        )
        for when, gap in both
    ]


def coverage_table(judged: Sequence[Judged]) -> str:
    """Pooled shares with their standard errors, and those of each gauge, which are few lines each."""
    groups = {"all": [j.errors for j in judged if j.errors is not None]}
    for scale in ("HO", "N", "G"):
        groups[scale] = [j.errors for j in judged if j.errors is not None and f"({scale}," in j.title]
    shares = {name: coverage(lines) for name, lines in groups.items()}
    alone = [coverage([line]) for line in groups["all"]]
    columns = ["quantity", *(f"{name}, {len(lines)} lines: 1σ, 2σ %" for name, lines in groups.items())]
    columns.insert(2, "standard errors")
    rows = []
    for quantity in shares["all"]:
        cells = [_both(shares[name][quantity]) for name in groups]
        rows.append((quantity, cells[0], _standard_errors([one[quantity] for one in alone]), *cells[1:]))
    return table(columns, rows)


def _both(share: Coverage) -> str:
    return f"{100 * share.inside_one:.0f}, {100 * share.inside_two:.0f}"


def _standard_errors(alone: Sequence[Coverage]) -> str:
    """Of the pooled shares, from the scatter of the lines' own shares; a line alone has none."""
    if len(alone) < 2:
        return "none"
    each = 100.0 * np.array([(one.inside_one, one.inside_two) for one in alone])
    one, two = np.std(each, axis=0, ddof=1) / np.sqrt(len(alone))
    return f"{one:.0f}, {two:.0f}"


DRAWN_COLUMNS = (
    "line", "plan mm", "scaled mm", "height mm", "x", "y", "z", "heading", "curvature", "gradient", "cant",
)  # fmt: skip


def drawn_cells(judged: Judged) -> tuple[str, ...]:
    """One drawn line: its errors and its own shares inside one sigma."""
    e = judged.errors
    if e is None:
        return (f"{judged.title}: {judged.why}", *("" for _ in DRAWN_COLUMNS[1:]))
    shares = [f"{100 * share.inside_one:.0f} %" for share in coverage([e]).values()]
    sizes = [f"{mm:.2f}" for mm in (e.plan_rms_mm, e.plan_scaled_rms_mm, e.height_rms_mm)]
    return (judged.title, *sizes, *shares)


if __name__ == "__main__":
    sys.exit(main())
