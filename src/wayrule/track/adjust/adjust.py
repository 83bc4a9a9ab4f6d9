"""The joint adjustment: all runs of a line in one least-squares problem, solved by Gauss-Newton.

Why it is built so, with every equation: `docs/decisions/0013-survey-adjustment.md`.
"""

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np
from scipy import sparse

from wayrule.errors import UndeterminedError
from wayrule.model.arrays import Array
from wayrule.track.adjust.line import trace
from wayrule.track.adjust.noise import HUBER, Weights, row_weights
from wayrule.track.adjust.problem import (
    TRACE_STEP_KNOTS,
    Problem,
    Run,
    band_position,
    evaluate,
    first_point,
    linearised,
)
from wayrule.track.adjust.relations import relation_ties
from wayrule.track.adjust.set_down import set_down, unsettled, without
from wayrule.track.adjust.solve import System, Weighted, assemble, gauge_matrices, known_of_blocks, smoothness_matrices
from wayrule.track.adjust.sway import Noise, first_noise, noise_seen
from wayrule.track.adjust.ties import (
    Moments,
    Tie,
    closure_ties,
    control_ties,
    lap_end_ties,
    stretch_ties,
    tape_ties,
)
from wayrule.track.adjust.unknowns import Unknowns
from wayrule.track.adjust.unresolved import Into, added, as_one, together

MOST_ITERATIONS = 15

PLACES_FROM = 3
HELD_MM, HELD_SHARE, HELD_RATE_RAD_S, HELD_GAIN = 1e-3, 1e-6, 5e-3, 1e-3
"""Until this iteration the runs stay where they were first placed: before the line has its bends, moving along it looks
like a gyro scale, and the laps would be pushed apart. And a run that never stood would coil its line up by a bias that
nothing contradicts yet (held to 0.3 deg/s, which a standstill knows a hundred times better), or stretch its angles."""


CONVERGED_RAD = 1e-4


CONVERGED_WHEELBASES = 1e-3
"""The last step turned the body nowhere by more than 0.006 deg and moved no run by more than this (0.07 mm in HO)."""


REWEIGHT_AT = (4, 6)
"""Iterations that take new weights from the residuals; after the last one the weights are held and plain Gauss-Newton
steps finish."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The adjusted line.

    noise, row_weights   what was found of noise, and the readings' weights as used, outliers lowered
    spans                of every run and gyro axis, which bins count as one (`unresolved.py`)
    iterations, moved_mm, converged   how the iteration ended
    """

    problem: Problem
    unknowns: Unknowns
    system: System
    runs: tuple[Run, ...]
    noise: Noise
    row_weights: tuple[tuple[Array, ...], ...]
    spans: tuple[tuple[Into, ...], ...]
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
    runs = evaluate(problem, u)
    known, noise = _Known.of(problem, u, runs), first_noise(problem, u)
    blocks = known_of_blocks(known.quiet, noise.sway)
    first, loose = noise.weights, unsettled(problem)
    held = without(_held(runs, noise.weights, robust=False), problem, loose)
    spans: tuple[tuple[Into, ...], ...] = tuple(() for _ in runs)
    relaxed, last = 1.0, np.zeros(0)
    iteration = 0
    while True:
        iteration += 1
        if iteration in REWEIGHT_AT:
            noise = noise_seen(problem, u, runs, first)
            blocks = known_of_blocks(known.quiet, noise.sway)
        if iteration == PLACES_FROM:
            u = set_down(problem, u, runs)
            runs = evaluate(problem, u)
        if 1 < iteration <= REWEIGHT_AT[-1]:
            held = _held(runs, noise.weights, robust=True)
            if iteration < PLACES_FROM:
                held = without(held, problem, loose)
            if iteration in REWEIGHT_AT:
                spans = together(problem, runs, held)
            held = tuple(map(as_one, held, spans, runs, noise.weights))
        system = _solved(problem, u, runs, held, spans, blocks, known, iteration)
        turned = np.ravel(known.over_wheelbase @ system.step.reshape(3, -1)[:, : problem.spline.n].T)
        comparable = iteration > PLACES_FROM and iteration not in REWEIGHT_AT  # both steps by the same weights
        relaxed = relaxed_share(relaxed, last, turned) if comparable else 1.0
        last = turned
        share = 1.0 if iteration == 1 else relaxed * _share(u, system)
        u = u.moved(share * system.step, share * system.step_border)
        if iteration == 1:
            u = _turned_to_controls(problem, u, evaluate(problem, u))
        runs = evaluate(problem, u)
        angle = float(np.max(np.abs(turned)))
        place = max(float(np.max(np.abs(system.step_border[s]))) for k, s in u.names.items() if _is_place(k))
        near = place < CONVERGED_WHEELBASES * problem.wagon.wheelbase_mm
        converged = iteration > REWEIGHT_AT[-1] and angle < CONVERGED_RAD and near
        if converged or iteration == MOST_ITERATIONS:
            return Adjusted(problem, u, system, runs, noise, held, spans, iteration, place, converged)
        del system  # its factors are larger than the recording


