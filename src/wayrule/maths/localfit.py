"""Slope of a noisy signal by local polynomials, on stamps that need not be even.

h   half width of the window [s]      u = t_j - t_i of its samples      S_k = sum of u^k      T_k = sum of u^k y
"""

import numpy as np

from wayrule.model.arrays import Array


def local_slope(t_s: Array, y: Array, half_s: float, *, degree: int = 2) -> tuple[Array, Array, Array]:
    """Slope at each sample of the polynomial fitted to its neighbours.

    Parameters
    ----------
    t_s : (n,) array   rising [s]
    y : (n,) array     any unit; NaN is left out
    half_s : float     samples within this time to both sides are used
    degree : int       1 or 2

    Returns
    -------
    slope : (n,) array   [unit / s]; NaN with fewer samples than the polynomial needs
    gain : (n,) array    sd of the slope per sd of one sample's white noise [1 / s]
    count : (n,) array   samples used

    Notes
    -----
    Unweighted least squares (Savitzky & Golay 1964, for uneven stamps), from centred power sums; the loop runs over the
    places in the window, each step over all samples at once. A quadratic leaves h^2 / 10 of the third derivative as
    error in the middle, a line at the ends h / 2 of the second.

    Examples
    --------
    >>> t = np.array([0.0, 0.1, 0.25, 0.3, 0.5])
    >>> local_slope(t, 3 * t**2, 1.0)[0].round(9).tolist()
    [0.0, 0.6, 1.5, 1.8, 3.0]
    """
    sums = _line if degree == 1 else _parabola
    found = np.zeros((3, len(t_s)))
    width = half_s * (1.0 + 1e-9)
    for start in range(0, len(t_s), AT_ONCE):
        stop = min(start + AT_ONCE, len(t_s))
        low, high = np.searchsorted(t_s, (t_s[start] - width, t_s[stop - 1] + width), side="left")
        part = slice(int(low), min(int(high) + 1, len(t_s)))
        s, m = _power_sums(t_s[part], y[part], width, degree)
        inner = slice(start - part.start, stop - part.start)
        found[:, start:stop] = (*sums(s[:, inner], m[:, inner]), s[0, inner])
    return found[0], found[1], found[2]


AT_ONCE = 16384
"""Samples worked on together: their sums stay in the processor's cache."""


def _power_sums(t_s: Array, y: Array, width_s: float, degree: int) -> tuple[Array, Array]:
    """(5, n) S_k and (3, n) T_k about each sample."""
    n = len(t_s)
    ahead = np.searchsorted(t_s, t_s + width_s, side="right") - 1 - np.arange(n)
    reach = int(ahead.max())
    known = np.isfinite(y)
    base = np.where(known, y, 0.0)
    s = np.zeros((5, n))
    m = np.zeros((3, n))
    for j in range(-reach, reach + 1):
        a, b = max(0, -j), n - max(0, j)
        here, there = slice(a, b), slice(a + j, b + j)
        u = t_s[there] - t_s[here]
        w = np.where((np.abs(u) <= width_s) & known[there], 1.0, 0.0)
        rise = w * (base[there] - base[here])
        u2 = u * u
        s[0, here] += w
        s[1, here] += w * u
        s[2, here] += w * u2
        m[0, here] += rise
        m[1, here] += u * rise
        if degree == 2:
            s[3, here] += w * u2 * u
            s[4, here] += w * u2 * u2
            m[2, here] += u2 * rise
    return s, m


def _line(s: Array, m: Array) -> tuple[Array, Array]:
    with np.errstate(divide="ignore", invalid="ignore"):
        determinant = s[0] * s[2] - s[1] ** 2
        fits = (s[0] >= 2) & (determinant > 0)
        slope = np.where(fits, (s[0] * m[1] - s[1] * m[0]) / determinant, np.nan)
        gain = np.where(fits, np.sqrt(s[0] / determinant), np.nan)
    return slope, gain


def _parabola(s: Array, m: Array) -> tuple[Array, Array]:
    """Second row of the inverse of [[S0 S1 S2] [S1 S2 S3] [S2 S3 S4]] by cofactors."""
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = np.sqrt(
            np.maximum(s[2], 1e-300) / np.maximum(s[0], 1.0)
        )  # time in units of the window: no tiny determinants
        s1, s2, s3, s4 = (s[k] / unit**k for k in (1, 2, 3, 4))
        m1, m2 = m[1] / unit, m[2] / unit**2
        c0 = s2 * s3 - s1 * s4
        c1 = s[0] * s4 - s2 * s2
        c2 = s1 * s2 - s[0] * s3
        determinant = s1 * c0 + s2 * c1 + s3 * c2
        fits = (s[0] >= 3) & (determinant > 1e-9 * s[0] ** 3)
        slope = np.where(fits, (c0 * m[0] + c1 * m1 + c2 * m2) / determinant / unit, np.nan)
        gain = np.where(fits, np.sqrt(np.maximum(c1 / determinant, 0.0)) / unit, np.nan)
    return slope, gain
