"""A small adjustment held still: two laps of a small oval, weights as they ended, and one rough start.

Minimised is sum w (observed - modelled)^2 + priors + (misclosure / 0.01 mm)^2 + ((stated - adjusted) / sd)^2.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import sparse

from benchmarks.adjusting.staged import adjusted
from wayrule.model import Facts
from wayrule.model.arrays import Array
from wayrule.sim import GOOD, HO_VAN, RunPlan, laps, oval, simulate
from wayrule.track.adjust.adjust import CONVERGED_RAD, CONVERGED_WHEELBASES, Adjusted, relaxed_share, ties_at, weighted
from wayrule.track.adjust.problem import band_position, evaluate
from wayrule.track.adjust.solve import assemble, gauge_matrices, known_of_blocks, smoothness_matrices
from wayrule.track.adjust.unknowns import Unknowns

LAPS: Final = 2
LENGTH_MM: Final = 6000.0
SHORT_BY: Final = 0.03


def small_problem() -> Adjusted:
    """Two laps of a small oval, adjusted by us, weights and all."""
    railway = oval(np.random.default_rng(1), length_mm=LENGTH_MM)
    run, _ = simulate(
        railway, HO_VAN, RunPlan(*laps(railway.length_mm, LAPS, 220.0)), GOOD, np.random.default_rng(2), name="run"
    )
    return adjusted([run], HO_VAN, Facts(laps={"run": LAPS}))


def rough_start(done: Adjusted) -> Unknowns:
    """Where both begin: bends too weak by `SHORT_BY`, no sway, and nothing known of wagon and run."""
    u = done.unknowns
    less = 1.0 - SHORT_BY
    return replace(
        u,
        read_theta=less * u.read_theta,
        read_gamma=less * u.read_gamma,
        read_phi=less * u.read_phi,
        sway=np.zeros_like(u.sway),
        border=np.zeros_like(u.border),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """What does not change while iterating: (n, n) information on splines, (k, k) on the border, its mean (k,)."""

    information: list[sparse.csr_array]
    border: Array
    mean: Array

    @classmethod
    def of(cls, done: Adjusted) -> "Priors":
        """As `adjust` has them."""
        problem = done.problem
        smooth = smoothness_matrices(problem.spline, problem.smooth, problem.wagon.wheelbase_mm)
        gauge = gauge_matrices(problem.spline)
        return cls(
            [a + b for a, b in zip(smooth, gauge, strict=True)],
            problem.border.prior_matrix(),
            np.array(problem.border.value),
        )


def objective(done: Adjusted, priors: Priors, u: Unknowns) -> float:
    """What both minimise, at a point."""
    runs = evaluate(done.problem, u)
    off = u.border - priors.mean
    total = float(off @ priors.border @ off)
    for one in weighted(done.problem, u, runs, done.row_weights, done.spans):
        total += float(one.weight @ one.residual**2)
    for i, (coefficients, q) in enumerate(zip(u.read, priors.information, strict=True)):
        total += float(coefficients @ (q @ coefficients)) + float(np.sum((done.noise.sway[i] @ u.sway[i]) ** 2))
    return total + sum((tie.residual / tie.sd) ** 2 for tie in ties_at(done.problem, u, runs, whole=True))


def ours(done: Adjusted, priors: Priors, u: Unknowns) -> tuple[Unknowns, int]:
    """Gauss-Newton steps of the adjustment, relaxed as there, weights held, until it stops as the adjustment does."""
    problem = done.problem
    seen = problem.spline.mean_rows(problem.spline.centres(), problem.wagon.wheelbase_mm)
    runs = evaluate(problem, u)
    where = band_position(problem, u, runs)
    known = known_of_blocks(priors.information, done.noise.sway)
    relaxed, last = 1.0, np.zeros(0)
    for iteration in range(1, 31):
        rows = weighted(problem, u, runs, done.row_weights, done.spans)
        ties = ties_at(problem, u, runs, whole=True)
        system = assemble(u, rows, ties, priors.border, priors.mean, known, where)
        turned = np.ravel(seen @ system.step.reshape(3, -1)[:, : problem.spline.n].T)
        relaxed = relaxed_share(relaxed, last, turned) if iteration > 1 else 1.0
        last = turned
        u = u.moved(relaxed * system.step, relaxed * system.step_border)
        runs = evaluate(problem, u)
        angle = float(np.max(np.abs(turned)))
        moves = [system.step_border[part] for name, part in u.names.items() if name.startswith(("start/", "slide/"))]
        if angle < CONVERGED_RAD and np.max(np.abs(np.concatenate(moves))) < CONVERGED_WHEELBASES * u.wheelbase_mm:
            return u, iteration
    raise RuntimeError("30 rounds and not settled")
