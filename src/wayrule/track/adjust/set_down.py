"""A wagon that was lifted, or lost count of its turns, and goes on elsewhere: where it was set down.

Until that is known, what such a run read afterwards would blur the line wherever others show it. So it is left out
until the others have given the line its bends, and is then laid where its bends are.
"""

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Mishap
from wayrule.model.arrays import Array
from wayrule.track.adjust.pose import Setting, chainage, is_before, mean_rows
from wayrule.track.adjust.problem import Problem, Run
from wayrule.track.adjust.rows import Readings
from wayrule.track.adjust.unknowns import Unknowns
from wayrule.track.unbroken import breaks

LOOKED_TIMES = 2.5
"""It is looked for so many sds either way."""

BY_WHEELBASES = 80.0
"""... by the bends over this much of path after it."""

LEAST_BINS = 10

STEPS_A_WHEELBASE = 32
"""How finely places are tried."""


def unsettled(problem: Problem) -> tuple[NDArray[np.bool_], ...]:
    """For each run (b,): the bins beyond a break whose ground others cover that are sure of their place."""
    spline = problem.spline
    cells = round(spline.length / spline.h)
    astray, cell = [], []
    for s in problem.settings:
        astray.append((s.bins.t_s[1:] > s.sure_s[1]) | (s.bins.t_s[:-1] < s.sure_s[0]))
        middle = s.start_mm + s.way * s.stretch * 0.5 * (s.bins.d_mm[1:] + s.bins.d_mm[:-1]) - spline.origin
        place = np.floor((middle % spline.length if spline.closed else middle) / spline.h).astype(np.int64)
        cell.append(np.clip(place, 0, cells - 1))
    sure = np.bincount(np.concatenate([c[~a] for c, a in zip(cell, astray, strict=True)]), minlength=cells) > 0
    return tuple(a & sure[c] for c, a in zip(cell, astray, strict=True))


def without(
    weights: Sequence[Sequence[Array]], problem: Problem, loose: Sequence[NDArray[np.bool_]]
) -> tuple[tuple[Array, ...], ...]:
    """The readings' weights with those of some bins at nothing, for each run: three of the gyro, then of the force."""
    out = []
    for of_run, setting, left_out in zip(weights, problem.settings, loose, strict=True):
        grouped = np.add.reduceat(left_out, setting.bins.group[:-1]) > 0
        out.append(tuple(np.where(left_out if i < 3 else grouped, 0.0, w) for i, w in enumerate(of_run)))
    return tuple(out)


def set_down(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Unknowns:
    """The point with every break's jump set to where the bends beyond it agree best with the line: from a run's sure
    part onwards, then from it backwards."""
    for setting, run, travel in zip(problem.settings, runs, problem.travels, strict=True):
        broken = tuple(one for one in breaks(travel, setting.wheelbase_mm) if one in setting.jumps)
        later = [one for one in broken if not is_before(setting, one)]
        for one in [*later, *reversed(broken[: len(broken) - len(later)])]:
            name = f"jump/{setting.number}/{setting.jumps.index(one)}"
            border = u.border.copy()
            border[u.names[name]] += _jump(u, setting, run, one, broken)
            u = dataclasses.replace(u, border=border)
    return u


def _jump(u: Unknowns, setting: Setting, run: Run, one: Mishap, broken: Sequence[Mishap]) -> float:
    """How much further along the line the run went across a mishap than its present places say [mm]."""
    path, t_s, most = setting.bins.path_mm, setting.bins.t_s, BY_WHEELBASES * setting.wheelbase_mm
    backwards = is_before(setting, one)
    if backwards:
        last = int(np.searchsorted(t_s, one.first_s, side="right"))
        end = max((other.last_s for other in broken if other.last_s < one.last_s), default=-np.inf)
        first = max(int(np.searchsorted(t_s, end)), int(np.searchsorted(path, path[last - 1] - most)))
    else:
        first = int(np.searchsorted(t_s, one.last_s))
        end = min((other.first_s for other in broken if other.first_s > one.first_s), default=np.inf)
        at = path[min(first, len(path) - 1)]
        last = min(int(np.searchsorted(t_s, end)), int(np.searchsorted(path, at + most)))
    if last - first < LEAST_BINS:
        return 0.0
    sigma, there = chainage(u, setting)[first:last], run.sigma[first:last]
    tried = setting.wheelbase_mm / STEPS_A_WHEELBASE
    reach = int(LOOKED_TIMES * one.loose_mm / tried)
    grid = np.arange(
        min(sigma.min(), there.min()) - (reach + 1) * tried, max(sigma.max(), there.max()) + (reach + 2) * tried, tried
    )
    rows = mean_rows(u, setting, grid)
    here = np.asarray(np.arange(-reach, reach + 1) * tried, dtype=np.float64)
    angles = {"gyro_z": rows @ u.theta + u.winding_rad_mm * grid, "gyro_y": -setting.way * (rows @ u.gamma)}
    bends = sum(
        _misfit(seen, slice(first, last - 1), grid, angles[seen.kind], there, here, sigma)
        for seen in run.readings
        if seen.kind in angles
    )
    misfit = (here / one.loose_mm) ** 2 + bends
    return float(here[np.argmin(misfit)]) * (-1.0 if backwards else 1.0)


def _misfit(seen: Readings, bins: slice, grid: Array, angle: Array, there: Array, here: Array, sigma: Array) -> Array:
    """Squares of what a gyro axis would read otherwise than expected at every place tried, over their mean at the best.

    there, sigma  (edges,) where the run was when `seen` was worked out, and where it is now, before moving on by `here`
    """
    ok = seen.ok[bins]
    turned = seen.residual[bins] + np.diff(np.interp(there, grid, angle))
    off = np.array([np.mean((turned - np.diff(np.interp(sigma + j, grid, angle)))[ok] ** 2) for j in here])
    return np.asarray(ok.sum() * off / max(float(off.min()), 1e-300))
