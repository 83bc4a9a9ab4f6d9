"""Allan deviations of a rate, their confidence, and the noise terms that make up the curve.

x   phase: the integral of the rate, N points a time tau0 apart        m   averaging factor, tau = m tau0
Source of the deviations and of the degrees of freedom: W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP
1065 (2008), sections 5.2 and 5.3; of the terms: IEEE Std 952-1997, annex C.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import nnls
from scipy.stats import chi2

from wayrule.model.arrays import Array

SLOPES: Final = (-1.0, -0.5, 0.0, 0.5, 1.0)
"""Slope of the deviation against tau: quantisation, random walk, bias instability, rate random walk, rate ramp."""

FLOOR_SHARE: Final = math.sqrt(2.0 * math.log(2.0) / math.pi)
"""Flat part of the deviation over the bias instability B, 0.664 (IEEE Std 952)."""

FOUND_SDS: Final = 3.0
"""A term is found where its square is above so many of its sds."""

NEIGHBOURS: Final = 1.3
"""Overlapping deviations an octave apart share readings: variances of the terms are larger by so much than of
independent ones (simulated white noise and random walks, in the tests)."""


def phase_of(rate: Array, rate_hz: float) -> Array:
    """Integral of a rate (n,), from 0: (n + 1,). Its mean is taken off, which changes no deviation.

    >>> phase_of(np.array([1.0, 3.0]), 2.0).tolist()
    [0.0, -0.5, 0.0]
    """
    return np.concatenate([[0.0], np.cumsum(rate - np.mean(rate))]) / rate_hz


def adev(x: Array, m: int, tau0: float) -> float:
    """Allan deviation of readings that do not overlap."""
    return _rms(np.diff(x[::m], 2)) / (math.sqrt(2.0) * m * tau0)


def oadev(x: Array, m: int, tau0: float) -> float:
    """Overlapping Allan deviation: the one to use.

    >>> round(oadev(phase_of(np.array([892.0, 809, 823, 798, 671, 644, 883, 903, 677]), 1.0), 2, 1.0), 5)
    85.95287
    """
    return _rms(_second(x, m)) / (math.sqrt(2.0) * m * tau0)


def mdev(x: Array, m: int, tau0: float) -> float:
    """Modified Allan deviation: it tells noise of the phase (quantisation) from noise of the rate."""
    sums = np.concatenate([[0.0], np.cumsum(_second(x, m))])
    return _rms(sums[m:] - sums[:-m]) / (math.sqrt(2.0) * m**2 * tau0)


def tdev(x: Array, m: int, tau0: float) -> float:
    """Time deviation: modified Allan deviation times tau over sqrt 3."""
    return mdev(x, m, tau0) * m * tau0 / math.sqrt(3.0)


def hdev(x: Array, m: int, tau0: float) -> float:
    """Hadamard deviation of readings that do not overlap: blind to a steady drift of the rate."""
    return _rms(np.diff(x[::m], 3)) / (math.sqrt(6.0) * m * tau0)


def ohdev(x: Array, m: int, tau0: float) -> float:
    """Overlapping Hadamard deviation."""
    return _rms(x[3 * m :] - 3 * x[2 * m : -m] + 3 * x[m : -2 * m] - x[: -3 * m]) / (math.sqrt(6.0) * m * tau0)


def totdev(x: Array, m: int, tau0: float) -> float:
    """Total deviation: the phase is reflected about both ends, for averaging times up to the log's own length."""
    long = np.concatenate([2 * x[0] - x[-2:0:-1], x, 2 * x[-1] - x[-2:0:-1]])
    middle = np.arange(len(x) - 1, 2 * len(x) - 3)
    return _rms(long[middle - m] - 2 * long[middle] + long[middle + m]) / (math.sqrt(2.0) * m * tau0)


DEVIATIONS: Final[dict[str, Callable[[Array, int, float], float]]] = {
    "adev": adev, "oadev": oadev, "mdev": mdev, "tdev": tdev, "hdev": hdev, "ohdev": ohdev, "totdev": totdev,
}  # fmt: skip
"""By their usual names; each takes phase (N,), averaging factor, and time between points."""


def _second(x: Array, m: int) -> Array:
    return x[2 * m :] - 2 * x[m:-m] + x[: -2 * m]


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2))) if len(values) else math.nan


