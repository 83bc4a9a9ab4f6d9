"""The stamps of a log: clocks that jump or step back, rows out of order, repeated rows, bursts, gaps."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.bursts import bunched, bursty, even_times, mean_period
from wayrule.formats.problems import many, place, problem
from wayrule.model import Problem
from wayrule.model.arrays import Array

Lines = NDArray[np.int64]

MAX_STEP_BACK_S: Final = 5.0
"""A row may come late by this much; a clock that steps back further was started anew."""

MAX_GAP_S: Final = 6 * 3600.0
"""No run pauses longer: a longer gap is a clock that was set on the way."""

MAX_PERIOD_S, MIN_PERIOD_S = 2.0, 1e-5
"""Slower than a row in 2 s or faster than 100 000 rows in 1 s no wagon is recorded: the unit of time is wrong."""

GAP_STEPS: Final = 1.5
"""A step this many periods long has lost a row, where steps are even; more is asked where they jitter."""


UNEVEN_GAP: Final = 10.0
"""Where rows come at no even rate, only a step of ten mean periods is called a gap."""


@dataclass(frozen=True, slots=True)
class TimeDefects:
    """What is wrong with a series of stamps, before anything is repaired.

    backward_steps   how many steps go back; `worst_back_s` is the largest of them [s], positive
    equal_steps      how many steps are exactly 0
    period_s         median slope of stamp against row number [s]
    median_step_s    median of the steps that do not go back [s]
    longest_gap_s    longest step forward [s]
    bursty           many rows with nearly the same stamp, then a pause, again and again
    """

    n: int
    backward_steps: int
    worst_back_s: float
    equal_steps: int
    period_s: float
    median_step_s: float
    longest_gap_s: float
    bursty: bool


def time_defects(t_s: Array) -> TimeDefects:
    """Count what is wrong with stamps (n,) in file order [s]; NaN is left out.

    >>> found = time_defects(np.array([0.0, 0.1, 0.2, 0.15, 0.3, 0.3]))
    >>> found.backward_steps, round(found.worst_back_s, 3), found.equal_steps
    (1, 0.05, 1)
    """
    known = t_s[np.isfinite(t_s)]
    steps = np.diff(known)
    back, forward = steps[steps < 0], steps[steps >= 0]
    rising = np.sort(known, kind="stable")
    return TimeDefects(
        n=len(t_s),
        backward_steps=len(back),
        worst_back_s=float(-back.min()) if len(back) else 0.0,
        equal_steps=int((steps == 0).sum()),
        period_s=mean_period(rising) if len(known) > 1 else float("nan"),
        median_step_s=float(np.median(forward)) if len(forward) else float("nan"),
        longest_gap_s=float(forward.max()) if len(forward) else float("nan"),
        bursty=bursty(rising),
    )


@dataclass(frozen=True, slots=True)
class Ordered:
    """Rows in time: `rows` (m,) indices into the rows as read, `t_s` (m,) their strictly rising times [s]."""

    rows: NDArray[np.int64]
    t_s: Array
    problems: tuple[Problem, ...] = ()

    def then(self, keep: NDArray[np.bool_] | NDArray[np.int64], found: Problem) -> "Ordered":
        """Only some of the rows, and one problem more."""
        return Ordered(self.rows[keep], self.t_s[keep], (*self.problems, found))


def order(t_s: Array, readings: list[Array], lines: Lines, unit: str, name: str) -> Ordered:
    """Bring rows into strictly rising time, telling every repair; no row is invented.

    Parameters
    ----------
    t_s : (n,) stamps [s], NaN where a row has none
    readings : (n,) each; tell repeated rows from rows that only share a stamp
    lines : (n,) line numbers
    unit : of the time column, for the error line

    Raises
    ------
    RecordingError   for a clock started anew or set on the way, an absurd unit of time, fewer than two rows
    """
    rows = Ordered(np.arange(len(t_s)), t_s)
    rows = _without_missing(rows, lines)
    rows = _without_strays(rows, lines)
    if len(rows.t_s) < 2:
        came = many(len(rows.t_s), "row")
        raise RecordingError(
            expected="two rows with a time, or more", came=came, where=name, next_step="record for longer"
        )
    _refuse_new_start(rows, lines, name)
    rows = _sorted(rows, lines)
    rows = _once(rows, readings, lines)
    _refuse_absurd_period(rows.t_s, unit, name)
    rows = _evened(rows, lines)
    return Ordered(rows.rows, rows.t_s, (*rows.problems, *_gaps(rows.t_s, lines[rows.rows])))


def _without_missing(rows: Ordered, lines: Lines) -> Ordered:
    missing = np.isnan(rows.t_s)
    if not missing.any():
        return rows
    count = int(missing.sum())
    what = f"{many(count, 'row')} without a time"
    return rows.then(~missing, problem("no time", what, place(lines[missing]), "dropped", count=count))


def _without_strays(rows: Ordered, lines: Lines) -> Ordered:
    """Single rows whose stamp lies far from both neighbours, which fit each other: the stamp is garbage."""
    t = rows.t_s
    if len(t) < 4:
        return rows
    padded = np.concatenate(([t[1]], t, [t[-2]]))
    before, here, after = padded[:-2], padded[1:-1], padded[2:]
    fit = np.abs(after - before) <= MAX_STEP_BACK_S
    far = (np.abs(here - before) > MAX_STEP_BACK_S) & (np.abs(here - after) > MAX_STEP_BACK_S)
    for end, inner in ((0, t[1]), (-1, t[-2])):  # at the ends only a stamp from another day is surely garbage
        far[end] = abs(t[end] - inner) > MAX_GAP_S
    stray = fit & far
    if not stray.any():
        return rows
    count = int(stray.sum())
    what = f"{many(count, 'stamp')} far from the rows before and after"
    return rows.then(~stray, problem("stray stamp", what, place(lines[rows.rows[stray]]), "dropped", count=count))


def _refuse_new_start(rows: Ordered, lines: Lines, name: str) -> None:
    steps = np.diff(rows.t_s)
    worst = int(np.argmin(steps))
    if steps[worst] < -MAX_STEP_BACK_S:
        raise RecordingError(
            expected="one recording",
            came=f"a clock that steps back by {-steps[worst]:.6g} s: the recorder was started anew",
            where=f"{name} line {lines[rows.rows[worst + 1]]}",
            next_step="cut the file there; each part is a run of its own",
        )
    longest = int(np.argmax(steps))
    if steps[longest] > MAX_GAP_S:
        raise RecordingError(
            expected="one recording",
            came=f"a clock that jumps by {steps[longest] / 3600:.4g} h: it was set on the way",
            where=f"{name} line {lines[rows.rows[longest + 1]]}",
            next_step="cut the file there; each part is a run of its own",
        )


def _sorted(rows: Ordered, lines: Lines) -> Ordered:
    steps = np.diff(rows.t_s)
    back = np.flatnonzero(steps < 0)
    if not len(back):
        return rows
    what = f"{many(len(back), 'step')} back in time, the worst by {-steps[back].min():.3g} s"
    where = place(lines[rows.rows[back + 1]], rows.t_s[back + 1])
    return rows.then(
        np.argsort(rows.t_s, kind="stable"),
        problem("out of order", what, where, "sorted by time", count=len(back)),
    )


def _once(rows: Ordered, readings: list[Array], lines: Lines) -> Ordered:
    """Rows repeated to the last digit go; rows that only share a stamp stay for now."""
    equal = np.flatnonzero(np.diff(rows.t_s) == 0) + 1
    if not len(equal):
        return rows
    here, before = rows.rows[equal], rows.rows[equal - 1]
    same = np.ones(len(equal), dtype=bool)
    for values in readings:
        a, b = values[here], values[before]
        same &= (a == b) | (np.isnan(a) & np.isnan(b))
    if not same.any():
        return rows
    keep = np.ones(len(rows.t_s), dtype=bool)
    keep[equal[same]] = False
    count = int(same.sum())
    where = place(lines[here[same]], rows.t_s[equal[same]])
    return rows.then(keep, problem("repeated rows", many(count, "repeated row"), where, "dropped", count=count))


def _refuse_absurd_period(t_s: Array, unit: str, name: str) -> None:
    period = mean_period(t_s)
    if MIN_PERIOD_S <= period <= MAX_PERIOD_S or len(t_s) < 3:
        return
    factors = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
    likely = [u for u, f in factors.items() if unit in factors and 1e-3 <= period / factors[unit] * f <= 0.2]
    raise RecordingError(
        expected=f"a row every {MIN_PERIOD_S:g} to {MAX_PERIOD_S:g} s",
        came=f"a row every {period:.4g} s",
        where=f"{name}, time column in {unit}",
        next_step=f"is the time in {' or '.join(likely)}? Rename the column t_{likely[0]}"
        if likely
        else "look at the time column",
    )


def _evened(rows: Ordered, lines: Lines) -> Ordered:
    """Bunched stamps become even times where a line fits; rows that still share a stamp go, the first stays."""
    kind = bunched(rows.t_s)
    if kind:
        even = even_times(rows.t_s)
        where = f"lines {lines[rows.rows[0]]} to {lines[rows.rows[-1]]}"
        if even is not None:
            times, period, scatter = even
            what = f"stamps bunch ({kind}): true period {period * 1e3:.5g} ms, stamps scatter by {scatter * 1e3:.3g} ms"
            done = "times taken from a straight line of stamp against row"
            found = problem(kind, what, where, done, count=len(rows.t_s))
            return Ordered(rows.rows, times, (*rows.problems, found))
        what = f"stamps bunch ({kind}) and rows did not come evenly"
        found = problem(kind, what, where, "stamps kept", count=len(rows.t_s))
        rows = Ordered(rows.rows, rows.t_s, (*rows.problems, found))
    equal = np.concatenate(([False], np.diff(rows.t_s) == 0))
    if not equal.any():
        return rows
    count = int(equal.sum())
    what = f"{many(count, 'row')} with the stamp of the row before but other readings"
    where = place(lines[rows.rows[equal]], rows.t_s[equal])
    return rows.then(~equal, problem("equal stamps", what, where, "dropped", count=count))


def _gaps(t_s: Array, lines: Lines) -> list[Problem]:
    """Steps that are too long for the period; nothing is put into them."""
    if len(t_s) < 4:
        return []
    steps = np.diff(t_s)
    period = float(np.median(steps))
    even = period > 0.5 * mean_period(t_s)
    jitter = 1.4826 * float(np.median(np.abs(steps - period)))
    limit = max(GAP_STEPS * period, period + 8 * jitter) if even else UNEVEN_GAP * mean_period(t_s)
    long = np.flatnonzero(steps > limit)
    if not len(long):
        return []
    worst = int(long[np.argmax(steps[long])])
    lost = f"about {many(int(np.sum(np.round(steps[long] / period) - 1)), 'row')} lost, " if even else ""
    what = f"{many(len(long), 'gap')}, {lost}the longest {steps[worst]:.4g} s at {t_s[worst]:.3f} s"
    return [problem("gap", what, place(lines[long + 1], t_s[long]), "left open", count=len(long))]
