"""An adjustment laid out: runs reduced to bins, the unknowns, and where the runs lie for a given point."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.splines import UniformSpline
from wayrule.model import Calibration, Mishap, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.model.facts import Facts
from wayrule.track.adjust.bins import Bins, reduce_run
from wayrule.track.adjust.density import densities
from wayrule.track.adjust.force import Felt, felt, force_readings, force_rows
from wayrule.track.adjust.gyro import gyro_readings, gyro_rows
from wayrule.track.adjust.pose import Pose, Setting, chainage, heard, pose
from wayrule.track.adjust.remembered import Before, known_before, recall
from wayrule.track.adjust.rows import Readings, Rows
from wayrule.track.adjust.solve import Smoothness
from wayrule.track.adjust.unknowns import Border, Unknowns, lag_sd_s, lay_out, sway_knots, sway_spline
from wayrule.track.adjust.waver import add_waver
from wayrule.track.place import Line
from wayrule.track.unbroken import unbroken_s

KNOTS_A_WHEELBASE = 8
"""Spline knots in one wheelbase: a kink is then placed within a few mm in HO, and the chord is undone, not blurred."""


MOST_KNOTS = 6000
"""Longer lines get wider knots: the cost stays linear."""


TRACE_STEP_KNOTS = 0.5


@dataclass(frozen=True, slots=True)
class Problem:
    """All that stays fixed while iterating."""

    travels: tuple[Travel, ...]
    wagon: Wagon
    facts: Facts
    line: Line
    settings: tuple[Setting, ...]
    border: Border
    spline: UniformSpline
    smooth: Smoothness
    scale_sd: float
    reverses: bool
    before: Before
    calibration: Calibration | None


@dataclass(frozen=True, slots=True)
class Run:
    """A run at the present point: where its bins' edges lie, its attitude and what it should feel there, and its
    readings beside what was expected."""

    sigma: Array
    at: Pose
    true: Felt
    readings: tuple[Readings, ...]


def prepare(
    travels: Sequence[Travel], wagon: Wagon, facts: Facts, line: Line, calibration: Calibration | None = None
) -> Problem:
    """Reduce the runs to bins and lay out the unknowns; `calibration` of this wagon, where there is one."""
    wheelbase = wagon.wheelbase_mm
    total = line.lap_mm or max(float(np.ptp(t.distance_mm)) for t in travels)
    knot = max(wheelbase / KNOTS_A_WHEELBASE, total / MOST_KNOTS)
    settings = tuple(
        Setting(
            reduce_run(p.travel, knot * 0.75, wheelbase),
            r,
            p.way,
            p.start_mm,
            p.stretch,
            wheelbase,
            wagon.imu.place_mm or (wheelbase / 2, 0.0, 0.0),
            _jumps(p.travel),
            unbroken_s(p.travel, wheelbase),
        )
        for r, p in enumerate(line.runs)
    )
    for setting, travel in zip(settings, travels, strict=True):
        if len(setting.bins.d_mm) < 20 or setting.bins.path_mm[-1] < 3 * wheelbase:
            raise UndeterminedError(
                expected=f"a run over at least three wheelbases ({3 * wheelbase:.0f} mm)",
                came=f"{setting.bins.path_mm[-1]:.0f} mm of travel",
                where=travel.run,
                next_step="pull the wagon further, or check the wheel sensor with `wayrule travel`",
            )
    start, stop = _extent(settings, line, wheelbase, knot)
    spline = UniformSpline.over(start, stop, knot, closed=line.lap_mm is not None)
    reverses = any(_reverses(s.bins, REVERSAL_WHEELBASES * wheelbase) for s in settings)
    border = lay_out(
        wagon,
        [s.bins for s in settings],
        [densities(t, wagon) for t in travels],
        closed=line.lap_mm is not None,
        reverses=reverses,
    )
    scale_sd, lag_sd = travels[0].scale_sd, lag_sd_s([s.bins for s in settings])
    before = known_before(border, calibration, wheel_scale_sd=scale_sd, lag_sd_s=lag_sd, reverses=reverses)
    recall(border, before, calibration)
    for setting in settings:
        for i, one in enumerate(setting.jumps):
            border.add(f"jump/{setting.number}/{i}", 1, one.loose_mm)
    add_waver(border, settings, spline)
    for axis in "xyz":
        border.add(f"datum_{axis}", 1, 1e7 if facts.controls else 1e-9)
    border.add("datum_turn", 1, 10.0 if heading_given(facts) else 1e-9)
    smooth = expected_smoothness([s.bins for s in settings], wheelbase)
    return Problem(
        tuple(travels), wagon, facts, line, settings, border, spline, smooth, scale_sd, reverses, before, calibration
    )


MOST_JUMPS = 24
"""So many of a run's mishaps, those that may have moved it most, get an unknown each."""


def _jumps(travel: Travel) -> tuple[Mishap, ...]:
    """The mishaps across which a run may have gone elsewhere than its wheel says, in order of time."""
    loose = sorted((one for one in travel.mishaps if one.loose_mm > 0), key=lambda one: -one.loose_mm)[:MOST_JUMPS]
    return tuple(sorted(loose, key=lambda one: one.first_s))


