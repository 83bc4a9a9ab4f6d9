"""Two clocks tied by what both have stamped, where every stamp of the second is late by an unknown, jumpy delay."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import solveh_banded

from wayrule.maths.robust import robust_sd
from wayrule.model.arrays import Array, frozen

BIN_S: Final = 2.0
"""Of the stamps of so long a time the least late one counts: of forty with a mean delay of 5 ms it is 0.1 ms late."""

LEAST_BINS: Final = 20
"""A short record is cut into so many pieces, that a few wild stamps stay few."""

KNOT_S: Final = 60.0
"""Between knots of the tie: a crystal's rate wanders with its temperature over minutes."""

WANDER: Final = 0.3e-6
"""By how much a rate changes from one knot to the next, one sigma: a crystal of 1 ppm/K that warms by 0.3 K a minute
(common practice, no source)."""

LEAST_SD_S: Final = 20e-6
"""No stamp is believed better than this: an interrupt, a task switch."""

EARLY: Final = 0.1
"""Delay has no middle to go through: the tie is let down to where a tenth of the least late stamps lies below it."""

ROUNDS: Final = 30
SETTLED_S: Final = 1e-7

MAX_RATE: Final = 3e-4
"""Rates do not differ by more: a crystal is within 100 ppm of its name (common practice, no source), two within 200."""


@dataclass(frozen=True, slots=True, eq=False)
class ClockTie:
    """What the second clock shows when the first one shows `x`: piecewise straight between knots, with steps.

    x_s       (k,) knots on the first clock [s]; a step has its knot twice
    y_s       (k,) the second clock there [s]
    sd_s      robust sd of the least late stamps about the tie [s], NaN with a single one; the least delay of all is not
              known and not in it
    stamps    how many went in
    """

    x_s: Array
    y_s: Array
    sd_s: float
    stamps: int

    def __post_init__(self) -> None:
        frozen(self, "x_s", (None,))
        frozen(self, "y_s", (len(self.x_s),))

    @property
    def rate(self) -> float:
        """Seconds of the second clock in one of the first, over all stretches; 1 where one stamp is all there is."""
        dx, dy = np.diff(self.x_s), np.diff(self.y_s)
        whole = dx > 0
        return float(np.sum(dy[whole]) / np.sum(dx[whole])) if whole.any() else 1.0

    def second(self, x_s: Array) -> Array:
        """(n,) times of the first clock on the second; beyond the ends the last rate goes on."""
        return _straight(np.asarray(x_s, dtype=np.float64), self.x_s, self.y_s, self.rate)

    def first(self, y_s: Array) -> Array:
        """(n,) times of the second clock on the first; a time inside a step has the knot's."""
        return _straight(np.asarray(y_s, dtype=np.float64), self.y_s, self.x_s, 1.0 / self.rate)


def _straight(at: Array, x: Array, y: Array, rate: float) -> Array:
    """Piecewise straight, beyond the ends at the mean rate; of a doubled knot the later one holds from there on."""
    right = np.clip(np.searchsorted(x, at, side="right"), 1, max(len(x) - 1, 1))
    if len(x) == 1:
        return np.asarray(y[0] + rate * (at - x[0]))
    dx = x[right] - x[right - 1]
    slope = np.where(dx > 0, (y[right] - y[right - 1]) / np.where(dx > 0, dx, 1.0), rate)
    inside = y[right - 1] + slope * (at - x[right - 1])
    return np.asarray(np.where(at < x[0], y[0] + rate * (at - x[0]),
                               np.where(at > x[-1], y[-1] + rate * (at - x[-1]), inside)))  # fmt: skip


def tie_clocks(x_s: Array, y_s: Array, breaks_s: Array | tuple[float, ...] = ()) -> ClockTie:
    """Tie a clock to another.

    Parameters
    ----------
    x_s : (n,) array     when something was sent, on the first clock [s], in any order
    y_s : (n,) array     when it was received, on the second [s]: later than sent by an unknown delay >= 0
    breaks_s             times of the second clock at which it may have jumped (it does not count its own sleep)

    Returns
    -------
    ClockTie

    Raises
    ------
    ValueError   without a stamp

    Notes
    -----
    y = offset + rate x + delay. The delay has no upper bound and piles up near its least value, so only the least late
    stamp of each two seconds counts (D. L. Mills, RFC 5905, clock filter: the sample of least delay). Through those go
    straight pieces between knots a minute apart, whose rates wander little, by least squares reweighted so that a late
    stamp counts ever less and an early one, which delay cannot make, no more than a small one.

    Examples
    --------
    >>> sent = np.arange(0.0, 300.0, 0.1)
    >>> late = np.random.default_rng(1).exponential(0.005, len(sent))
    >>> tie = tie_clocks(sent, 7.0 + 1.00004 * sent + late)
    >>> bool(abs(tie.second(np.array([150.0]))[0] - (7.0 + 1.00004 * 150.0)) < 0.0005), round((tie.rate - 1) * 1e6)
    (True, 40)
    """
    x, y = np.asarray(x_s, dtype=np.float64), np.asarray(y_s, dtype=np.float64)
    if not len(x):
        raise ValueError("expected stamps to tie clocks by, came none")
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    side = np.searchsorted(np.sort(np.asarray(breaks_s, dtype=np.float64)), y)
    parts = [_fit(*_least_late(x[side == k], y[side == k])) for k in np.unique(side)]
    parts.sort(key=lambda part: float(part[0][0]))
    sd = float(np.sqrt(np.mean([part[2] ** 2 for part in parts])))
    knots, values = parts[0][:2]
    for more_knots, more_values, _ in parts[1:]:
        rate = (values[-1] - values[-2]) / (knots[-1] - knots[-2]) if len(knots) > 1 else 1.0
        reached = values[-1] + rate * (more_knots[0] - knots[-1])  # the clock as it was, up to the step
        knots = np.concatenate([knots, more_knots[:1], more_knots])
        values = np.concatenate([values, [reached], more_values])
    return ClockTie(knots, values, sd, len(x))


