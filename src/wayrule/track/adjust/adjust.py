"""The joint adjustment: all runs of a line in one least-squares problem, solved by Gauss-Newton.

Why it is built so, with every equation: `docs/decisions/0013-survey-adjustment.md`.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from wayrule.errors import UndeterminedError
from wayrule.model.arrays import Array
from wayrule.track.adjust.density import densities
from wayrule.track.adjust.line import trace
from wayrule.track.adjust.noise import Weights, row_weights
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS, Problem, Run, band_position, evaluate, first_point
from wayrule.track.adjust.solve import System, assemble, gauge_matrices, smoothness_matrices
from wayrule.track.adjust.sway import first_sway, reweighted, sway_seen, whitening
from wayrule.track.adjust.ties import (
    Moments,
    Tie,
    caliper_tie,
    closure_ties,
    control_ties,
    lap_end_ties,
    stretch_ties,
    tape_ties,
)
from wayrule.track.adjust.unknowns import Unknowns

MOST_ITERATIONS = 15

PLACES_FROM = 3
HELD_MM, HELD_SHARE = 1e-3, 1e-6
"""Until this iteration the runs stay where they were first placed: before the line has its bends, moving along it looks
like a gyro scale, and the laps would be pushed apart."""


CONVERGED_RAD = 1e-4


CONVERGED_WHEELBASES = 1e-3
"""The last step turned the body nowhere by more than 0.006 deg and moved no run by more than this (0.07 mm in HO)."""


REWEIGHT_AT = (4, 6)
"""Iterations that take new weights from the residuals; after the last one the weights are held and plain Gauss-Newton
steps finish."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The adjusted line.

    weights, row_weights   sigma of every row by kind, and the weights as used, outliers lowered
    iterations, moved_mm, converged   how the iteration ended
    """

    problem: Problem
    unknowns: Unknowns
    system: System
    runs: tuple[Run, ...]
    weights: tuple[Weights, ...]
    row_weights: tuple[tuple[Array, ...], ...]
    sway: tuple[sparse.csr_array, ...]
    iterations: int
    moved_mm: float
    converged: bool

    @property
    def border_covariance(self) -> Array:
        """(k, k) covariance of the border's unknowns."""
        k = len(self.unknowns.border)
        return self.system.bordered.border_covariance()[:k, :k]


def adjust(problem: Problem) -> Adjusted:
    """Iterate to convergence, with weights corrected by what the residuals show, then held."""
    u = first_point(problem)
    prior, prior_mean = problem.border.prior_matrix(), np.array(problem.border.value)
    held_places = np.diag(_hold(u))
    gauge = gauge_matrices(problem.spline)
    quiet = [
        q + g
        for q, g in zip(
            smoothness_matrices(problem.spline, problem.smooth, problem.wagon.wheelbase_mm), gauge, strict=True
        )
    ]
    seen = problem.spline.mean_rows(problem.spline.centres(), problem.wagon.wheelbase_mm)
    first = tuple(
        Weights.first(s.bins, densities(t, problem.wagon), t)
        for s, t in zip(problem.settings, problem.travels, strict=True)
    )
    weights: tuple[Weights, ...] = first
    runs = evaluate(problem, u)
    sway = whitening(first_sway(problem, u), problem.settings, u.sway_of)
    position = band_position(problem, u, runs)
    held: list[list[Array]] = []
    near = CONVERGED_WHEELBASES * problem.wagon.wheelbase_mm
    angle = place = np.inf
    relaxed, last = 1.0, np.zeros(0)
    for iteration in range(1, MOST_ITERATIONS + 1):
        if iteration in REWEIGHT_AT:
            weights = reweighted(problem, runs, first)
            sway = whitening(sway_seen(problem, u, runs, first), problem.settings, u.sway_of)
        if iteration <= REWEIGHT_AT[-1]:
            held = [
                [row_weights(row, w.sigma[row.kind]) for row in run.rows] for run, w in zip(runs, weights, strict=True)
            ]
        ties = ties_at(problem, u, runs, whole=iteration > 1)
        rows = [(r, row, w) for r, run in enumerate(runs) for row, w in zip(run.rows, held[r], strict=True)]
        known = prior + (held_places if iteration < PLACES_FROM else 0.0)
        system = _solved(problem, u, rows, ties, known, prior_mean, quiet, sway, position)
        turned = np.ravel(seen @ system.step.reshape(3, -1)[:, : problem.spline.n].T)
        if iteration > PLACES_FROM:
            relaxed = relaxed_share(relaxed, last, turned)
        last = turned
        share = 1.0 if iteration == 1 else relaxed * _share(u, system)
        u = u.moved(share * system.step, share * system.step_border)
        if iteration == 1:
            u = _turned_to_controls(problem, u, evaluate(problem, u))
        runs = evaluate(problem, u)
        angle = float(np.max(np.abs(turned)))
        place = max(float(np.max(np.abs(system.step_border[s]))) for k, s in u.names.items() if _is_place(k))
        if iteration > REWEIGHT_AT[-1] + 1 and angle < CONVERGED_RAD and place < near:
            break
    converged = angle < CONVERGED_RAD and place < near
    return Adjusted(problem, u, system, runs, weights, tuple(map(tuple, held)), sway, iteration, place, converged)


