"""Stamps that came in bursts, or from a coarse clock: the true, even times by a robust line of stamp against row."""

from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.model.arrays import Array

MIN_ROWS: Final = 50
"""With fewer rows no line is fitted."""

SHORT, LONG = 0.3, 2.0
"""In a burst most steps are shorter than 0.3 mean periods, and some longer than 2."""

SHORT_SHARE, LONG_SHARE = 0.4, 0.015
"""That many steps at least are short, and long."""

COARSE_SHARE: Final = 0.2
"""Stamps bunch, too, when more steps than this share are exactly 0."""

BURST_EQUAL_SHARE: Final = 0.8
"""With more than five rows to a stamp it is a link that sends them together, not a clock."""

BREAK: Final = 2.6
"""A pause this many usual pauses long is a real gap: the line starts anew behind it."""

MAX_SCATTER: Final = 0.8
"""Rows that waited for one transmission lie within half a pause of the line; more scatter is no even stream."""

MIN_PAUSES: Final = 5
"""With fewer pauses all rows carry the line."""

ROUNDS: Final = 12
"""Reweighting settles in fewer."""

MOST: Final = 0.95
"""So many rows must; the rest may have been held up."""

MIN_STRETCH: Final = 20
"""Rows between two gaps that carry a line of their own; shorter stretches take the period of the whole."""


def mean_period(t_s: Array) -> float:
    """Median slope of stamp against row number over half the record [s]; a few gaps do not move it.

    >>> round(mean_period(np.array([0.0, 0.0, 0.02, 0.02, 0.04, 0.04, 0.06, 0.06])), 3)
    0.01
    """
    n = len(t_s)
    if n < 3:
        return float(t_s[-1] - t_s[0]) if n == 2 else float("nan")
    reach = max(n // 2, 1)
    return float(np.median(t_s[reach:] - t_s[:-reach])) / reach


def bursty(t_s: Array) -> bool:
    """Whether stamps (n,) in rising order come in bursts: many nearly equal, then a pause, again and again."""
    if len(t_s) < MIN_ROWS:
        return False
    steps, period = np.diff(t_s), mean_period(t_s)
    return bool(np.mean(steps < SHORT * period) > SHORT_SHARE and np.mean(steps > LONG * period) > LONG_SHARE)


def bunched(t_s: Array) -> str:
    """Why stamps (n,) in rising order bunch: "coarse clock" (it ticks less often than rows come), "bursts", or ""."""
    if len(t_s) < MIN_ROWS:
        return ""
    steps = np.diff(t_s)
    equal = float(np.mean(steps == 0))
    if equal > COARSE_SHARE:
        ticks = steps[steps > 0]
        if equal < BURST_EQUAL_SHARE and len(ticks) and np.quantile(ticks, 0.95) < 1.01 * np.median(ticks):
            return "coarse clock"
        return "bursts" if bursty(t_s) else "coarse clock"
    return "bursts" if bursty(t_s) else ""


def even_times(t_s: Array) -> tuple[Array, float, float] | None:
    """Even times for rows whose stamps bunch.

    Parameters
    ----------
    t_s : (n,) array   stamps in rising order [s], bunched

    Returns
    -------
    times, period, scatter : (n,) strictly rising times [s]; true period [s]; sd of the stamps about the line [s].
        None when the rows did not come evenly: then a line is no answer.

    Notes
    -----
    Between real gaps the stamp is a straight line of the row number plus a delay of up to one pause; the last row
    before each pause has waited least. The line goes through those, with Huber weights (P. J. Huber, 1964), so that
    what was held up does not pull it.
    """
    steps, rough = np.diff(t_s), mean_period(t_s)
    pauses = steps[steps > LONG * rough] if np.any(steps > LONG * rough) else steps[steps > 0]
    if rough <= 0 or not len(pauses):
        return None
    pause = float(np.median(pauses))
    breaks = np.flatnonzero(steps > BREAK * pause) + 1
    edges = [0, *breaks.tolist(), len(t_s)]
    stretches = list(pairwise(edges))
    lines = {(a, b): _line(t_s[a:b], pause) for a, b in stretches if b - a >= MIN_STRETCH}
    if not lines:
        return None
    weights = [b - a for a, b in lines]
    period = float(np.average([slope for _, slope in lines.values()], weights=weights))
    out = np.empty_like(t_s)
    for a, b in stretches:
        start, slope = lines.get((a, b), (float(t_s[b - 1]) - period * (b - a - 1), period))
        out[a:b] = start + slope * np.arange(b - a)
    off = np.abs(t_s - out - np.median(t_s - out))
    covered = sum(weights) / len(t_s)
    if covered < 0.8 or np.quantile(off, MOST) > MAX_SCATTER * pause or not np.all(np.diff(out) > 0):
        return None
    return out, period, float(np.std(t_s - out))


def _line(t_s: Array, pause: float) -> tuple[float, float]:
    """Value at the first row and slope of the line through the rows before pauses, by reweighted least squares."""
    slope = mean_period(t_s)
    row = np.flatnonzero(np.diff(t_s) > LONG * slope).astype(float)
    if len(row) < MIN_PAUSES:
        row = np.arange(len(t_s), dtype=float)
    stamp = t_s[row.astype(np.int64)]
    weight = np.ones_like(row)
    start = float(t_s[0])
    for _ in range(ROUNDS):
        total = weight.sum()
        mean_row, mean_t = (weight @ row) / total, (weight @ stamp) / total
        slope = float((weight * (row - mean_row)) @ (stamp - mean_t) / ((weight * (row - mean_row)) @ (row - mean_row)))
        start = float(mean_t - slope * mean_row)
        off = np.abs(stamp - start - slope * row)
        bend = max(1.5 * 1.4826 * float(np.median(off)), 1e-3 * pause)
        weight = bend / np.maximum(off, bend)
    return start, slope
