"""The adjusted line as stations, each quantity with its standard deviation."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.model import Stations
from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.considered import considered
from wayrule.track.adjust.line import Traced, cell_of, positions, trace
from wayrule.track.adjust.passes import Pull, pulls, scatter_of
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS
from wayrule.track.adjust.unknowns import UNTURNED, Unknowns

SIGMA_PLACES = 160
"""Covariances of position and heading are smooth along the line: they are computed at this many places."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Places of the stations: sigma in nominal mm (a closed line's goes on beyond its period), s in true mm from the
    first run's start."""

    sigma: Array
    s: Array


def zero_of(adjusted: Adjusted, line: Traced) -> float:
    """Plan length from the spline's origin to where the first run starts: chainage 0."""
    lap, start = adjusted.problem.line.lap_mm, float(adjusted.runs[0].sigma[0])
    return float(line.length(start % lap if lap else start))


def station_grid(adjusted: Adjusted, line: Traced, step_mm: float) -> Grid:
    """Stations every `step_mm` where the body's origin went (a closed line: once round)."""
    zero = zero_of(adjusted, line)
    if adjusted.problem.line.lap_mm is not None:
        length = float(line.s[-1])
        count = max(int(np.ceil(length / step_mm)), 8)
        s = np.arange(float(count)) * (length / count)
        lap, place = np.divmod(s + zero, length)
        return Grid(line.sigma_at(place) + lap * adjusted.problem.line.lap_mm, s)
    low = min(float(r.sigma.min()) for r in adjusted.runs)
    high = max(float(r.sigma.max()) for r in adjusted.runs)
    first = np.ceil((float(line.length(low)) - zero) / step_mm - 1e-6)
    last = np.floor((float(line.length(high)) - zero) / step_mm + 1e-6)
    s = np.arange(float(first), float(last) + 1.0) * step_mm
    return Grid(line.sigma_at(s + zero), s)


def stations(adjusted: Adjusted, step_mm: float) -> Stations:
    """Centreline and sigmas."""
    problem, u = adjusted.problem, adjusted.unknowns
    line = trace(u, u.spline.h * TRACE_STEP_KNOTS / 2)
    grid = station_grid(adjusted, line, step_mm)
    value, slope = u.spline.value_rows(grid.sigma), u.spline.slope_rows(grid.sigma)
    lap = problem.line.lap_mm
    x, y, z = (np.interp(grid.sigma, line.sigma, c, period=lap) for c in (line.x, line.y, line.z))
    heading = value @ u.theta + u.winding_rad_mm * grid.sigma
    if problem.facts.controls:
        turn = u.one("datum_turn")
        x, y = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
        x, y, z, heading = x + u.one("datum_x"), y + u.one("datum_y"), z + u.one("datum_z"), heading + turn
    else:
        x, y, z, heading = _from_start(grid.s, x, y, z, heading)
    gauge = problem.wagon.gauge_mm
    has_force = any(len(s.bins.force_mm_s2) for s in problem.settings)
    level = np.ones(len(x)) if has_force else np.full(len(x), np.nan)
    sd = sigmas(adjusted, grid)
    closed = lap is not None
    return Stations(
        s_mm=grid.s,
        x_mm=x,
        y_mm=y,
        z_mm=z * level,
        heading_rad=heading,
        curvature_1_mm=(slope @ u.theta + u.winding_rad_mm) / line.metric_at(grid.sigma % lap if lap else grid.sigma),
        gradient=(value @ u.gamma) * level,
        cant_mm=gauge * np.sin(value @ u.phi) * level,
        x_sd_mm=sd["x"],
        y_sd_mm=sd["y"],
        z_sd_mm=sd["z"] * level,
        heading_sd_rad=sd["heading"],
        curvature_sd_1_mm=sd["curvature"],
        gradient_sd=sd["gradient"] * level,
        cant_sd_mm=sd["roll"] * gauge * level,
        passes=passes_at(adjusted, grid.sigma),
        closed=closed,
        length_mm=float(line.s[-1] if closed else grid.s[-1] - grid.s[0]),
        gauge_mm=gauge,
        wheelbase_mm=problem.wagon.wheelbase_mm,
    )


