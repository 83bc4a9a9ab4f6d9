"""One Gauss-Newton step of the adjustment: rows of all runs into banded normal equations with a border, solved."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from wayrule.maths.banded import Banded
from wayrule.maths.bordered import Bordered
from wayrule.maths.splines import UniformSpline
from wayrule.model.arrays import Array
from wayrule.model.facts import START_LEVEL_SD
from wayrule.track.adjust.rows import Rows, scaled
from wayrule.track.adjust.ties import Tie
from wayrule.track.adjust.unknowns import Unknowns

THETA_GAUGE_SD = 1e-7
PHI_MEAN_SD = 0.05


SMOOTH_ORDERS = (3, 1, 1)
"""Order of the differences of theta, gamma and phi that the prior holds small (see `smoothness_matrices`)."""


@dataclass(frozen=True, slots=True)
class Smoothness:
    """How restless the line is expected to be, per mm of chainage (random walks; see `expected_smoothness`).

    curvature_1_mm  sd of curvature over one mm, gradient and roll_rad likewise
    """

    curvature_1_mm: float
    gradient: float
    roll_rad: float


@dataclass(frozen=True, slots=True)
class System:
    """The factored normal equations at a point, and the step from it."""

    bordered: Bordered
    step: Array
    step_border: Array
    ties: int


def smoothness_matrices(spline: UniformSpline, smooth: Smoothness, wheelbase_mm: float) -> list[sparse.csr_array]:
    """(n, n) information of the prior on theta, gamma, phi.

    A wheelbase is blind to waves of its own length, so something must bound them: there the prior has the power of the
    expected random walk of curvature, gradient and roll, q / k^2. Gradient and roll keep to it. Towards longer waves,
    which the runs see, curvature is given q k_L^2 / k^4 (k_L = 2 pi / L): a road or a branch has few bends.
    """
    h, k = spline.h, 2 * np.pi / wheelbase_mm
    sums = [sparse.csr_array(d.T @ d) for d in (_difference(spline, order) for order in SMOOTH_ORDERS)]
    scales = smooth.curvature_1_mm**2 * k**2 * h**5, smooth.gradient**2 * h, smooth.roll_rad**2 * h
    return [one * (1.0 / scale) for one, scale in zip(sums, scales, strict=True)]


def _difference(spline: UniformSpline, order: int) -> sparse.csr_array:
    n = spline.n
    one = sparse.csr_array(sparse.eye_array(n, format="csr"))
    out = one
    if spline.closed:
        ahead = sparse.csr_array((np.ones(n), (np.arange(n), np.r_[1:n, 0])), shape=(n, n))
        for _ in range(order):
            out = sparse.csr_array((ahead - one) @ out)
        return out
    for _ in range(order):
        out = sparse.csr_array(out[1:] - out[:-1])
    return out


def gauge_matrices(spline: UniformSpline, start_level_sd: float = START_LEVEL_SD) -> list[sparse.csr_array]:
    """Weak knowledge that keeps the blocks definite: heading of the start zero (control points turn the whole line, by
    `datum_turn`), the start about level, the rails about level across."""
    start = spline.value_rows(np.array([spline.origin]))
    own = sparse.csr_array(start.T @ start)
    return [own * (1 / sd**2) for sd in (THETA_GAUGE_SD, start_level_sd, PHI_MEAN_SD)]


def known_of_blocks(
    quiet: Sequence[sparse.csr_array], whitening: Sequence[sparse.csr_array]
) -> tuple[sparse.csr_array, ...]:
    """(block, block) information on theta, gamma and phi, each with its sway, before any reading.

    Parameters
    ----------
    quiet : (n, n) of the line's angles (smoothness and gauge)
    whitening : (w, w) what whitens the sway of each
    """
    both = zip(quiet, whitening, strict=True)
    return tuple(sparse.csr_array(sparse.block_diag((line, root.T @ root))) for line, root in both)


@dataclass(frozen=True, slots=True)
class Weighted:
    """Derivatives of some readings of a run, with their residuals and weights, (m,) each."""

    run: int
    rows: Rows
    residual: Array
    weight: Array


def assemble(
    u: Unknowns,
    readings: Iterable[Weighted],
    ties: Sequence[Tie],
    prior: Array,
    prior_mean: Array,
    known: Sequence[sparse.csr_array],
    position: Array,
) -> System:
    """Normal equations of readings with their weights, ties as multipliers, priors; factored and solved.

    minimise sum w (r - J d)^2 + (c + d - m)' P (c + d - m)  subject to  T d + sd e = t

    Parameters
    ----------
    readings : of every run and kind, a part at a time
    prior, prior_mean : (k, k) information and (k,) mean of the border, m above; the splines' is 0
    known : (block, block) prior information on theta, gamma, phi, each with its sway (`known_of_blocks`)
    position : (block,) places of a block's unknowns along the line, which make it banded
    """
    size, k, m = u.block, len(u.border), len(ties)
    blocks = tuple(Banded(size, position, closed=u.spline.closed) for _ in u.read)
    borders: list[list[sparse.csr_array]] = [[], [], []]
    f = np.zeros(3 * size)
    corner, g = np.zeros((k + m, k + m)), np.zeros(k + m)
    for axis, own in enumerate(known):
        blocks[axis].add(own)
        f[axis * size : (axis + 1) * size] = -(own @ np.concatenate((u.read[axis], u.sway[axis])))
    corner[:k, :k] = prior
    g[:k] = prior @ (prior_mean - u.border)
    for one in readings:
        axis, by_border = one.rows.spline, one.rows.by_border
        on_block = u.on_block(one.run, one.rows)
        left = scaled(on_block, one.weight).T.tocsr()
        blocks[axis].add(sparse.csr_array(left @ on_block))
        borders[axis].append(sparse.csr_array(left @ by_border))
        if len(borders[axis]) >= MOST_PARTS:
            borders[axis] = [_total(borders[axis], (size, k))]
        right = scaled(by_border, one.weight).T.tocsr()
        corner[:k, :k] += (right @ by_border).toarray()
        f[axis * size : (axis + 1) * size] += left @ one.residual
        g[:k] += right @ one.residual
    for j, tie in enumerate(ties, start=k):
        corner[:k, j] = corner[j, :k] = tie.by_border
        corner[j, j] = -(tie.sd**2)
        g[j] = tie.residual
    tied = np.array([t.by_spline for t in ties]).reshape(m, 3, u.spline.n)
    whole = [_total([*parts, _after(k, tied[:, axis], size)], (size, k + m)) for axis, parts in enumerate(borders)]
    bordered = Bordered.of(blocks, whole, corner)
    step, step_border = bordered.solve(f, g)
    return System(bordered, step, step_border[:k], m)


MOST_PARTS = 6
"""So many parts of the border are summed at a time: all of them together would be as large as the recording."""


def _after(k: int, rows: Array, size: int) -> sparse.csr_array:
    """(size, k + m) rows on a spline's coefficients, dense (m, n), as columns that follow the border's k."""
    tie, place = np.nonzero(rows)
    return sparse.csr_array((rows[tie, place], (place, tie + k)), shape=(size, k + len(rows)))


def _total(parts: list[sparse.csr_array], shape: tuple[int, int]) -> sparse.csr_array:
    """The sum of many sparse matrices, made once; `parts` is emptied."""
    triples = [one.tocoo() for one in parts]
    parts.clear()
    data, row, column = (np.concatenate([getattr(t, name) for t in triples] or [[]]) for name in ("data", "row", "col"))
    return sparse.csr_array(sparse.coo_array((data, (row.astype(np.int32), column.astype(np.int32))), shape=shape))
