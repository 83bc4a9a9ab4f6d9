"""What the track has and the splines cannot follow: a rail joint, a corner much sharper than their knots.

The body nods and comes back within a few mm. Every pass reads it alike, so it does not average out as noise does: taken
for noise of many passes it pulled the constants of the wagon, and slow waves of the line with them, by several sigmas
(the sensor's turn by 17 mrad on an oval with joints of 0.02 mm). But what is turned to and fro adds up to nothing. So
where the passes' mean residual is far beyond their scatter, the bins that hold it are added up and count as one: of the
nod nothing is asked, of the angle before and after it everything.

Legend, over the readings of one gyro axis in one cell of track: w their weights, r residuals as of the track (signed
for the way the wagon stood and went), m = sum w r / sum w; own: the scatter of all residuals in units of their sigma;
z = |m| sqrt(sum w) / own, about 1 where the splines follow.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.track.adjust.noise import HUBER, Weights
from wayrule.track.adjust.pose import Setting
from wayrule.track.adjust.problem import Problem, Run
from wayrule.track.adjust.rows import Rows

CELL_KNOTS = 0.5
"""Length of a cell: what the splines cannot follow changes its sign within a knot or two."""

BEYOND = 4.0
"""A mean residual of so many sigmas is no noise: of a thousand cells 0.06 are by chance (normal distribution)."""

MOST_BINS_TOGETHER = 6
"""Longer stretches are counted in pieces: over half a wheelbase the splines can follow."""

GYRO_KINDS = 3
"""The first kinds of a run's readings are the gyro's; a group of specific force is far longer than a cell."""

Into = NDArray[np.int64]
"""(b,) for every bin the first of those that it counts with; itself where it is alone."""


def together(problem: Problem, runs: Sequence[Run], weights: Sequence[Sequence[Array]]) -> tuple[tuple[Into, ...], ...]:
    """For each run and gyro axis, which bins count as one."""
    cells = [_cells(problem, setting, run) for setting, run in zip(problem.settings, runs, strict=True)]
    out = []
    for axis in range(GYRO_KINDS):
        signed = [
            _as_of_track(axis, setting, run) * run.readings[axis].residual
            for setting, run in zip(problem.settings, runs, strict=True)
        ]
        middle = [c[1] for c in cells]
        beyond = shared_beyond(middle, signed, [w[axis] for w in weights], 1 + max(int(c.max()) for c in cells))
        out.append([spans(np.any(beyond[c], axis=0), s) for c, s in zip(cells, problem.settings, strict=True)])
    return tuple(zip(*out, strict=True))


def shared_beyond(
    cell: Sequence[Into], residual: Sequence[Array], weight: Sequence[Array], cells: int
) -> NDArray[np.bool_]:
    """(cells,) where the mean residual is `BEYOND`; lists over runs of (b,). A residual of 0 is of a bin at rest.

    >>> cell, even = np.array([0, 1, 2] * 30), np.array([-1.0, 1.0, 0.5, 1.0, -1.0, 0.4] * 15)
    >>> shared_beyond([cell], [even], [np.ones(90)], 3).tolist()
    [False, False, False]
    >>> shared_beyond([cell], [even + 3.0 * (cell == 1)], [np.ones(90)], 3).tolist()
    [False, True, False]
    """
    c, r, w = (np.concatenate(list(one)) for one in (cell, residual, weight))
    w = np.where(r == 0.0, 0.0, w)
    if not w.any():
        return np.zeros(cells, dtype=bool)
    own = 1.4826 * float(np.median(np.abs(r[w > 0]) * np.sqrt(w[w > 0])))
    total, pull = np.bincount(c, w, cells), np.bincount(c, w * r, cells)
    return np.abs(pull) > BEYOND * own * np.sqrt(total)


def spans(beyond: NDArray[np.bool_], setting: Setting) -> Into:
    """(b,) neighbours that lie beyond joined, within a part of the run and `MOST_BINS_TOGETHER` at most."""
    into = np.arange(len(beyond))
    cuts = {part.bins.start for part in setting.bins.parts()}
    first = -1
    for i in np.flatnonzero(beyond).tolist():
        if first < 0 or into[i - 1] != first or i - first >= MOST_BINS_TOGETHER or i in cuts:
            first = i
        into[i] = first
    return into


def as_one(
    weights: Sequence[Array], into: Sequence[Into], run: Run, expected: Weights, beyond: float = HUBER
) -> tuple[Array, ...]:
    """A run's weights, of every kind; bins that count as one get back those of their sigmas, lowered as one where their
    sum is an outlier."""
    out = list(weights)
    for kind, owner in enumerate(into):
        seen = run.readings[kind]
        sigma = expected.sigma[seen.kind]
        size = np.bincount(owner, minlength=len(owner))[owner]
        total = np.bincount(owner, seen.residual, len(owner))[owner]
        off = np.abs(total) / np.sqrt(np.bincount(owner, sigma**2, len(owner))[owner])
        own = max(1.0, 1.4826 * float(np.median((np.abs(seen.residual) / sigma)[seen.ok]))) if seen.ok.any() else 1.0
        whole = np.bincount(owner, ~seen.ok, len(owner))[owner] == 0
        joined = np.where(whole, np.minimum(1.0, beyond * own / np.maximum(off, 1e-12)) / sigma**2, 0.0)
        out[kind] = np.where(size > 1, joined, weights[kind])
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Added:
    """Rows of a part of a run with their residuals and weights, those of bins that count as one added up."""

    rows: Rows
    residual: Array
    weight: Array


def added(rows: Rows, residual: Array, weight: Array, into: Into | None) -> Added:
    """Add up what counts as one: the first bin of a span gets the sum, the others' rows go empty and weigh nothing."""
    part = rows.where
    if into is None or np.array_equal(into[part], np.arange(part.start, part.stop)):
        return Added(rows, residual[part], weight[part])
    owner = into[part] - part.start
    m = len(owner)
    add = sparse.csr_array((np.ones(m), (owner, np.arange(m))), shape=(m, m))
    with np.errstate(divide="ignore"):
        variance = np.bincount(owner, 1.0 / weight[part], m).astype(np.float64)
    joined = np.divide(1.0, variance, where=owner == np.arange(m), out=np.zeros(m))
    by_sway = None if rows.by_sway is None else sparse.csr_array(add @ rows.by_sway)
    by_spline, by_border = (sparse.csr_array(add @ by) for by in (rows.by_spline, rows.by_border))
    whole = Rows(rows.kind, rows.spline, part, by_spline, by_sway, by_border)
    return Added(whole, np.bincount(owner, residual[part], m).astype(np.float64), joined)


def _cells(problem: Problem, setting: Setting, run: Run) -> Into:
    """(3, b) the cells of track in which the middle of the wagon is at the beginning, middle and end of each bin."""
    spline = problem.spline
    edge = run.sigma + 0.5 * setting.way * setting.wheelbase_mm - spline.origin
    place = np.array([edge[:-1], 0.5 * (edge[1:] + edge[:-1]), edge[1:]])
    place = place % spline.length if spline.closed else np.clip(place, 0.0, spline.length)
    return np.floor(place / (CELL_KNOTS * spline.h)).astype(np.int64)


def _as_of_track(axis: int, setting: Setting, run: Run) -> Array:
    """(b,) +1 or -1: the sign with which roll, climb and heading of the track enter what each axis turns over a bin; 0
    at rest."""
    going = np.sign(np.diff(run.sigma))
    return np.asarray((setting.way * going, -setting.way * going, going)[axis])
