"""Uniform cubic B-splines as sparse rows: value, slope, mean over an interval.

Legend: h knot spacing; u = (p - origin) / h, place in knots; basis i is centred at u = i (closed) or u = i - 1 (open);
W entries a row. A function is f(p) = sum_i c_i b(u - centre_i); every row below is what multiplies c.
Source: C. de Boor, A Practical Guide to Splines, ch. IX (uniform case, written out).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]


def bspline(u: Array) -> Array:
    """The centred cubic B-spline b(u); support |u| < 2, integral 1.

    >>> [round(float(b), 4) for b in bspline(np.array([-2.0, -1.0, 0.0, 0.5]))]
    [0.0, 0.1667, 0.6667, 0.4792]
    """
    a = np.abs(u)
    return np.where(a < 1, 2 / 3 - a**2 + a**3 / 2, np.where(a < 2, np.clip(2 - a, 0, None) ** 3 / 6, 0.0))


def bspline_slope(u: Array) -> Array:
    """Derivative of `bspline` with respect to u."""
    a = np.abs(u)
    inner = -2 * a + 1.5 * a**2
    outer = -(np.clip(2 - a, 0, None) ** 2) / 2
    return np.sign(u) * np.where(a < 1, inner, np.where(a < 2, outer, 0.0))


def bspline_integral(u: Array) -> Array:
    """Integral of `bspline` from minus infinity to u: 0 below -2, 1 above 2, 0.5 at 0."""
    a = np.clip(np.abs(u), 0, 2)
    inner = a * 2 / 3 - a**3 / 3 + a**4 / 8
    outer = 0.5 - (2 - a) ** 4 / 24
    return 0.5 + np.sign(u) * np.where(a < 1, inner, outer)


@dataclass(frozen=True, slots=True)
class UniformSpline:
    """A basis of n cubic B-splines with spacing `h`, open from `origin`, or closed with period n h.

    An open basis spans [origin, origin + (n - 3) h]; places outside are held at the ends.
    """

    origin: float
    h: float
    n: int
    closed: bool

    @classmethod
    def over(cls, start: float, stop: float, h: float, *, closed: bool) -> "UniformSpline":
        """The basis whose spacing is at most about `h` and that fits [start, stop] exactly."""
        pieces = max(8, round((stop - start) / h))
        return cls(start, (stop - start) / pieces, pieces if closed else pieces + 3, closed)

    @property
    def length(self) -> float:
        """Period of a closed basis, span of an open one."""
        return self.h * (self.n if self.closed else self.n - 3)

    def centres(self) -> Array:
        """(n,) places of the basis functions' centres."""
        return self.origin + self.h * (np.arange(float(self.n)) - (0.0 if self.closed else 1.0))

    def _knots(self, p: Array) -> Array:
        u: Array = (np.asarray(p, dtype=np.float64) - self.origin) / self.h
        if self.closed:
            return u
        held: Array = np.clip(u, 0.0, (self.n - 3) - 1e-9).astype(np.float64)
        return held

    def _rows(self, first: NDArray[np.int64], entries: Array) -> sparse.csr_array:
        m, width = entries.shape
        index = first[:, None] + np.arange(width) + (0 if self.closed else 1)
        index = np.mod(index, self.n) if self.closed else np.clip(index, 0, self.n - 1)
        start = np.arange(0, m * width + 1, width)
        return sparse.csr_array((entries.ravel(), index.ravel(), start), shape=(m, self.n))

    def value_rows(self, p: Array) -> sparse.csr_array:
        """(m, n) rows of f(p)."""
        u = self._knots(p)
        first = np.floor(u).astype(np.int64) - 1
        return self._rows(first, bspline(u[:, None] - first[:, None] - np.arange(4)))

    def slope_rows(self, p: Array) -> sparse.csr_array:
        """(m, n) rows of f'(p)."""
        u = self._knots(p)
        first = np.floor(u).astype(np.int64) - 1
        return self._rows(first, bspline_slope(u[:, None] - first[:, None] - np.arange(4)) / self.h)

    def mean_rows(self, a: Array, length: float) -> sparse.csr_array:
        """(m, n) rows of the mean of f over [a, a + length]; `length` may be negative."""
        low = self._knots(np.minimum(a, np.asarray(a) + length))
        high = self._knots(np.maximum(a, np.asarray(a) + length))
        first, last = np.floor(low).astype(np.int64) - 1, np.floor(high).astype(np.int64) - 1
        apart = last - first
        column = np.arange(int(np.max(apart, initial=0)) + 4)
        weight = (column < apart[:, None]).astype(np.float64)  # b's integral up to here is whole in the middle
        near = np.arange(4)
        weight[np.arange(len(low))[:, None], apart[:, None] + near] = bspline_integral((high - last)[:, None] - near)
        weight[:, :4] -= bspline_integral((low - first)[:, None] - near)
        total = np.maximum(high - low, 1e-12)
        return self._rows(first, weight / total[:, None])
