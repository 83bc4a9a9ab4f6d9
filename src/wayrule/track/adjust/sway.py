"""What the residuals say about noise: the body's sway within its play, and the accelerometer on the move."""

from collections.abc import Sequence

import numpy as np
from scipy import sparse
from scipy.ndimage import uniform_filter1d

from wayrule.model.arrays import Array
from wayrule.track.adjust.noise import Weights, scatter
from wayrule.track.adjust.problem import Problem, Run
from wayrule.track.adjust.rows import Setting
from wayrule.track.adjust.unknowns import Unknowns, hats

PLAY_SHARE_OF_GAUGE = 0.013
"""Sideways play of a wheelset to either side, over the gauge: NEM 310 (middle values) gives 0.013 for 16.5 mm."""


SWAY_WINDOW = 3.0
"""Sway is what is left of the body's angle against its mean over this many wheelbases."""


LEAST_SWAY_RAD = 5e-6


LEAST_PASSES = 1.5
"""With fewer looks at the same track residuals say nothing about noise."""


def first_sway(problem: Problem, u: Unknowns) -> Array:
    """(3, w) sd of the sway before the passes have shown it: play over the wheelbase, half of it upright.

    It cannot be more than all that the body did over a few wheelbases, track included.
    """
    yaw = PLAY_SHARE_OF_GAUGE * problem.wagon.gauge_mm / problem.wagon.wheelbase_mm
    out = np.empty_like(u.sway)
    for setting, part in zip(problem.settings, u.sway_of, strict=True):
        for axis, most in ((2, yaw), (1, 0.5 * yaw), (0, 0.5 * yaw)):
            seen = _quick_angle(setting, part, setting.bins.gyro_rad[:, axis], problem.wagon.wheelbase_mm)
            out[GYRO_SPLINE[axis], part] = np.clip(seen, LEAST_SWAY_RAD, most)
    return out


GYRO_SPLINE = (2, 1, 0)
"""Which spline each gyro axis reads: x the roll, y the gradient, z the heading."""


def sway_seen(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Array:
    """(3, w) sd of the sway of each run as its residuals show it, freed of the share that the track takes up."""
    looks = passes(problem)
    out = first_sway(problem, u)
    if looks < LEAST_PASSES:
        return out
    for setting, run, part in zip(problem.settings, runs, u.sway_of, strict=True):
        hat = hats(setting.bins.path_mm, part.stop - part.start)
        step = sparse.csr_array(hat[1:] - hat[:-1])
        for row in run.rows:
            if row.by_sway is not None:
                own = np.where(row.ok, row.residual + step @ u.sway[row.spline, part], 0.0)
                seen = _quick_angle(setting, part, own, problem.wagon.wheelbase_mm) / np.sqrt(1 - 1 / looks)
                out[row.spline, part] = max(seen, LEAST_SWAY_RAD)
    return out


def _quick_angle(setting: Setting, part: slice, turned: Array, wheelbase_mm: float) -> float:
    """Robust sd of an angle about its mean over `SWAY_WINDOW` wheelbases."""
    path = setting.bins.path_mm
    knots = np.linspace(0.0, path[-1], part.stop - part.start)
    window = max(3, int(SWAY_WINDOW * wheelbase_mm / (knots[1] - knots[0]))) | 1
    at_knots = np.interp(knots, *_rising(path, np.concatenate(([0.0], np.cumsum(turned)))))
    return 1.4826 * float(np.median(np.abs(at_knots - uniform_filter1d(at_knots, window))))


def _rising(path: Array, angle: Array) -> tuple[Array, Array]:
    """Where the wagon stands, path stays: keep the last value there."""
    keep = np.append(np.diff(path) > 0, True)
    return path[keep], angle[keep]


def reweighted(problem: Problem, runs: Sequence[Run], first: Sequence[Weights]) -> tuple[Weights, ...]:
    """Sigmas from residuals, freed of the share that the track takes up: p passes leave 1 - 1 / p of the variance.

    A line passed once takes up what the gyro read, so its gyro keeps its first weights; specific force is still seen
    against the gyro, bin by bin.
    """
    looks = passes(problem)
    left = np.sqrt(1.0 - 1.0 / looks) if looks >= LEAST_PASSES else 1.0
    kinds = ("gyro", "force") if looks >= LEAST_PASSES else ("force",)
    out = []
    for run, w in zip(runs, first, strict=True):
        seen = {row.kind: scatter(row, w.sigma[row.kind]) / left for row in run.rows if row.kind.startswith(kinds)}
        out.append(w.scaled({kind: max(1.0, s) for kind, s in seen.items() if np.isfinite(s)}))
    return tuple(out)


def passes(problem: Problem) -> float:
    """How many times, on average, the line was passed."""
    path = sum(float(s.bins.path_mm[-1]) for s in problem.settings)
    return path / problem.spline.length