REVERSAL_WHEELBASES = 5.0
"""A run reverses when it goes at least so far either way."""


def _reverses(bins: Bins, least_mm: float) -> bool:
    step = np.diff(bins.d_mm)
    return bool(min(step[step > 0].sum(), -step[step < 0].sum()) > least_mm)


def heading_given(facts: Facts) -> bool:
    """Whether control points fix the plan's orientation."""
    return sum(c.has_plan for c in facts.controls) >= 2 or any(c.has_heading for c in facts.controls)


def _extent(settings: Sequence[Setting], line: Line, wheelbase: float, knot: float) -> tuple[float, float]:
    """Chainages that the splines must span: everything that any support rolled over, with a margin to slide in."""
    if line.lap_mm is not None:
        return 0.0, line.lap_mm
    ends = []
    for s in settings:
        sigma = s.start_mm + s.way * s.stretch * s.bins.d_mm
        ends += [sigma.min(), sigma.max(), sigma.min() + s.way * wheelbase, sigma.max() + s.way * wheelbase]
    return min(ends) - 2 * knot, max(ends) + 2 * knot


def expected_smoothness(runs: Sequence[Bins], wheelbase: float) -> Smoothness:
    """Random-walk rates of curvature, gradient and roll from what the gyro turned over neighbouring wheelbases.

    Over a wheelbase L a random walk of rate q changes by q sqrt(L); mean squares, so that bends and steps count.
    """
    squares: list[Array] = []
    for bins in runs:
        rate = np.median(bins.gyro_rad[_still(bins)] / bins.dt_s[_still(bins)][:, None], axis=0)
        angle = np.vstack((np.zeros(3), np.cumsum(bins.gyro_rad - rate * bins.dt_s[:, None], axis=0)))
        first = np.searchsorted(bins.path_mm, bins.path_mm + wheelbase)
        second = np.searchsorted(bins.path_mm, bins.path_mm + 2 * wheelbase)
        inside = second < len(bins.path_mm)
        i, j, k = np.flatnonzero(inside), first[inside], second[inside]
        change = np.column_stack(
            (
                (angle[k, 2] - 2 * angle[j, 2] + angle[i, 2]) / wheelbase,
                angle[j, 1] - angle[i, 1],
                angle[j, 0] - angle[i, 0],
            )
        )
        squares.append(np.mean(change**2, axis=0))
    rate = np.sqrt(np.mean(squares, axis=0) / wheelbase)
    least = np.array([1e-6 / wheelbase, 1e-5, 1e-5]) / np.sqrt(wheelbase)
    bend, grade, lean = np.maximum(rate, least)
    return Smoothness(float(bend), float(grade), float(lean))


def _still(bins: Bins) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Bins in which the wagon hardly moves; every bin if there are none."""
    still = np.abs(np.diff(bins.d_mm)) < 0.02 * np.median(np.abs(np.diff(bins.d_mm)))
    return still if still.any() else np.ones_like(still)


def first_point(problem: Problem) -> Unknowns:
    """Everything zero: a straight level line, or a circle for a closed one that turns."""
    n, lap = problem.spline.n, problem.line.lap_mm
    wind = 2 * np.pi * problem.line.turns / lap if lap else 0.0
    zero = np.zeros(n)
    passes = sum(float(s.bins.path_mm[-1]) for s in problem.settings) / problem.spline.length
    places, stop = [], 0
    for setting in problem.settings:
        count = sway_knots(setting.bins, problem.wagon.wheelbase_mm, passes)
        places.append(slice(stop, stop + count))
        stop += count
    return Unknowns(
        problem.spline,
        zero,
        zero,
        zero,
        np.zeros((3, stop)),
        tuple(places),
        np.array(problem.border.value),
        dict(problem.border.names),
        wind,
        problem.wagon.wheelbase_mm,
    )


def evaluate(problem: Problem, u: Unknowns) -> tuple[Run, ...]:
    """Every run on the present track."""
    out = []
    for setting in problem.settings:
        sigma = chainage(u, setting)
        at = pose(u, setting, heard(u, setting, sigma))
        true = felt(u, setting, at)
        out.append(Run(sigma, at, true, (*gyro_readings(u, setting, at), *force_readings(u, setting, true))))
    return tuple(out)


def linearised(u: Unknowns, setting: Setting, run: Run) -> Iterator[list[Rows]]:
    """Derivatives of a run's readings, part by part of it, in the order of its `readings`."""
    for part in setting.bins.parts():
        yield gyro_rows(u, setting, run.at, part) + force_rows(u, setting, run.at, run.true, part)


def band_position(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Array:
    """(block,) places along the line of a spline's coefficients and of the runs' sway knots."""
    lap = problem.line.lap_mm
    out = [u.spline.centres()]
    for setting, run, part in zip(problem.settings, runs, u.sway_of, strict=True):
        knots = sway_spline(setting.bins, part.stop - part.start).centres()
        middle = run.sigma + setting.way * problem.wagon.wheelbase_mm / 2
        out.append(np.interp(knots, setting.bins.path_mm, middle))
    place = np.concatenate(out)
    return np.mod(place, lap) if lap is not None else place
