"""What the elements of a line leave of its heading, height and cant, as steps over an even grid.

The elements are put under the same moving mean that the survey shows; how long that is, the steps of curvature tell.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.maths.piecewise import basis
from wayrule.model import Element, Stations
from wayrule.model.arrays import Array
from wayrule.track.pieces import agreed_blur

GRID_PER_WHEELBASE: Final = 12

USUAL_BLUR: Final = 0.2
"""Moving mean, in wheelbases, that is assumed where steps of curvature do not show another: an adjustment that undoes
the chord leaves about this much, as measured on simulated surveys."""

BLURS: Final = (USUAL_BLUR, 0.0, 0.1, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0, 1.1, 1.25)


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Even chainages s (n + 1,) from 0; a ring's last is its first."""

    s: Array
    spacing: float
    ring: bool
    gauge: float
    base: float


def grid_of(stations: Stations) -> Grid:
    """A grid as fine as the stations, but not finer than a wheelbase is worth."""
    start = float(stations.s_mm[0])
    stop = stations.length_mm if stations.closed else float(stations.s_mm[-1])
    step = max(float(np.median(np.diff(stations.s_mm))), stations.wheelbase_mm / GRID_PER_WHEELBASE)
    count = max(1, round((stop - start) / step))
    s = np.linspace(start, stop, count + 1)
    return Grid(s, (stop - start) / count, stations.closed, stations.gauge_mm, stations.wheelbase_mm)


def steps_of(stations: Stations, grid: Grid, values: Array, closing: float | None) -> tuple[Array, np.ndarray] | None:
    """Steps of a quantity over the grid, (n,), and where they are known; None where it is not known at all."""
    good = np.isfinite(values)
    if good.sum() < 2:
        return None
    s, v = stations.s_mm[good], values[good]
    if closing is not None and np.isfinite(closing):
        s, v = np.append(s, stations.length_mm), np.append(v, closing)
    on_grid = np.interp(grid.s, s, v)
    known = np.interp(grid.s, stations.s_mm, good.astype(float)) > 0.999
    return np.diff(on_grid), known[1:] & known[:-1]


def model_steps(grid: Grid, pieces: Sequence[tuple[float, float, float, float]], blur: float) -> Array:
    """Steps of the integral of piecewise linear values (start, stop, left, right) over the grid, blurred."""
    if not pieces:
        return np.zeros(len(grid.s) - 1)
    span = float(grid.s[-1] - grid.s[0])
    if grid.ring:  # one round more on either side, so that the blur sees across the seam
        pieces = [(a + k * span, b + k * span, left, right) for k in (-1, 0, 1) for a, b, left, right in pieces]
    at = np.array([p[0] for p in pieces] + [pieces[-1][1]])
    stones = basis(at, grid.s, blur)
    left, right = np.array([p[2] for p in pieces]), np.array([p[3] for p in pieces])
    return np.asarray((stones.fall @ left + stones.rise @ right) * np.diff(grid.s))


def blur_of(grid: Grid, seen: Array, plan: list[Element]) -> float:
    """Length of the moving mean under which the steps of curvature were seen; the usual one where there are none.

    Judged where alone it shows, within a wheelbase of each step, by the logarithm of what is left there, so that one
    step which is none, or has a fault beside it, does not decide.
    """
    pieces = plan_pieces(plan)
    middle = 0.5 * (grid.s[1:] + grid.s[:-1])
    steps = [b.s0_mm for a, b in pairwise(plan) if "transition" not in (a.kind, b.kind)]
    left = [np.abs(seen - model_steps(grid, pieces, b * grid.base)) for b in BLURS]
    noise = float(np.median(left[0])) * grid.base / grid.spacing
    logs = []
    for s in steps:
        near = np.abs(middle - s) < grid.base
        logs.append(np.log([float(np.sum(x[near])) + noise + 1e-12 for x in left]))
    return agreed_blur(np.array(logs), BLURS) * grid.base


def plan_pieces(plan: list[Element]) -> list[tuple[float, float, float, float]]:
    """(start, stop, curvature at both) of each element."""
    return [(e.s0_mm, e.s1_mm, e.curvature0_1_mm, e.curvature1_1_mm) for e in plan]


def heading_steps(stations: Stations, grid: Grid, plan: list[Element]) -> tuple[Array, np.ndarray] | None:
    """Steps of heading over the grid; a ring closes on the whole turns that its elements make."""
    closing = None
    if stations.closed and len(stations.heading_rad):
        turned = sum(e.turned_rad for e in plan)
        closing = float(stations.heading_rad[0]) + round(turned / (2 * np.pi)) * 2 * np.pi
    return steps_of(stations, grid, stations.heading_rad, closing)


def level_left(stations: Stations, grid: Grid, profile: list[Element], blur: float) -> tuple[Array, np.ndarray] | None:
    """What the profile's elements leave of the height, as steps."""
    closing = float(stations.z_mm[0]) if stations.closed else None
    seen = steps_of(stations, grid, stations.z_mm, closing)
    if seen is None:
        return None
    pieces = [(e.s0_mm, e.s1_mm, e.gradient0, e.gradient1) for e in profile]
    return seen[0] - model_steps(grid, pieces, blur), seen[1]


def cant_ramps(grid: Grid, steps: Array, breaks: list[float], blur: float) -> Array:
    """Steps of the designed cant: straight lines between the breaks of the plan, where ramps begin and end.

    Slopes of the pieces by least absolute values (a few rounds of reweighting), so that a twist does not bend them.
    """
    apart = [b for a, b in zip([-np.inf, *breaks], breaks, strict=False) if b - a > 0.5 * grid.base]
    at = np.array([grid.s[0], *(b for b in apart if grid.s[0] + grid.base < b < grid.s[-1] - grid.base), grid.s[-1]])
    stones = basis(at, grid.s, blur)
    columns = (stones.fall + stones.rise) * grid.spacing  # steps made by a slope of 1 along each piece
    weight: Array = np.ones(len(steps))
    slope = np.asarray(np.zeros(columns.shape[1]), dtype=np.float64)
    for _ in range(8):
        normal = columns.T @ (columns * weight[:, None]) + 1e-9 * np.eye(len(slope))
        slope = np.asarray(np.linalg.solve(normal, columns.T @ (weight * steps)), dtype=np.float64)
        left = np.abs(steps - columns @ slope)
        weight = np.asarray(1.0 / np.maximum(left, 0.3 * float(np.median(left)) + 1e-12))
    return np.asarray(columns @ slope)
