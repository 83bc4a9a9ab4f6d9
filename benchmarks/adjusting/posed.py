"""The small adjustment as whitened rows over one long vector, for any solver that takes such rows.

A closure reaches along the whole line. So that a general library need not carry a dense row, the line's place every
wheelbase is among the unknowns, chained by the line's own chords held to a micrometre.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from benchmarks.adjusting.small import Priors
from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted, ties_at, weighted
from wayrule.track.adjust.line import positions
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS, evaluate
from wayrule.track.adjust.solve import SMOOTH_ORDERS, gauge_matrices, smoothness_matrices
from wayrule.track.adjust.ties import EXACT_MM
from wayrule.track.adjust.unknowns import Unknowns

CHUNK: Final = 8
"""Coefficients in one vector of unknowns: a wheelbase of spline."""

CHORD_SD_MM: Final = 1e-3


def difference(n: int, order: int) -> sparse.csr_array:
    """(n, n) differences of that order round a ring.

    >>> difference(4, 1).toarray()[3].tolist()
    [1.0, 0.0, 0.0, -1.0]
    """
    ahead = sparse.csr_array((np.ones(n), (np.arange(n), np.r_[1:n, 0])), shape=(n, n))
    step = sparse.csr_array(ahead - sparse.eye_array(n, format="csr"))
    out = sparse.csr_array(sparse.eye_array(n, format="csr"))
    for _ in range(order):
        out = sparse.csr_array(step @ out)
    return out


def root(information: sparse.csr_array, rows: sparse.csr_array) -> sparse.csr_array:
    """`rows` times the factor that makes their normal matrix the given information.

    Raises
    ------
    ValueError   if no factor does
    """
    normal = sparse.csr_array(rows.T @ rows)
    scaled = rows * float(np.sqrt(information.trace() / normal.trace()))
    off = abs(sparse.csr_array(scaled.T @ scaled) - information).max()
    if off > 1e-6 * abs(information).max():
        raise ValueError("these rows are not the root of this information")
    return sparse.csr_array(scaled)


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """Whitened rows of one kind: error = modelled - observed over its sigma, (m,), and (m, N) derivatives."""

    error: Array
    by: sparse.csr_array


@dataclass(slots=True)
class Posed:
    """The problem as errors over one long vector: splines with their sway, border, then places along the line."""

    done: Adjusted
    priors: Priors

    @property
    def places(self) -> Array:
        """Ends of the chords, from the line's origin once round."""
        spline = self.done.problem.spline
        return np.asarray(spline.origin + spline.h * np.append(np.arange(0.0, spline.n, CHUNK), spline.n))

    def widths(self) -> tuple[int, int, int]:
        """Numbers of unknowns: of one block, of the border, of the places."""
        u = self.done.unknowns
        return u.block, len(u.border), 3 * len(self.places)

    def vector(self, u: Unknowns) -> Array:
        """The long vector of a point, places where the point has them."""
        parts = [np.concatenate((c, s)) for c, s in zip(u.read, u.sway, strict=True)]
        xyz = positions(u, self.places, u.spline.h * TRACE_STEP_KNOTS).xyz
        return np.concatenate([*parts, u.border, xyz.T.ravel()])

    def point(self, x: Array) -> Unknowns:
        """The point of a long vector."""
        u, n = self.done.unknowns, self.done.problem.spline.n
        block, k, _ = self.widths()
        parts = x[: 3 * block].reshape(3, block)
        theta, gamma, phi = parts[:, :n]
        return replace(
            u,
            read_theta=theta,
            read_gamma=gamma,
            read_phi=phi,
            sway=parts[:, n:],
            border=x[3 * block : 3 * block + k],
        )

    def bundles(self, x: Array) -> list[Bundle]:
        """Every row at a point."""
        u, problem = self.point(x), self.done.problem
        block, k, p = self.widths()
        runs = evaluate(problem, u)
        out = []
        for one in weighted(problem, u, runs, self.done.row_weights, self.done.spans):
            m, scale = len(one.weight), np.sqrt(one.weight)
            parts: list[Any] = [sparse.csr_array((m, block)) for _ in range(3)]
            parts[one.rows.spline] = u.on_block(one.run, one.rows)
            by = sparse.hstack([*parts, one.rows.by_border, sparse.csr_array((m, p))], format="csr")
            out.append(Bundle(-scale * one.residual, sparse.csr_array(by.multiply(scale[:, None]))))
        out += self._priors(x)
        out += self._chords(u, x)
        ties = [t for t in ties_at(problem, u, runs, whole=True) if not t.name.startswith("closure")]
        by = np.zeros((len(ties), len(x)))
        by[:, 3 * block : 3 * block + k] = [t.by_border / t.sd for t in ties]
        assert not any(np.any(t.by_spline) for t in ties), "a tie that reaches along the line"
        out.append(Bundle(-np.array([t.residual / t.sd for t in ties]), sparse.csr_array(by)))
        return out

    def _priors(self, x: Array) -> list[Bundle]:
        problem = self.done.problem
        n, size = problem.spline.n, len(x)
        block, k, _ = self.widths()
        smooth = smoothness_matrices(problem.spline, problem.smooth, problem.wagon.wheelbase_mm)
        gauge = gauge_matrices(problem.spline)
        start = problem.spline.value_rows(np.array([problem.spline.origin]))
        rows = []
        for i in range(3):
            for information, base in ((smooth[i], difference(n, SMOOTH_ORDERS[i])), (gauge[i], start)):
                rows.append(_placed(root(information, base), i * block, size))
            rows.append(_placed(self.done.noise.sway[i], i * block + n, size))
        upper = np.linalg.cholesky(self.priors.border).T
        upper[np.abs(upper) < 1e-12 * np.abs(upper).max(axis=1, keepdims=True)] = 0.0
        rows.append(_placed(sparse.csr_array(upper), 3 * block, size))
        mean = np.zeros(size)
        mean[3 * block : 3 * block + k] = self.priors.mean
        return [Bundle(np.asarray(by @ (x - mean)), by) for by in rows]

    def _chords(self, u: Unknowns, x: Array) -> list[Bundle]:
        """Places along the line from the chords before them, and the end on the start."""
        n, size = u.spline.n, len(x)
        block, k, p = self.widths()
        xyz = x[-p:].reshape(-1, 3)
        line = positions(u, self.places, u.spline.h * TRACE_STEP_KNOTS)
        count = len(xyz) - 1
        error = ((np.diff(xyz, axis=0) - np.diff(line.xyz.T, axis=0)) / CHORD_SD_MM).ravel()
        by = np.zeros((count, 3, size))
        for axis in range(3):
            own, spline = (line.by_gamma, 1) if axis == 2 else (line.by_theta[axis], 0)
            by[:, axis, spline * block : spline * block + n] = -np.diff(own, axis=0)
            by[:, axis, 3 * block : 3 * block + k] = -np.diff(line.by_border[axis], axis=0)
            at = size - p + axis + 3 * np.arange(count)
            by[np.arange(count), axis, at] = -1.0
            by[np.arange(count), axis, at + 3] = 1.0
        chords = sparse.csr_array(by.reshape(3 * count, size) / CHORD_SD_MM)
        first, last = (_placed(sparse.eye_array(3, format="csr"), at, size) for at in (size - p, size - 3))
        shut = sparse.csr_array((last - first) / EXACT_MM)
        pin = sparse.csr_array(first / CHORD_SD_MM)
        return [Bundle(error, chords), Bundle(np.asarray(shut @ x), shut), Bundle(np.asarray(pin @ x), pin)]