LONGEST_ANGLE_RAD, LONGEST_GAIN = 0.3, 0.03
"""Longest step after the first, in any angle of the line and in any gyro scale: beyond, sines are not their angles."""


def _share(u: Unknowns, system: System) -> float:
    """How much of a step is taken: all of it, or as much as keeps within what was linearised."""
    angle = float(np.max(np.abs(system.step.reshape(3, -1)[:, : u.spline.n])))
    gain = max(float(np.abs(system.step_border[u.names[f"gyro_scale_{axis}"]]).max()) for axis in "xyz")
    return min(1.0, LONGEST_ANGLE_RAD / max(angle, 1e-12), LONGEST_GAIN / max(gain, 1e-12))


LEAST_RELAXED, MOST_RELAXED = 0.4, 1.3
"""Bounds of the relaxation: it may halve a step that swings, it may not run away with one that creeps."""


def relaxed_share(before: float, last: Array, step: Array) -> float:
    """The share of a step to take so that steps which swing about the solution, or creep towards it, end there.

    Weights and places that follow the line make each step depend on the one before; the secant through the last two
    steps says where they would vanish. Source: U. Kuettler and W. A. Wall, Computational Mechanics 43 (2008) 61, eq. 44
    (Aitken's relaxation for vectors).
    """
    change = step - last
    secant = -before * float(last @ change) / max(float(change @ change), 1e-300)
    return float(np.clip(secant, LEAST_RELAXED, MOST_RELAXED))


def _solved(problem: Problem, *equations: Any) -> System:
    """The step of `assemble`; raises UndeterminedError where there is none."""
    try:
        system = assemble(*equations)
    except (np.linalg.LinAlgError, ValueError) as error:
        raise _astray(problem) from error
    if not (np.isfinite(system.step).all() and np.isfinite(system.step_border).all()):
        raise _astray(problem)
    return system


def _astray(problem: Problem) -> UndeterminedError:
    return UndeterminedError(
        expected="wheel, gyro and accelerometer that tell of one movement",
        came="readings that contradict each other so far that no line fits them",
        where=", ".join(t.run for t in problem.travels),
        next_step="check axes and units in [columns], wheelbase_mm and the wheel with `wayrule travel`",
    )


def _hold(u: Unknowns) -> Array:
    """(k,) information that holds the runs where they are: starts and slides to a micrometre, stretches to 1e-6."""
    out = np.zeros(len(u.border))
    for name, part in u.names.items():
        if _is_place(name):
            out[part] = HELD_MM**-2
        elif name.startswith("stretch"):
            out[part] = HELD_SHARE**-2
    return out


def _is_place(name: str) -> bool:
    return name.startswith(("start/", "slide/"))


def ties_at(problem: Problem, u: Unknowns, runs: Sequence[Run], *, whole: bool) -> list[Tie]:
    """The equations that reach along the line; `whole` False leaves out those that need a first heading."""
    line, facts, step = problem.line, problem.facts, problem.spline.h * TRACE_STEP_KNOTS
    moments = Moments(problem.settings, problem.travels, [r.sigma for r in runs], [r.by_border for r in runs])
    ties = [] if problem.calibration else [caliper_tie(u, problem.scale_sd)]
    ties += tape_ties(u, facts.tapes, moments, line.lap_mm, step)
    ties += stretch_ties(u, facts, problem.wagon.wheelbase_mm)
    if line.lap_mm is not None:
        stated = {
            r: (f.laps, np.sign(p.way * (p.travel.distance_mm[-1] - p.travel.distance_mm[0])))
            for r, (f, p) in enumerate(zip(line.laps, line.runs, strict=True))
            if f is not None and f.stated
        }
        ties += lap_end_ties(u, moments, stated, line.lap_mm)
        ties += [t for t in closure_ties(u, step) if whole or t.name == "closure z"]
    if whole:
        ties += control_ties(u, facts.controls, moments, step)
    return ties


def _turned_to_controls(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Unknowns:
    """After the first step the line has its shape: turn it and shift it onto its control points, roughly."""
    facts = problem.facts
    if not facts.controls:
        return u
    moments = Moments(problem.settings, problem.travels, [r.sigma for r in runs], [r.by_border for r in runs])
    line = trace(u, problem.spline.h * TRACE_STEP_KNOTS)
    here, there, turn = [], [], None
    for control in facts.controls:
        sigma, _ = moments.at(control.at)
        if control.has_heading and turn is None:
            turn = control.heading_rad - float(np.interp(sigma, line.sigma, line.heading))
        if control.has_plan:
            here.append(complex(np.interp(sigma, line.sigma, line.x), np.interp(sigma, line.sigma, line.y)))
            there.append(complex(control.x_mm, control.y_mm))
    a, b = np.array(here), np.array(there)
    if len(a) >= 2:
        turn = float(np.angle(np.sum((b - b.mean()) * np.conj(a - a.mean()))))
    turn = turn or 0.0
    border = u.border.copy()
    if len(a):
        shift = b.mean() - a.mean() * np.exp(1j * turn)
        border[u.names["datum_x"]], border[u.names["datum_y"]] = shift.real, shift.imag
    border[u.names["datum_turn"]] = turn
    return dataclasses.replace(u, border=border)