def _least_late(x: Array, y: Array) -> tuple[Array, Array]:
    """Of every two seconds of the second clock, or less in a short record, the stamp with the least difference.

    Of the second clock: what was kept while a link was away comes among what is new, and does not stand alone.
    """
    late = y - x
    begin, end = float(y.min()), float(y.max())
    bins = np.floor((y - begin) / max(min(BIN_S, (end - begin) / LEAST_BINS), 1e-3))
    order = np.lexsort((late, bins))
    first = np.concatenate(([True], np.diff(bins[order]) > 0))
    at = order[first]
    at = at[np.argsort(x[at], kind="stable")]
    return x[at], y[at]


def _fit(x: Array, y: Array) -> tuple[Array, Array, float]:
    """Knots, values there, sd, of one stretch without a jump."""
    offset = y - x
    if len(x) < 3 or x[-1] - x[0] < BIN_S:
        base = float(np.min(offset))
        sd = max(float(np.median(offset)) - base, LEAST_SD_S) if len(x) > 1 else float("nan")
        return x[:1].copy(), x[:1] + base, sd
    slope = _slope(x, offset)
    level = offset - slope * (x - x[0])
    base = float(np.median(level))
    knots = np.linspace(x[0], x[-1], max(2, round((x[-1] - x[0]) / KNOT_S) + 1))
    values = np.full(len(knots), base)
    sd = LEAST_SD_S
    for _ in range(ROUNDS):
        rest = level - np.interp(x, knots, values)
        sd = max(robust_sd(rest), LEAST_SD_S)
        moved = _solve(x, level, knots, _weights(rest / sd) / sd**2)
        settled = float(np.max(np.abs(moved - values))) < SETTLED_S
        values = moved
        if settled:
            break
    values = values + min(float(np.quantile(level - np.interp(x, knots, values), EARLY)), 0.0)
    return knots, knots + slope * (knots - x[0]) + values, sd


def _slope(x: Array, offset: Array) -> float:
    """Median slope over half the length (H. Theil, 1950, on pairs far apart): a few late stamps do not move it."""
    half = len(x) // 2
    apart = np.maximum(x[half:] - x[: len(x) - half], 1e-9)
    slope = float(np.median((offset[half:] - offset[: len(x) - half]) / apart))
    return float(np.clip(slope, -MAX_RATE, MAX_RATE))


def _weights(u: Array) -> Array:
    """Early by u < 0: as a robust mean has it (P. J. Huber, 1964, bend 1.5); late: as the square, and less."""
    return np.asarray(np.where(u < 0, 1.5 / np.maximum(-u, 1.5), 1.0 / (1.0 + np.square(np.maximum(u, 0.0)))))


def _solve(x: Array, level: Array, knots: Array, weight: Array) -> Array:
    """Values at the knots: weighted least squares of straight pieces, with a price on each change of rate."""
    k = len(knots)
    step = knots[1] - knots[0]
    at = np.minimum(((x - knots[0]) / step).astype(np.int64), k - 2)
    share = (x - knots[at]) / step
    bands = np.zeros((3, k))  # upper form of solveh_banded: row 2 the diagonal, row 1 the first above, row 0 the second
    np.add.at(bands[2], at, weight * (1 - share) ** 2)
    np.add.at(bands[2], at + 1, weight * share**2)
    np.add.at(bands[1], at + 1, weight * share * (1 - share))
    right = np.zeros(k)
    np.add.at(right, at, weight * (1 - share) * level)
    np.add.at(right, at + 1, weight * share * level)
    price = 1.0 / (WANDER * step) ** 2
    for a, b, c in zip(range(k - 2), range(1, k - 1), range(2, k), strict=True):
        for i, wi in ((a, 1.0), (b, -2.0), (c, 1.0)):
            bands[2, i] += price * wi * wi
        bands[1, b] += price * -2.0
        bands[1, c] += price * -2.0
        bands[0, c] += price
    bands[2] += 1e-12 * bands[2].max()  # a stretch with stamps in one half only
    return np.asarray(solveh_banded(bands, right, check_finite=False))
