"""Passes: single looks at the line, and what they disagree about.

The adjusted line is a weighted mean of its passes. How each pass alone would pull it, summed in squares, is the scatter
that the result really has, swaying within the flange play and shaking included, whatever their spectrum. Source: the
cluster-robust ("sandwich") covariance, K.-Y. Liang and S. L. Zeger, Biometrika 73 (1986) 13, with passes as clusters
and the small-sample factor P / (P - 1).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted, weighted
from wayrule.track.adjust.unknowns import sway_spline

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
            number = segments(middle, SEGMENT_WHEELBASES * setting.wheelbase_mm)
        out.append(number + first)
        first += int(number.max()) + 1
    return out


def segments(sigma: Array, least: float) -> NDArray[np.int64]:
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


PASSES_AT_ONCE = 6
"""Passes whose pulls are solved for together, in place: all of a long run's would take five times their own room."""


@dataclass(frozen=True, slots=True)
class Pull:
    """How far each of P passes alone pulls a spline (n, P) and the border (k, P)."""

    spline: Array
    border: Array


def pulls(adjusted: Adjusted) -> tuple[Pull, ...]:
    """For theta, gamma and phi how far each pass alone pulls them; the prior's and the ties' pull is the rest."""
    u, ties = adjusted.unknowns, adjusted.system.ties
    n, size, k = u.spline.n, u.block, len(u.border)
    numbers = pass_numbers(adjusted)
    count = max(int(m.max()) for m in numbers) + 1
    f, g = np.zeros((3 * size, count)), np.zeros((k + ties, count))
    owner = {
        (r, seen.kind): number if seen.kind.startswith("gyro") else number[setting.bins.group[:-1]]
        for r, (run, setting, number) in enumerate(zip(adjusted.runs, adjusted.problem.settings, numbers, strict=True))
        for seen in run.readings
    }
    for one in weighted(adjusted.problem, u, adjusted.runs, adjusted.row_weights, adjusted.spans):
        of_pass = owner[one.run, one.rows.kind][one.rows.where]
        first, last = int(of_pass.min()), int(of_pass.max()) + 1
        apart = sparse.csr_array(
            (one.weight * one.residual, (np.arange(len(of_pass)), of_pass - first)), shape=(len(of_pass), last - first)
        )
        start = one.rows.spline * size
        f[start : start + size, first:last] += (u.on_block(one.run, one.rows).T @ apart).toarray()
        g[:k, first:last] += (one.rows.by_border.T @ apart).toarray()
    for r, number in enumerate(numbers):
        _prior_pull(adjusted, r, number, f)
    for first in range(0, count, PASSES_AT_ONCE):
        some = slice(first, first + PASSES_AT_ONCE)
        f[:, some], g[:, some] = adjusted.system.bordered.solve(f[:, some].copy(), g[:, some].copy())
    return tuple(Pull(f[i * size : i * size + n].copy(), g[:k]) for i in range(3))


def _prior_pull(adjusted: Adjusted, r: int, number: NDArray[np.int64], f: Array) -> None:
    """The prior's pull on a run's sway belongs to the pass that the knot lies in; added to `f` in place."""
    u = adjusted.unknowns
    part = u.sway_of[r]
    path = adjusted.problem.settings[r].bins.path_mm
    knots = sway_spline(adjusted.problem.settings[r].bins, part.stop - part.start).centres()
    owner = number[np.clip(np.searchsorted(path, knots) - 1, 0, len(number) - 1)]
    for axis in range(3):
        where = axis * u.block + u.spline.n + np.arange(part.start, part.stop)
        root = adjusted.noise.sway[axis]
        f[where, owner] -= (root.T @ (root @ u.sway[axis]))[part]


def scatter_of(rows: Array, rows_border: Array, pull: Pull) -> Array:
    """(m,) variance of functionals as the passes' disagreement shows it; NaN with a single pass.

    rows, rows_border   (m, n) on the spline and (m, k) on the border that `pull` is of
    """
    count = pull.border.shape[1]
    if count < 2:
        return np.full(len(rows), np.nan)
    moved = rows @ pull.spline + rows_border @ pull.border
    return np.asarray(np.sum(moved**2, axis=1) * count / (count - 1))
