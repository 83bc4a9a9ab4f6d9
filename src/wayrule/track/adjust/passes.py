"""Passes: single looks at the line, and what they disagree about.

The adjusted line is a weighted mean of its passes. How each pass alone would pull it, summed in squares, is the scatter
that the result really has, swaying within the flange play and shaking included, whatever their spectrum. Source: the
cluster-robust ("sandwich") covariance, K.-Y. Liang and S. L. Zeger, Biometrika 73 (1986) 13, with passes as clusters
and the small-sample factor P / (P - 1).
"""

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted

SEGMENT_WHEELBASES = 5.0
"""A movement shorter than this many wheelbases between reversals belongs to the pass before it."""


def pass_numbers(adjusted: Adjusted) -> list[NDArray[np.int64]]:
    """For each run the pass of each bin (b,), counted through all runs: a lap, or a movement between reversals."""
    out, first = [], 0
    lap = adjusted.problem.line.lap_mm
    for run, setting in zip(adjusted.runs, adjusted.problem.settings, strict=True):
        middle = 0.5 * (run.sigma[1:] + run.sigma[:-1])
        if lap is not None:
            number = np.floor(np.abs(middle - run.sigma[0]) / lap).astype(np.int64)
            whole = max(round(float(np.ptp(run.sigma)) / lap), 1)
            number = np.minimum(number, whole - 1)
        else:
            number = _segments(middle, SEGMENT_WHEELBASES * setting.wheelbase_mm)
        out.append(number + first)
        first += int(number.max()) + 1
    return out


def _segments(sigma: Array, least: float) -> NDArray[np.int64]:
    """Number of the one-way movement that each bin belongs to."""
    number = np.zeros(len(sigma), dtype=np.int64)
    way, extreme, count = 0, float(sigma[0]), 0
    for i, place in enumerate(sigma.tolist()):
        if way == 0:
            way = (place - extreme > least) - (extreme - place > least)
        elif (place - extreme) * way > 0:
            extreme = place
        elif (extreme - place) * way > least:
            way, extreme, count = -way, place, count + 1
        number[i] = count
    return number


def pulls(adjusted: Adjusted) -> Array:
    """(3 n + k, P) how far each pass alone pulls splines and border; the prior's and the ties' pull is the rest."""
    u, ties = adjusted.unknowns, adjusted.system.ties
    n, size, k = u.spline.n, u.block, len(u.border)
    numbers = pass_numbers(adjusted)
    count = max(int(m.max()) for m in numbers) + 1
    f, g = np.zeros((3 * size, count)), np.zeros((k + ties, count))
    for r, (run, weights, number) in enumerate(zip(adjusted.runs, adjusted.row_weights, numbers, strict=True)):
        group = adjusted.problem.settings[r].bins.group
        for row, weight in zip(run.rows, weights, strict=True):
            which = number if row.kind.startswith("gyro") else number[group[:-1]]
            for p in np.unique(which):
                pull = np.where(which == p, weight * row.residual, 0.0)
                start = row.spline * size
                f[start : start + n, p] += row.by_spline.T @ pull
                if row.by_sway is not None:
                    part = u.sway_of[r]
                    f[start + n + part.start : start + n + part.stop, p] += row.by_sway.T @ pull
                g[:k, p] += row.by_border.T @ pull
        _prior_pull(adjusted, r, number, f)
    x, y = adjusted.system.bordered.solve(f, g)
    return np.vstack((*(x[i * size : i * size + n] for i in range(3)), y[:k]))


def _prior_pull(adjusted: Adjusted, r: int, number: NDArray[np.int64], f: Array) -> None:
    """The prior's pull on a run's sway belongs to the pass that the knot lies in; added to `f` in place."""
    u = adjusted.unknowns
    part = u.sway_of[r]
    path = adjusted.problem.settings[r].bins.path_mm
    knots = np.linspace(0.0, path[-1], part.stop - part.start)
    owner = number[np.clip(np.searchsorted(path, knots) - 1, 0, len(number) - 1)]
    for axis in range(3):
        where = axis * u.block + u.spline.n + np.arange(part.start, part.stop)
        root = adjusted.sway[axis]
        f[where, owner] -= (root.T @ (root @ u.sway[axis]))[part]


def scatter_of(rows: Array, rows_border: Array, pull: Array) -> Array:
    """(m,) variance of functionals as the passes' disagreement shows it; NaN with a single pass."""
    count = pull.shape[1]
    if count < 2:
        return np.full(len(rows), np.nan)
    n = rows.shape[1]
    moved = rows @ pull[:n] + rows_border @ pull[n:]
    return np.asarray(np.sum(moved**2, axis=1) * count / (count - 1))
