"""The line's signature: curvature and change of gradient against wheel distance, on a regular grid.

Signatures of two looks at the same track agree; so they show laps, and where and which way round a run lies.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from wayrule.model import Travel
from wayrule.model.arrays import Array
from wayrule.track.plain import filled, gyro_bias


@dataclass(frozen=True, slots=True)
class Signature:
    """Body turn and nose rise per mm on cells of `cell_mm`; `start_mm` is the wheel distance of the first cell's edge.

    turn    (c,) d(heading)/d(distance) [1/mm], left > 0; NaN where the run never rolled
    rise    (c,) d(climb)/d(distance) [1/mm]; NaN likewise
    """

    start_mm: float
    cell_mm: float
    turn: Array
    rise: Array

    def mirrored(self) -> "Signature":
        """The same track met by a wagon turned end for end: distance runs the other way, left becomes right."""
        return Signature(
            -self.start_mm - self.cell_mm * len(self.turn), self.cell_mm, -self.turn[::-1], self.rise[::-1]
        )


def signature(travel: Travel, cell_mm: float) -> Signature:
    """Least squares of rate against speed in each cell: sum(rate v) / sum(v^2), so creeping weighs little."""
    assert travel.imu is not None
    v = travel.speed_mm_s
    bias = gyro_bias(travel)
    start = float(np.floor(travel.distance_mm.min() / cell_mm) * cell_mm)
    cell = ((travel.distance_mm - start) // cell_mm).astype(np.int64)
    count = int(cell.max()) + 1
    dt = np.gradient(travel.t_s)
    weight = np.bincount(cell, v * v * dt, count)
    weight[weight < 1e-3 * np.median(weight[weight > 0])] = np.nan

    def per_mm(rate: Array) -> Array:
        return np.asarray(np.bincount(cell, rate * v * dt, count) / weight)

    gyro = travel.imu.gyro_rad_s
    return Signature(
        start,
        cell_mm,
        per_mm(filled(gyro[:, 2], travel.t_s) - bias[2]),
        -per_mm(filled(gyro[:, 1], travel.t_s) - bias[1]),
    )


def _standardised(values: Array) -> Array:
    """Zero mean, unit sd; missing cells zero."""
    centred = values - np.nanmean(values)
    sd = np.nanstd(centred)
    return np.nan_to_num(centred / sd if sd > 0 else centred)


def misfit_by_shift(a: Signature, b: Signature, *, period: int | None, least: int) -> tuple[Array, Array]:
    """How badly b, moved by k cells, differs from a: 0 equal, about 1 unrelated.

    Parameters
    ----------
    period : cells of the closed line that `a` covers once, or None for an open line
    least : cells that must overlap; smaller overlaps get an infinite misfit

    Returns
    -------
    shift (k,) cell of `a` on which b's first cell lies, misfit (k,)
    """
    size = fft.next_fast_len(len(a.turn) + len(b.turn)) if period is None else period
    total = np.zeros(size)
    for one, other, share in ((a.turn, b.turn, 0.8), (a.rise, b.rise, 0.2)):
        x, y = _standardised(one), _standardised(other)
        mx, my = np.isfinite(one).astype(float), np.isfinite(other).astype(float)
        if period is not None:
            y, my = _wrapped(y, period), _wrapped(my, period)
        overlap = np.maximum(_correlate(mx, my, size), 1e-9)
        squares = _correlate(x * x, my, size) + _correlate(mx, y * y, size) - 2 * _correlate(x, y, size)
        total += share * np.where(overlap < least - 0.5, np.inf, squares / overlap / 2)
    shift = np.arange(size)
    if period is None:
        shift = np.where(shift < len(a.turn), shift, shift - size)
    return shift.astype(np.float64), total


def _wrapped(values: Array, period: int) -> Array:
    """The first `period` cells (longer signatures meet each cell again; once is enough)."""
    out = np.zeros(period)
    part = values[:period]
    out[: len(part)] = part
    return out


def _correlate(x: Array, y: Array, size: int) -> Array:
    return np.asarray(fft.irfft(fft.rfft(x, size) * np.conj(fft.rfft(y, size)), size))


def lowest(shift: Array, misfit: Array) -> tuple[float, float]:
    """Place (to a fraction of a cell, by a parabola) and depth of the lowest misfit."""
    i = int(np.argmin(misfit))
    value = float(misfit[i])
    left, right = misfit[i - 1], misfit[(i + 1) % len(misfit)]
    bend = left - 2 * value + right
    offset = 0.5 * (left - right) / bend if np.isfinite(bend) and bend > 0 else 0.0
    return float(shift[i] + np.clip(offset, -0.5, 0.5)), value