@dataclass(frozen=True, slots=True)
class _Known:
    """What the equations keep from round to round: priors, and what makes the blocks banded.

    prior, hold     (k, k) information of the border's priors, and what holds the runs' places at first
    mean            (k,) of the priors
    quiet           (n, n) information on theta, gamma, phi
    position        (block,) places along the line of a block's unknowns
    over_wheelbase  (n, n) means over a wheelbase about each knot
    """

    prior: Array
    hold: Array
    mean: Array
    quiet: tuple[sparse.csr_array, ...]
    position: Array
    over_wheelbase: sparse.csr_array

    @classmethod
    def of(cls, problem: Problem, u: Unknowns, runs: Sequence[Run]) -> "_Known":
        spline, wheelbase = problem.spline, problem.wagon.wheelbase_mm
        smooth = smoothness_matrices(spline, problem.smooth, wheelbase)
        return cls(
            problem.border.prior_matrix(),
            np.diag(_hold(u)),
            np.array(problem.border.value),
            tuple(q + g for q, g in zip(smooth, gauge_matrices(spline, problem.facts.start_level_sd), strict=True)),
            band_position(problem, u, runs),
            spline.mean_rows(spline.centres(), wheelbase),
        )


def _held(runs: Sequence[Run], weights: Sequence[Weights], *, robust: bool) -> tuple[tuple[Array, ...], ...]:
    """Weights of all readings at the present point, to be held while it moves.

    Before the line has its bends the residuals are the bends: lowered as outliers they would be lost.
    """
    beyond = HUBER if robust else np.inf
    return tuple(
        tuple(row_weights(seen, w.sigma[seen.kind], beyond) for seen in run.readings)
        for run, w in zip(runs, weights, strict=True)
    )


LONGEST_ANGLE_RAD, LONGEST_GAIN = 0.3, {"x": 0.15, "y": 0.15, "z": 0.03}
"""Longest step after the first, in any angle of the line and in a gyro scale: beyond, sines are not their angles. Yaw
turns whole circles, roll and pitch some hundredths."""


def _share(u: Unknowns, system: System) -> float:
    """How much of a step is taken: all of it, or as much as keeps within what was linearised."""
    angle = float(np.max(np.abs(system.step.reshape(3, -1)[:, : u.spline.n])))
    gains = (abs(float(system.step_border[u.names[f"gyro_scale_{axis}"].start])) / LONGEST_GAIN[axis] for axis in "xyz")
    return 1.0 / max(1.0, angle / LONGEST_ANGLE_RAD, *gains)


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


def _solved(
    problem: Problem,
    u: Unknowns,
    runs: Sequence[Run],
    held: Sequence[Sequence[Array]],
    spans: Sequence[Sequence[Into]],
    blocks: Sequence[sparse.csr_array],
    known: _Known,
    iteration: int,
) -> System:
    """The step from a point; raises UndeterminedError where there is none."""
    prior = known.prior + (known.hold if iteration < PLACES_FROM else 0.0)
    ties = ties_at(problem, u, runs, whole=iteration > 1)
    readings = weighted(problem, u, runs, held, spans)
    try:
        system = assemble(u, readings, ties, prior, known.mean, blocks, known.position)
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


def weighted(
    problem: Problem,
    u: Unknowns,
    runs: Sequence[Run],
    weights: Sequence[Sequence[Array]],
    spans: Sequence[Sequence[Into]],
) -> Iterator[Weighted]:
    """All derivatives at a point, a part of a run at a time, with residuals and weights; spans of bins added up."""
    for setting, run, of_run, into in zip(problem.settings, runs, weights, spans, strict=True):
        for part in linearised(u, setting, run):
            for rows, seen, weight, owner in zip_longest(part, run.readings, of_run, into):
                one = added(rows, seen.residual, weight, owner)
                yield Weighted(setting.number, one.rows, one.residual, one.weight)


def _hold(u: Unknowns) -> Array:
    """(k,) information that holds the runs where they are, their gyro's biases near nothing and its scales near one."""
    out = np.zeros(len(u.border))
    for name, part in u.names.items():
        if _is_place(name):
            out[part] = HELD_MM**-2
        elif name.startswith("stretch"):
            out[part] = HELD_SHARE**-2
        elif name.startswith("bias_"):
            out[part] = HELD_RATE_RAD_S**-2
        elif name.startswith("gyro_scale"):
            out[part] = HELD_GAIN**-2
    return out


def _is_place(name: str) -> bool:
    return name.startswith(("start/", "slide/", "jump/"))


def ties_at(problem: Problem, u: Unknowns, runs: Sequence[Run], *, whole: bool) -> list[Tie]:
    """The equations that reach along the line; `whole` False leaves out those that need a first heading."""
    line, facts, step = problem.line, problem.facts, problem.spline.h * TRACE_STEP_KNOTS
    moments = Moments(u, problem.settings, problem.travels, [r.sigma for r in runs])
    ties = tape_ties(u, facts.tapes, moments, line.lap_mm, step)
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
        ties += control_ties(u, facts.controls, moments, step) + relation_ties(u, facts.relations, moments, step)
    return ties


def _turned_to_controls(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Unknowns:
    """After the first step the line has its shape: turn it and shift it onto its control points, roughly."""
    facts = problem.facts
    if not facts.controls:
        return u
    moments = Moments(u, problem.settings, problem.travels, [r.sigma for r in runs])
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
