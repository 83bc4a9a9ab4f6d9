"""The same small adjustment by a general factor-graph library (GTSAM): its optimum, its time and ours.

Both begin at one rough start and minimise the same sum (`small.py`), with the same rows and derivatives, evaluated by
the same code once an iteration. The library gets them as factors of 16 rows on vectors of a wheelbase's coefficients
(`posed.py`), chooses its own order of elimination, and stops by its own default rule; we stop as the survey does.
What it spends in our evaluations, called from Python, is told apart, and so is its linear solution alone.
"""

import time
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from benchmarks.adjusting.posed import Bundle, Posed, groups_of
from benchmarks.adjusting.small import Priors, objective, ours, rough_start, small_problem
from benchmarks.row import Row, at_least, at_most
from wayrule.model.arrays import Array

ROWS: Final = 16
"""Rows of one kind in one factor."""

OPTIMUM: Final = 1.01
TIMES: Final = 10.0
SETTLED: Final = 1e-9
"""Relative change of the sum at which the library's optimum is taken as found."""


class Graph:
    """The library's nonlinear graph over our rows; keys are numbers of groups, 0 the wagon's constants."""

    def __init__(self, gtsam: Any, posed: Posed, seen: Sequence[Array]) -> None:
        self.gtsam, self.posed, self.groups = gtsam, posed, groups_of(posed)
        self.size = len(seen[0])
        self.owner = np.empty(self.size, dtype=np.int64)
        for g, columns in enumerate(self.groups):
            self.owner[columns] = g
        self.stamp: bytes = b""
        self.now: list[Bundle] = []
        self.calling_s = 0.0
        self.evaluations = 0
        self.graph = gtsam.NonlinearFactorGraph()
        patterns = [[abs(b.by) for b in posed.bundles(x)] for x in seen]
        for number, of_kind in enumerate(zip(*patterns, strict=True)):
            together = sparse.csr_array(sum(of_kind[1:], of_kind[0]))
            for first in range(0, together.shape[0], ROWS):
                part = slice(first, min(first + ROWS, together.shape[0]))
                self._add(number, part, np.unique(self.owner[together[part].tocoo().col]))

    def _add(self, number: int, part: slice, keys: NDArray[np.int64]) -> None:
        columns = np.concatenate([self.groups[g] for g in keys])
        cuts = np.cumsum([len(self.groups[g]) for g in keys])[:-1]
        inside = np.zeros(self.size, dtype=bool)
        inside[columns] = True

        def error(_: Any, values: Any, jacobians: Any) -> Array:
            began = time.process_time()
            bundle = self.at(values)[number]
            if jacobians is not None:
                rows = bundle.by[part]
                if not inside[rows.indices].all():
                    raise RuntimeError("a row has left its factor's unknowns")
                dense = rows[:, columns].toarray()
                for i, one in enumerate(np.split(dense, cuts, axis=1)):
                    jacobians[i] = np.asfortranarray(one)
            self.calling_s += time.process_time() - began
            return bundle.error[part]

        model = self.gtsam.noiseModel.Unit.Create(part.stop - part.start)
        self.graph.add(self.gtsam.CustomFactor(model, [int(g) for g in keys], error))

    def at(self, values: Any) -> list[Bundle]:
        """All rows at the library's present point, evaluated once."""
        stamp = values.atVector(0).tobytes()
        if stamp != self.stamp:
            self.stamp, self.now = stamp, self.posed.bundles(self.vector(values))
            self.evaluations += 1
        return self.now

    def values(self, x: Array) -> Any:
        """A long vector as the library's values."""
        out = self.gtsam.Values()
        for g, columns in enumerate(self.groups):
            out.insert(g, x[columns])
        return out

    def vector(self, values: Any) -> Array:
        """And back."""
        x = np.empty(self.size)
        for g, columns in enumerate(self.groups):
            x[columns] = values.atVector(g)
        return x


def rival_rows() -> Iterator[Row]:
    """Our result and time against the library's; two rows that say so where it is not installed."""
    what = "a small adjustment (two laps of a 6 m oval, weights held)"
    closer = f"{what}: sum of squares over the optimum found by GTSAM"
    faster = f"{what}: processor time of GTSAM over ours, from the same start"
    try:
        import gtsam
    except ImportError:
        why = "GTSAM is not installed: pip install '.[bench]' on a platform that it has a wheel for"
        yield Row(closer, "", f"<= {OPTIMUM:g} times", ok=False, why=why)
        yield Row(faster, "", f">= {TIMES:g} times", ok=False, why=why)
        return
    done = small_problem()
    priors, start = Priors.of(done), rough_start(done)
    took = []
    for _ in range(3):
        began = time.process_time()
        end, rounds = ours(done, priors, start)
        took.append(time.process_time() - began)
    posed = Posed(done, priors)
    graph = Graph(gtsam, posed, [posed.vector(start), posed.vector(end)])
    began = time.process_time()
    optimizer = gtsam.GaussNewtonOptimizer(graph.graph, graph.values(posed.vector(start)), gtsam.GaussNewtonParams())
    theirs = optimizer.optimize()
    library_s, calling_s = time.process_time() - began, graph.calling_s
    settled = gtsam.GaussNewtonParams()
    settled.setRelativeErrorTol(SETTLED)
    best = gtsam.GaussNewtonOptimizer(graph.graph, theirs, settled).optimize()
    optimum, reached = objective(done, priors, posed.point(graph.vector(best))), objective(done, priors, end)
    row = at_most(closer, reached / optimum, OPTIMUM, "times")
    yield Row(row.what, f"{reached / optimum:.5f} times", row.limit, row.ok)
    row = at_least(faster, library_s / min(took), TIMES, "times")
    linear = graph.graph.linearize(theirs)
    began = time.process_time()
    linear.optimize(gtsam.Ordering.ColamdGaussianFactorGraph(linear))
    solving_s = time.process_time() - began
    yield Row(
        row.what,
        f"{row.measured} ({library_s:.2f} s in {optimizer.iterations()} rounds, {calling_s:.2f} s of it in our rows; "
        f"ours {min(took):.2f} s in {rounds} rounds; a linear solution alone takes it {solving_s:.3f} s)",
        row.limit,
        row.ok,
    )