def degrees_of_freedom(slope: float, n: int, m: int) -> float:
    """Equivalent degrees of freedom of an overlapping Allan variance.

    Parameters
    ----------
    slope : float   of the deviation there, one of `SLOPES`; a ramp counts as a random walk of the rate
    n : int         points of phase; m : averaging factor

    Notes
    -----
    SP 1065, table 5 (after Howe, Allan and Barnes 1981): white phase, white rate, flicker of the rate, random walk.

    >>> round(degrees_of_freedom(-0.5, 1001, 10), 1)
    146.2
    """
    if slope <= -1.0:
        edf = (n + 1) * (n - 2 * m) / (2.0 * (n - m))
    elif slope <= -0.5:
        edf = (3 * (n - 1) / (2.0 * m) - 2.0 * (n - 2) / n) * 4.0 * m**2 / (4.0 * m**2 + 5)
    elif slope <= 0.0:
        edf = 2.0 * (n - 2) ** 2 / (2.3 * n - 4.9) if m == 1 else 5.0 * n**2 / (4.0 * m * (n + 3 * m))
    else:
        edf = (n - 2) / m * ((n - 1) ** 2 - 3 * m * (n - 1) + 4.0 * m**2) / (n - 3) ** 2
    return max(edf, 1.0)


def interval(deviation: Array, edf: Array, level: float = 0.683) -> tuple[Array, Array]:
    """Interval that holds the true deviation with probability `level`, by chi-square (SP 1065, 5.3.1)."""
    tail = 0.5 * (1.0 - level)
    low, high = (np.sqrt(edf / chi2.ppf(p, edf)) for p in (1.0 - tail, tail))
    return deviation * low, deviation * high


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Overlapping Allan deviation of one rate [u] with its 68 % interval, and the terms that explain it.

    tau_s, deviation, low, high   (k,)
    squares, squares_sd           (5,) squared terms Q2 N2 B2 K2 R2 and their sds; 0 where the fit needs none
    """

    tau_s: Array
    deviation: Array
    low: Array
    high: Array
    squares: Array
    squares_sd: Array


def allan_curve(rate: Array, rate_hz: float) -> Curve:
    """Allan deviation at octaves of tau, up to a fifth of the log, and its terms.

    Parameters
    ----------
    rate : (n,) evenly sampled, n >= 32

    Notes
    -----
    The variance is 3 Q2 / tau^2 + N2 / tau + (2 ln 2 / pi) B2 + K2 tau / 3 + R2 tau^2 / 2 (IEEE Std 952), fitted by
    least squares with terms that are not below 0, each octave weighing as its degrees of freedom over its variance
    squared. Each term is thereby read where the recipe reads it: N at 1 s on its slope, K at 3 s, Q at sqrt 3 s.

    >>> curve = allan_curve(np.random.default_rng(1).normal(0.0, 0.1, 20_000), 100.0)
    >>> round(float(np.sqrt(curve.squares[1])), 3)  # 0.1 / sqrt(100): the random walk of the angle
    0.01
    """
    tau0, x = 1.0 / rate_hz, phase_of(rate, rate_hz)
    factors = [2**k for k in range(max(1, int(math.log2(len(rate) / 5)) + 1))]
    tau = np.array(factors) * tau0
    variance = np.array([oadev(x, m, tau0) for m in factors]) ** 2
    parts = np.stack([3.0 / tau**2, 1.0 / tau, np.full(len(tau), FLOOR_SHARE**2), tau / 3.0, tau**2 / 2.0], axis=1)
    if not variance.max() > 0.0:  # every reading alike: no noise, and nothing to fit
        still = np.zeros(len(tau))
        return Curve(tau, still, still, still, np.zeros(5), np.zeros(5))
    model, squares, edf = variance, np.zeros(5), np.ones(len(tau))
    for _ in range(6):
        shares = parts * squares if squares.any() else np.tile([0.0, 1.0, 0.0, 0.0, 0.0], (len(tau), 1))
        slopes = [SLOPES[int(k)] for k in shares.argmax(axis=1)]
        edf = np.array([degrees_of_freedom(s, len(x), m) for s, m in zip(slopes, factors, strict=True)])
        weight = np.sqrt(edf / 2.0) / np.maximum(model, 1e-12 * variance.max())
        rows = parts * weight[:, None]
        size = np.linalg.norm(rows, axis=0)
        scaled, _ = nnls(rows / size, variance * weight)
        squares = scaled / size
        model = parts @ squares
    information = (rows / size).T @ (rows / size)
    kept = squares > 0
    sd = np.sqrt(NEIGHBOURS / np.diag(information)) / size  # of a term that is 0: alone beside the others
    sd[kept] = np.sqrt(NEIGHBOURS * np.diag(np.linalg.inv(information[np.ix_(kept, kept)]))) / size[kept]
    low, high = interval(np.sqrt(variance), edf)
    return Curve(tau, np.sqrt(variance), low, high, squares, sd)
