"""Lines of many samples drawn with no more points than the page has pixels, keeping every peak."""

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array


def thin_line(x: Array, y: Array, bins: int) -> tuple[Array, Array]:
    """The lowest and highest sample of every one of `bins` equal spans of x, in their order.

    Parameters
    ----------
    x : (n,) rising; y : (n,) NaN where there is nothing to draw; bins : number of spans (pixels)

    Returns
    -------
    x, y : (m,) with m <= 3 bins + 2: two samples and at most one NaN of each span, and both ends; untouched where
        n <= 2 bins

    Examples
    --------
    >>> x = np.arange(1000.0); y = np.zeros(1000); y[503] = 7.0
    >>> _, low = thin_line(x, y, 20)
    >>> len(low) <= 62, float(low.max())
    (True, 7.0)
    """
    index = thin_index(x, y, bins)
    return x[index], y[index]


def thin_index(x: Array, y: Array, bins: int) -> NDArray[np.int64]:
    """(m,) indices of the samples that `thin_line` keeps, rising."""
    if len(x) <= 2 * bins:
        return np.arange(len(x))
    keep = {0, len(x) - 1}
    for a, b in _spans(x, bins):
        piece = y[a:b]
        held = np.isfinite(piece)
        if held.any():
            keep.add(a + int(np.nanargmin(piece)))
            keep.add(a + int(np.nanargmax(piece)))
        if not held.all():
            keep.add(a + int(np.argmin(held)))
    return np.array(sorted(keep))


def thin_band(x: Array, low: Array, high: Array, bins: int) -> tuple[Array, Array, Array]:
    """The envelope of a band: lowest `low` and highest `high` of every span; a span of nothing but NaN stays NaN.

    >>> x = np.arange(100.0)
    >>> xs, low, high = thin_band(x, -x, x, 10)
    >>> len(xs), float(low.min()), float(high.max())
    (12, -99.0, 99.0)
    """
    if len(x) <= 2 * bins:
        return x, low, high
    starts = np.array([a for a, _ in _spans(x, bins)])
    middle = 0.5 * (x[starts] + x[np.r_[starts[1:], len(x)] - 1])
    lowest, highest = np.fmin.reduceat(low, starts), np.fmax.reduceat(high, starts)
    middle = np.r_[x[0], middle, x[-1]]
    return middle, np.r_[lowest[0], lowest, lowest[-1]], np.r_[highest[0], highest, highest[-1]]


def _spans(x: Array, bins: int) -> list[tuple[int, int]]:
    """First and last-but-one index of the samples in each equal span of x that holds any."""
    width = float(x[-1] - x[0])
    group = np.minimum(np.floor((x - x[0]) / width * bins), bins - 1) if width > 0 else np.zeros(len(x))
    cuts = np.flatnonzero(np.diff(group)) + 1
    return list(zip([0, *cuts.tolist()], [*cuts.tolist(), len(x)], strict=True))
