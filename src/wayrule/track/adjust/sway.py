"""What the residuals say about noise: the body's sway within its play, and the accelerometer on the move."""

from collections.abc import Sequence

import numpy as np
from scipy import sparse
from scipy.ndimage import uniform_filter1d

from wayrule.model.arrays import Array
from wayrule.track.adjust.noise import Weights, scatter
from wayrule.track.adjust.problem import Problem, Run
from wayrule.track.adjust.unknowns import Unknowns, hats

PLAY_SHARE_OF_GAUGE = 0.013
"""Sideways play of a wheelset to either side, over the gauge: NEM 310 (middle values) gives 0.013 for 16.5 mm."""


SWAY_WINDOW = 6.0
"""Sway is what is left of the body's angle against its mean over this many wheelbases."""


LEAST_SWAY_RAD = 5e-6


LEAST_PASSES = 1.5
"""With fewer looks at the same track residuals say nothing about noise."""


def first_sway(problem: Problem, u: Unknowns) -> Array:
    """(3, w) sd of the sway before the passes have shown it: play over the wheelbase, a tenth of it upright."""
    yaw = PLAY_SHARE_OF_GAUGE * problem.wagon.gauge_mm / problem.wagon.wheelbase_mm
    sd = np.array([yaw, 0.1 * yaw, 0.1 * yaw])
    return np.repeat(sd[:, None], u.sway.shape[1], axis=1)


def sway_seen(problem: Problem, u: Unknowns, runs: Sequence[Run]) -> Array:
    """(3, w) sd of the sway of each run as its residuals show it, freed of the share that the track takes up."""
    looks = passes(problem)
    out = first_sway(problem, u)
    if looks < LEAST_PASSES:
        return out
    for setting, run, part in zip(problem.settings, runs, u.sway_of, strict=True):
        path = setting.bins.path_mm
        knots = np.linspace(0.0, path[-1], part.stop - part.start)
        window = max(3, int(SWAY_WINDOW * problem.wagon.wheelbase_mm / (knots[1] - knots[0]))) | 1
        hat = hats(path, part.stop - part.start)
        for row in run.rows:
            if not row.kind.startswith("gyro"):
                continue
            own = row.residual + sparse.csr_array(hat[1:] - hat[:-1]) @ u.sway[row.spline, part]
            angle = np.concatenate(([0.0], np.cumsum(np.where(row.ok, own, 0.0))))
            at_knots = np.interp(knots, *_rising(path, angle))
            quick = at_knots - uniform_filter1d(at_knots, window)
            seen = 1.4826 * float(np.median(np.abs(quick))) / np.sqrt(1 - 1 / looks)
            out[row.spline, part] = max(seen, LEAST_SWAY_RAD)
    return out


def _rising(path: Array, angle: Array) -> tuple[Array, Array]:
    """Where the wagon stands, path stays: keep the last value there."""
    keep = np.append(np.diff(path) > 0, True)
    return path[keep], angle[keep]


def reweighted(problem: Problem, runs: Sequence[Run], first: Sequence[Weights]) -> tuple[Weights, ...]:
    """Sigmas of the specific force from its residuals, freed of the share that the track takes up.

    With p passes over the line 1 - 1 / p of the variance is left over; a line passed once keeps its first weights.
    """
    looks = passes(problem)
    if looks < LEAST_PASSES:
        return tuple(first)
    left = np.sqrt(1.0 - 1.0 / looks)
    out = []
    for run, w in zip(runs, first, strict=True):
        seen = {row.kind: scatter(row, w.sigma[row.kind]) / left for row in run.rows}
        out.append(w.scaled({kind: max(1.0, s) for kind, s in seen.items() if np.isfinite(s)}))
    return tuple(out)


def passes(problem: Problem) -> float:
    """How many times, on average, the line was passed."""
    path = sum(float(s.bins.path_mm[-1]) for s in problem.settings)
    return path / problem.spline.length