def _placed(rows: sparse.csr_array, at: int, size: int) -> sparse.csr_array:
    """Rows put into columns from `at` on, of `size`."""
    m, n = rows.shape
    parts = [sparse.csr_array((m, at)), rows, sparse.csr_array((m, size - at - n))]
    return sparse.csr_array(sparse.hstack([part for part in parts if part.shape[1]], format="csr"))


def groups_of(posed: Posed) -> list[NDArray[np.int64]]:
    """Columns of each vector of the graph: wheelbases of spline and of sway, constants, each knot, each place."""
    u = posed.done.unknowns
    block, k, p = posed.widths()
    out: list[NDArray[np.int64]] = []
    for i in range(3):
        for low, high in ((0, u.spline.n), (u.spline.n, block)):
            out += [np.arange(i * block + a, i * block + min(a + CHUNK, high)) for a in range(low, high, CHUNK)]
    knots: dict[tuple[str, int], list[int]] = {}
    alone = []
    for name, part in u.names.items():
        places = range(3 * block + part.start, 3 * block + part.stop)
        if name.startswith(("bias_", "slide/")):
            kind = name[:4]
            for i, place_of in enumerate(places):
                knots.setdefault((f"{kind}{name.split('/')[1]}", i), []).append(place_of)
        else:
            alone += list(places)
    out.insert(0, np.array(alone))
    out += [np.array(columns) for columns in knots.values()]
    return out + [np.arange(a, a + 3) for a in range(3 * block + k, 3 * block + k + p, 3)]
