"""How a recorder's rows follow each other: true rate, jitter, rows that are missing."""

import math

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.model.arrays import Array
from wayrule.model.inertial import Clock

START_ROWS = 64
"""The beat is fitted over so many rows first and over twice as many each time: it then never foretells a row's place by
more than half a beat wrong, while stamps err by less than that."""
LEAST_ROWS = 10
DRIFT_S = 5.0
"""What changes more slowly than over so long is a drift of the clock, not jitter."""


def row_numbers(t_s: Array) -> NDArray[np.int64]:
    """(n,) which beat of an even clock each row belongs to, from 0; a gap skips numbers.

    Examples
    --------
    >>> row_numbers(np.array([0.0, 0.011, 0.019, 0.05, 0.06])).tolist()
    [0, 1, 2, 5, 6]
    """
    n = len(t_s)
    if n < 2:
        return np.zeros(n, dtype=np.int64)
    t = t_s - t_s[0]
    steps = np.diff(t_s)
    period, size = float(np.mean(steps[steps < 1.5 * np.median(steps)])), min(START_ROWS, n)
    while True:
        row = _stepped(t[:size], period)
        period = float(np.polyfit(row, t[:size], 1)[0])
        if size == n:
            return _stepped(t, period)
        size = min(2 * size, n)


def _stepped(t: Array, period: float) -> NDArray[np.int64]:
    """Rows by the nearest beat, the beat kept in step with the last second's rows; every row is at least one later."""
    beat = t / period
    early = np.angle(np.mean(np.exp(2j * np.pi * beat[:START_ROWS]))) / (2 * np.pi)  # the first stamp errs like any
    row = np.round(beat - early).astype(np.int64)
    late = t - row * period
    width = max(5, 2 * (round(1.0 / period) // 2) + 1)
    if len(t) > 2 * width:  # a clock that wanders: what the neighbours are late by is not this row's own
        sums = np.concatenate([[0.0], np.cumsum(late)])
        slow = (sums[width:] - sums[:-width]) / width
        slow = np.concatenate([np.full(width // 2, slow[0]), slow, np.full(len(t) - len(slow) - width // 2, slow[-1])])
        row = np.round((t - slow) / period).astype(np.int64)
    at_least = np.maximum.accumulate(row - np.arange(len(t))) + np.arange(len(t))
    return np.asarray(at_least - at_least[0])


def clock(t_s: Array, *, nominal_hz: float | None = None, where: str = "recording") -> Clock:
    """True rate, jitter and losses.

    Raises
    ------
    UndeterminedError   fewer than ten rows

    Notes
    -----
    The rate is the slope of row against time, its sd from the jitter and from how far the beat wanders between halves.
    By the recorder's own clock: how true that is, only another clock can tell; 50 parts in a million is usual.

    Examples
    --------
    >>> t = np.delete(np.arange(4000) / 201.0, [700, 701, 1900])
    >>> found = clock(t + np.random.default_rng(1).normal(0.0, 2e-4, len(t)), nominal_hz=200.0)
    >>> round(found.rate_hz, 2), found.lost, round(found.jitter_s * 1e3, 1), clock_text(found)
    (201.0, 3, 0.2, '201.00 rows a second where 200 were expected, jitter 0.20 ms, 3 rows missing.')
    """
    if len(t_s) < LEAST_ROWS:
        raise UndeterminedError(
            expected=f"{LEAST_ROWS} rows and more",
            came=f"{len(t_s)}",
            where=where,
            next_step="record for longer",
        )
    row = row_numbers(t_s)
    period, start = np.polyfit(row, t_s, 1)
    late = t_s - start - period * row
    jitter = _jitter(late, t_s)
    halves = [np.polyfit(row[part], t_s[part], 1)[0] for part in (slice(0, len(row) // 2), slice(len(row) // 2, None))]
    drift = float((halves[0] - halves[1]) / period)
    spread = float(np.sqrt(np.sum((row - row.mean()) ** 2)))
    sd = math.hypot(jitter / spread / period, 0.25 * abs(drift))
    return Clock(
        rate_hz=float(1.0 / period),
        rate_sd_hz=sd / float(period),
        jitter_s=jitter,
        lost=int(row[-1] + 1 - len(row)),
        longest_gap_s=float(np.diff(t_s).max()),
        drift_ppm=1e6 * drift,
        nominal_hz=math.nan if nominal_hz is None else nominal_hz,
    )


def _jitter(late: Array, t_s: Array) -> float:
    """Sd of rows about a beat that may wander slowly: straight lines between means over `DRIFT_S`."""
    block = np.floor((t_s - t_s[0]) / DRIFT_S).astype(np.int64)
    count = np.bincount(block)
    full = count > 0.5 * count.max()
    mean, middle = (np.bincount(block, one)[full] / count[full] for one in (late, t_s))
    rest = late - np.interp(t_s, middle, mean)
    if len(middle) > 2:  # beyond the outer means the line is not followed
        rest = rest[(t_s >= middle[0]) & (t_s <= middle[-1])]
    return float(np.sqrt(np.sum(rest**2) / max(len(rest) - len(middle), 1)))


def clock_text(found: Clock) -> str:
    """For a person."""
    text = f"{found.rate_hz:.2f} rows a second"
    if math.isfinite(found.nominal_hz):
        text += f" where {found.nominal_hz:g} were expected"
    missing = f"{found.lost} row{'s' if found.lost != 1 else ''} missing" if found.lost else "no row missing"
    return f"{text}, jitter {found.jitter_s * 1e3:.2f} ms, {missing}."