def _from_start(s: Array, x: Array, y: Array, z: Array, heading: Array) -> tuple[Array, Array, Array, Array]:
    """The line put with its chainage 0 at the origin, heading along x."""
    start = int(np.argmin(np.abs(s)))
    turn, dx, dy = heading[start], x - x[start], y - y[start]
    cos, sin = np.cos(turn), np.sin(turn)
    return dx * cos + dy * sin, dy * cos - dx * sin, z - z[start], heading - turn


def passes_at(adjusted: Adjusted, sigma: Array) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """How many times the wagon's origin went over each place."""
    lap = adjusted.problem.line.lap_mm
    count = np.zeros(len(sigma), dtype=np.int64)
    for run in adjusted.runs:
        edges = run.sigma
        low, high = np.minimum(edges[:-1], edges[1:]), np.maximum(edges[:-1], edges[1:])
        shifts = (
            np.arange(np.floor(edges.min() / lap) - 1, np.ceil(edges.max() / lap) + 1) * lap if lap else np.zeros(1)
        )
        order_low, order_high = np.sort(low), np.sort(high)
        for shift in shifts:
            at = sigma + shift
            count += np.searchsorted(order_low, at, side="right") - np.searchsorted(order_high, at, side="right")
    return count


def sigmas(adjusted: Adjusted, grid: Grid) -> dict[str, Array]:
    """(m,) sds of x, y, z, heading (free network) and of curvature, gradient, roll (means over a wheelbase).

    The inverse of the normal equations, plus what the passes' disagreement shows beyond it, even along the line, plus
    what neither can show (`considered.py`). How P passes differ in a position, which adds up along the whole line, is
    one figure with P - 1 degrees of freedom: its variance errs by sqrt(2 / (P - 1)) of itself (chi-square), and only
    what lies beyond that counts. Bends, gradients and cant differ anew every few wheelbases, and their mean is sure.
    """
    m = min(SIGMA_PLACES, len(grid.sigma))
    lap = adjusted.problem.line.lap_mm
    places = np.linspace(0.0, lap, m, endpoint=False) if lap else np.linspace(grid.sigma[0], grid.sigma[-1], m)
    pull = pulls(adjusted)
    along, local = _position_variances(adjusted, places, pull), _local_variances(adjusted, places, pull)
    passes = pull[0].border.shape[1]
    out = {}
    for name, (expected, seen, hidden) in (along | local).items():
        more = beyond(expected, seen, passes if name in along else None)
        sd = np.sqrt(np.maximum(expected, 0.0) + more + hidden)
        out[name] = np.interp(grid.sigma, places, sd, period=lap)
    return out


def beyond(expected: Array, seen: Array, passes: int | None) -> float:
    """Variance that the passes' disagreement (m,) shows beyond the expected one, in the mean along the line, never less
    than 0; of one figure that `passes` know, beyond its chance too. 0 where they show nothing (NaN).

    >>> expected, seen = np.full(4, 2.0), np.full(4, 5.0)
    >>> beyond(expected, seen, None), beyond(expected, seen, 9), beyond(expected, seen, 3), beyond(seen, expected, None)
    (3.0, 2.0, 1.0, 0.0)
    """
    chance = 0.0 if passes is None else float(np.sqrt(2.0 / max(passes - 1, 1)))
    return max(float(np.nan_to_num(np.mean(seen) - np.mean(expected) * (1.0 + chance))), 0.0)


Variances = dict[str, tuple[Array, Array, Array]]
"""Quantity -> (expected by the normal equations, seen between passes, hidden from them), each (m,)."""


def _position_variances(adjusted: Adjusted, places: Array, pull: Sequence[Pull]) -> Variances:
    """Free network: x, y and heading after the best shift and plan rotation, z after the best shift."""
    u = adjusted.unknowns
    m = len(places)
    here = positions(u, places, u.spline.h * TRACE_STEP_KNOTS)
    value = u.spline.value_rows(places)
    turned = np.zeros((m, len(u.border)))
    turned[:, u.names["gyro_scale_z"].start] = -(value @ u.theta) / u.gain("z")
    plan = _free_plan(here.xyz[0], here.xyz[1])
    level = np.eye(m) - 1.0 / m
    rows = plan @ np.vstack((here.by_theta[0], here.by_theta[1], value.toarray() / u.gain("z")))
    border = plan @ np.vstack((here.by_border[0], here.by_border[1], turned))
    shifts = considered(adjusted, places)
    beside = [plan @ np.concatenate((e.x, e.y, e.heading)) for e in shifts]
    flat = _named(adjusted, 0, rows, border, pull, ("x", "y", "heading"), beside)
    upright = level @ here.by_gamma, level @ here.by_border[2]
    return flat | _named(adjusted, 1, *upright, pull, ("z",), [level @ e.z for e in shifts])


