"""One Gauss-Newton step of the adjustment: rows of all runs into banded normal equations with a border, solved."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from wayrule.maths.bordered import Bordered
from wayrule.maths.splines import UniformSpline
from wayrule.model.arrays import Array
from wayrule.track.adjust.rows import Rows
from wayrule.track.adjust.ties import Tie
from wayrule.track.adjust.unknowns import Unknowns

THETA_GAUGE_SD = 1e-7
GAMMA_FIRST_SD = 0.02
PHI_MEAN_SD = 0.05


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
    expected random walk of curvature, gradient and roll, q / k^2. Towards longer waves, which the runs see, it is given
    q k_L^2 / k^4 (k_L = 2 pi / L) and so says nothing: else the few ramps and grades of a line, met at the same places,
    would pass for misalignment of the sensor.
    """
    h, k = spline.h, 2 * np.pi / wheelbase_mm
    third = _difference(spline, 3) * (1.0 / (smooth.curvature_1_mm * k * h**2.5))
    second = _difference(spline, 2)
    bend = sparse.csr_array(second.T @ second)
    return [
        sparse.csr_array(third.T @ third),
        bend * (1.0 / (smooth.gradient**2 * k**2 * h**3)),
        bend * (1.0 / (smooth.roll_rad**2 * k**2 * h**3)),
    ]


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


def gauge_matrices(spline: UniformSpline) -> list[sparse.csr_array]:
    """Weak knowledge that keeps the blocks definite: heading of the start zero (control points turn the whole line, by
    `datum_turn`), the start about level, the rails about level across."""
    start = spline.value_rows(np.array([spline.origin]))
    own = sparse.csr_array(start.T @ start)
    return [own * (1 / sd**2) for sd in (THETA_GAUGE_SD, GAMMA_FIRST_SD, PHI_MEAN_SD)]


def assemble(
    u: Unknowns,
    rows: Sequence[tuple[int, Rows, Array]],
    ties: Sequence[Tie],
    prior: Array,
    prior_mean: Array,
    quiet: Sequence[sparse.csr_array],
    sway: Sequence[sparse.csr_array],
    position: Array,
) -> System:
    """Normal equations of rows with their weights, ties as multipliers, priors; factored and solved.

    minimise sum w (r - J d)^2 + (c + d - m)' P (c + d - m)  subject to  T d + sd e = t

    Parameters
    ----------
    rows : (run, rows, weights) of every kind
    prior, prior_mean : (k, k) information and (k,) mean of the border, m above; the splines' is 0
    quiet : (n, n) prior information on theta, gamma, phi (smoothness and gauge)
    sway : (w, w) what whitens the sway of each angle
    position : (block,) places of a block's unknowns along the line, which make it banded
    """
    n, size, k, m = u.spline.n, u.block, len(u.border), len(ties)
    now = [np.concatenate((c, s)) for c, s in zip(u.read, u.sway, strict=True)]
    blocks = [sparse.csr_array(sparse.block_diag((q, r.T @ r), format="csr")) for q, r in zip(quiet, sway, strict=True)]
    f = -np.concatenate([b @ c for b, c in zip(blocks, now, strict=True)])
    border, corner = np.zeros((3 * size, k + m)), np.zeros((k + m, k + m))
    corner[:k, :k] = prior
    g = np.zeros(k + m)
    g[:k] = prior @ (prior_mean - u.border)
    for run, one, weight in rows:
        on_block = _on_block(one, u.sway_of[run], n, size)
        left = sparse.csr_array(on_block.multiply(weight[:, None])).T.tocsr()
        part = slice(one.spline * size, (one.spline + 1) * size)
        blocks[one.spline] = blocks[one.spline] + sparse.csr_array(left @ on_block)
        border[part, :k] += (left @ one.by_border).toarray()
        weighted = sparse.csr_array(one.by_border.multiply(weight[:, None])).T.tocsr()
        corner[:k, :k] += (weighted @ one.by_border).toarray()
        f[part] += left @ one.residual
        g[:k] += weighted @ one.residual
    if ties:
        border[:, k:] = u.embedded(np.array([t.by_spline for t in ties])).T
    for j, tie in enumerate(ties, start=k):
        corner[:k, j] = corner[j, :k] = tie.by_border
        corner[j, j] = -(tie.sd**2)
        g[j] = tie.residual
    bordered = Bordered.of(blocks, border, corner, position, closed=u.spline.closed)
    step, step_border = bordered.solve(f, g)
    return System(bordered, step, step_border[:k], m)


def _on_block(rows: Rows, sway_of: slice, n: int, size: int) -> sparse.csr_array:
    """Rows on a spline's coefficients and its sway together: (m, block)."""
    m = rows.by_spline.shape[0]
    if rows.by_sway is None:
        parts = [rows.by_spline, sparse.csr_array((m, size - n))]
    else:
        before, after = sway_of.start, size - n - sway_of.stop
        parts = [rows.by_spline, sparse.csr_array((m, before)), rows.by_sway, sparse.csr_array((m, after))]
    return sparse.csr_array(sparse.hstack([p for p in parts if p.shape[1]], format="csr"))