def _named(
    adjusted: Adjusted,
    axis: int,
    rows: Array,
    border: Array,
    pull: Sequence[Pull],
    names: tuple[str, ...],
    beside: list[Array],
) -> Variances:
    """Variances of functionals (m names, n) of one of the splines and (m names, k) of the border."""
    with_ties = np.hstack((border, np.zeros((len(border), adjusted.system.ties))))
    expected = adjusted.system.bordered.variances(axis, adjusted.unknowns.embedded(rows), with_ties)
    seen = scatter_of(rows, border, pull[axis])
    hidden = np.sum(np.square(beside), axis=0)
    m = len(rows) // len(names)
    parts = (slice(i * m, (i + 1) * m) for i in range(len(names)))
    return {name: (expected[part], seen[part], hidden[part]) for name, part in zip(names, parts, strict=True)}


def _free_plan(x: Array, y: Array) -> Array:
    """(3 m, 3 m) S-transformation of (x, y, heading): removes the best shift and rotation of the points (x, y).

    S = I - G (H'G)^-1 H', G = rows moved by a shift or rotation, H = the same with heading's part zero (the best
    rotation is found on positions alone). Source: W. Baarda, S-transformations and criterion matrices, 1973.
    """
    m = len(x)
    one, zero = np.ones(m), np.zeros(m)
    dx, dy = x - x.mean(), y - y.mean()
    g = np.column_stack(
        (
            np.concatenate((one, zero, zero)),
            np.concatenate((zero, one, zero)),
            np.concatenate((-dy, dx, one)),
        )
    )
    h = g.copy()
    h[2 * m :] = 0.0
    return np.asarray(np.eye(3 * m) - g @ np.linalg.solve(h.T @ g, h.T))


def _local_variances(adjusted: Adjusted, places: Array, pull: Sequence[Pull]) -> Variances:
    """Means over one wheelbase centred on the places."""
    shifts = considered(adjusted, places)
    out: Variances = {}
    for one in local_means(adjusted.unknowns, places):
        beside = [getattr(e, one.name) for e in shifts]
        out |= _named(adjusted, one.axis, one.rows, one.border, pull, (one.name,), beside)
    return out


@dataclass(frozen=True, slots=True)
class LocalMean:
    """Means (m,) of a quantity over one wheelbase, and how the spline `axis` (m, n) and the border (m, k) move them."""

    name: str
    axis: int
    value: Array
    rows: Array
    border: Array


def local_means(u: Unknowns, places: Array) -> tuple[LocalMean, LocalMean, LocalMean]:
    """Curvature, gradient and roll, centred on the places."""
    spline, wheelbase, m = u.spline, u.wheelbase_mm, len(places)
    back, ahead = places - wheelbase / 2, places + wheelbase / 2
    bend = (spline.value_rows(ahead) - spline.value_rows(back)).toarray() / wheelbase
    mean = spline.mean_rows(back, wheelbase).toarray()
    metric = np.zeros((m, len(u.border)))
    curvature = bend @ u.theta + u.winding_rad_mm
    metric[:, u.names["scale"].start] = -curvature
    metric[:, u.names["slip_mm"].start] = -curvature * np.abs(curvature)
    metric[np.arange(m), u.names["waver"].start + cell_of(u, places)] = -curvature
    metric[:, u.names["gyro_scale_z"].start] = -(bend @ u.theta) / u.gain("z")
    leant = []
    for letter, own, other, which in (("y", u.gamma, u.phi, 0), ("x", u.phi, u.gamma, 1)):
        border = np.zeros((m, len(u.border)))
        border[:, u.names[f"gyro_scale_{letter}"].start] = -(mean @ own) / u.gain(letter)
        for turn, share in UNTURNED.items():
            border[:, u.names[turn].start] = share[which] * (mean @ other)
        leant.append(border)
    return (
        LocalMean("curvature", 0, curvature, bend / u.gain("z"), metric),
        LocalMean("gradient", 1, mean @ u.gamma, mean / u.gain("y"), leant[0]),
        LocalMean("roll", 2, mean @ u.phi, mean / u.gain("x"), leant[1]),
    )
