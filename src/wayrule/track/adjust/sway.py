"""What the residuals say about noise: the body's sway within its play, and the accelerometer on the move."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from wayrule.maths.dampedwave import correlation
from wayrule.model.arrays import Array
from wayrule.track.adjust.density import densities
from wayrule.track.adjust.gyro import SPLINE_OF_AXIS
from wayrule.track.adjust.noise import Weights, scatter
from wayrule.track.adjust.pose import Setting
from wayrule.track.adjust.problem import Problem, Run
from wayrule.track.adjust.unknowns import Unknowns, sway_spline

PLAY_SHARE_OF_GAUGE = 0.013
"""Sideways play of a wheelset to either side, over the gauge: NEM 310 (middle values) gives 0.013 for 16.5 mm."""


SEEN_WHEELBASES = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
"""The sway's size and length are taken from how much it changes over these: the shorter ones tell how quickly, the
longest, over which it is another, how far."""

FIRST_LENGTH_WHEELBASES = 1.8
"""Before it is seen: as passes of simulated wagons show it, 1.6 to 2.1 (no source for real ones)."""

FIRST_SEEN_WHEELBASES = 4.0
"""What a body did over more than so much is track rather than sway."""

FIRST_SHARE = 0.5
"""Of what it did over less, so much of the variance is taken for sway: nothing tells the two apart (no source)."""


LEAST_SWAY_RAD = 5e-6


LEAST_PASSES = 1.5
"""With fewer looks at the same track residuals say nothing about noise."""


@dataclass(frozen=True, slots=True)
class Sway:
    """How much the body sways and how slowly: a damped hunting along the path of every run (see `correlation`).

    sd         (3, runs) of the angle, by spline (0 heading, 1 climb, 2 roll)
    length_mm  (3, runs) integral of its correlation over the path: how far apart it is another
    """

    sd: Array
    length_mm: Array


def whitening(sway: Sway, settings: Sequence[Setting], sway_of: Sequence[slice]) -> tuple[sparse.csr_array, ...]:
    """For every spline the (w, w) matrix R that whitens all runs' sway: its prior information is R'R.

    Knots follow a_i = f a_{i-1} + g a_{i-2} + e with the correlations r1, r2 of the process one and two knots apart
    (Yule-Walker): f = r1 (1 - r2) / (1 - r1^2), g = (r2 - r1^2) / (1 - r1^2), var e = sd^2 (1 - f r1 - g r2).
    Source: G. E. P. Box and G. M. Jenkins, Time Series Analysis, sec. 3.2.
    """
    out = []
    for axis in range(3):
        blocks = []
        for setting, part, sd, length in zip(settings, sway_of, sway.sd[axis], sway.length_mm[axis], strict=True):
            count = part.stop - part.start
            one, two = correlation(np.array([1.0, 2.0]) * sway_spline(setting.bins, count).h, length).tolist()
            before, beyond = one * (1 - two) / (1 - one**2), (two - one**2) / (1 - one**2)
            new = 1.0 / (sd * np.sqrt(1 - before * one - beyond * two))
            own, last, i = np.full(count, new), np.full(count - 1, -before * new), np.arange(count)
            own[:2] = 1.0 / sd, 1.0 / (sd * np.sqrt(1 - one**2))
            last[0] = -one * own[1]
            values = np.concatenate((own, last, np.full(count - 2, -beyond * new)))
            place = np.concatenate((i, i[1:], i[2:])), np.concatenate((i, i[:-1], i[:-2]))
            blocks.append(sparse.csr_array((values, place), shape=(count, count)))
        out.append(sparse.csr_array(sparse.block_diag(blocks, format="csr")))
    return tuple(out)


def power(k2: Array, length_mm: float) -> Array:
    """Two-sided power [mm] of sway of variance 1 at squared wave numbers k2 [1/mm2]: the transform of `correlation`.

    >>> power(np.array([0.0]), 90.0).tolist()
    [180.0]
    """
    return np.asarray(2 * length_mm / (1 + (k2 * length_mm**2) ** 2 / 4))


def first_sway(problem: Problem, u: Unknowns) -> Sway:
    """Sway before the passes have shown it: play over the wheelbase, half of it upright.

    It cannot be more than what the body did over a few wheelbases, of which the track has its share. A calibration that
    saw it knows better.
    """
    wheelbase, remembered = problem.wagon.wheelbase_mm, problem.calibration
    if remembered and remembered.sway_passes:
        size, length = remembered.sway_rad, remembered.sway_length_mm
        return Sway(*(np.repeat(v[:, None], len(problem.settings), axis=1) for v in (size, length)))
    yaw = PLAY_SHARE_OF_GAUGE * problem.wagon.gauge_mm / wheelbase
    sd = np.empty((3, len(problem.settings)))
    for r, (setting, part) in enumerate(zip(problem.settings, u.sway_of, strict=True)):
        for axis, most in ((2, yaw), (1, 0.5 * yaw), (0, 0.5 * yaw)):
            seen = _seen(setting, part, setting.bins.gyro_rad[:, axis], wheelbase, most=FIRST_SEEN_WHEELBASES)[0]
            sd[SPLINE_OF_AXIS[axis], r] = np.clip(FIRST_SHARE**0.5 * seen, LEAST_SWAY_RAD, most)
    return Sway(sd, np.full_like(sd, FIRST_LENGTH_WHEELBASES * wheelbase))


def sway_seen(problem: Problem, u: Unknowns, runs: Sequence[Run], first: Sequence[Weights]) -> Sway:
    """Sway of each run as its passes disagree, freed of the share that their mean takes up and of the gyro's noise."""
    looks = passes(problem)
    out = first_sway(problem, u)
    if looks < LEAST_PASSES:
        return out
    left = 1 - 1 / looks
    for axis, spline in enumerate(SPLINE_OF_AXIS):
        kind = f"gyro_{'xyz'[axis]}"
        own = disagreement(problem, u, runs, kind)
        for r, (setting, turned) in enumerate(zip(problem.settings, own, strict=True)):
            walk = float(np.sum(first[r].sigma[kind] ** 2)) / setting.bins.path_mm[-1]
            sd, length = _seen(setting, u.sway_of[r], turned, problem.wagon.wheelbase_mm, walk * left)
            out.sd[spline, r] = max(sd / np.sqrt(left), LEAST_SWAY_RAD)
            out.length_mm[spline, r] = length
    return out


def disagreement(problem: Problem, u: Unknowns, runs: Sequence[Run], kind: str) -> list[Array]:
    """For each run, the increments (b,) of a gyro axis beyond the line's, less what all passes of a place share: that
    is track, wherever the adjustment has put it so far."""
    spline, lap = u.spline, problem.line.lap_mm
    cells = round(spline.length / spline.h)
    own, track, moved, cell = [], [], [], []
    for setting, run, part in zip(problem.settings, runs, u.sway_of, strict=True):
        seen = next(one for one in run.readings if one.kind == kind)
        swaying = sway_spline(setting.bins, part.stop - part.start).value_rows(setting.bins.path_mm)
        own.append(np.where(seen.ok, seen.residual + np.diff(swaying @ u.sway[seen.spline, part]), 0.0))
        step = np.diff(run.sigma) * {"x": setting.way, "y": -setting.way, "z": 1}[kind[-1]]
        middle = 0.5 * (run.sigma[1:] + run.sigma[:-1]) - spline.origin
        place = np.floor((middle % lap if lap else middle) / spline.h).astype(np.int64)
        cell.append(np.clip(place, 0, cells - 1))
        moved.append(step)
        track.append(own[-1] * np.sign(step))
    where = np.concatenate(cell)
    total = np.bincount(where, np.concatenate(track), cells)
    length = np.bincount(where, np.abs(np.concatenate(moved)), cells)
    rate = total / np.maximum(length, 1e-9)
    return [turned - rate[place] * step for turned, place, step in zip(own, cell, moved, strict=True)]


def _seen(
    setting: Setting, part: slice, turned: Array, wheelbase_mm: float, walk: float = 0.0, most: float = np.inf
) -> tuple[float, float]:
    """Sd and length (rad, mm) of the process whose changes over `SEEN_WHEELBASES`, `most` at most, are those of an
    angle, less those of a random walk of variance `walk` a mm."""
    path = setting.bins.path_mm
    knots = np.linspace(0.0, path[-1], part.stop - part.start)
    angle = np.interp(knots, *_rising(path, np.concatenate(([0.0], np.cumsum(turned)))))
    over = np.array([one for one in SEEN_WHEELBASES if one <= most])
    lags = np.unique(np.maximum(1, np.round(over * wheelbase_mm / knots[1]).astype(int)))
    lags = lags[lags < len(angle) / 3]
    if len(lags) < 2:
        return 0.0, FIRST_LENGTH_WHEELBASES * wheelbase_mm
    change = np.array([_mean_square(angle[k:] - angle[:-k]) for k in lags]) - walk * lags * knots[1]
    if np.any(change <= 0):
        return 0.0, FIRST_LENGTH_WHEELBASES * wheelbase_mm
    trial = wheelbase_mm * np.geomspace(0.2, 5.0, 30)
    shape = 2 * (1 - correlation(lags[None, :] * knots[1], trial[:, None]))
    log_variance = np.mean(np.log(change / shape), axis=1)
    best = int(np.argmin(np.sum((np.log(change / shape) - log_variance[:, None]) ** 2, axis=1)))
    return float(np.exp(0.5 * log_variance[best])), float(trial[best])


def _mean_square(values: Array) -> float:
    """Mean square of what is left when knocks are held at five robust sds."""
    most = 5 * 1.4826 * float(np.median(np.abs(values)))
    return float(np.mean(np.clip(values, -most, most) ** 2))


def _rising(path: Array, angle: Array) -> tuple[Array, Array]:
    """Where the wagon stands, path stays: keep the last value there."""
    keep = np.append(np.diff(path) > 0, True)
    return path[keep], angle[keep]


def reweighted(problem: Problem, runs: Sequence[Run], first: Sequence[Weights]) -> tuple[Weights, ...]:
    """Sigmas from residuals.

    A gyro's are freed of the share that the track takes up: p passes leave 1 - 1 / p of the variance; a line passed
    once takes up all that it read, so there it keeps its first weights. Specific force is seen against the gyro, bin by
    bin, and the track takes up next to nothing of it.
    """
    looks = passes(problem)
    left = {"force": 1.0} | ({"gyro": float(np.sqrt(1.0 - 1.0 / looks))} if looks >= LEAST_PASSES else {})
    out = []
    for run, w in zip(runs, first, strict=True):
        kinds = ((one, left.get(one.kind[:-2])) for one in run.readings)
        seen = {one.kind: scatter(one, w.sigma[one.kind]) / share for one, share in kinds if share is not None}
        out.append(w.scaled({kind: max(1.0, s) for kind, s in seen.items() if np.isfinite(s)}))
    return tuple(out)


def passes(problem: Problem) -> float:
    """How many times, on average, the line was passed."""
    path = sum(float(s.bins.path_mm[-1]) for s in problem.settings)
    return path / problem.spline.length


@dataclass(frozen=True, slots=True)
class Noise:
    """What is believed of noise.

    weights  sigma of the readings of every run
    sway     for theta, gamma and phi what whitens all runs' sway (see `whitening`)
    """

    weights: tuple[Weights, ...]
    sway: tuple[sparse.csr_array, ...]


def first_noise(problem: Problem, u: Unknowns) -> Noise:
    """Before any residuals."""
    weights = tuple(
        Weights.first(setting.bins, densities(travel, problem.wagon), travel)
        for setting, travel in zip(problem.settings, problem.travels, strict=True)
    )
    return Noise(weights, whitening(first_sway(problem, u), problem.settings, u.sway_of))


def noise_seen(problem: Problem, u: Unknowns, runs: Sequence[Run], first: Sequence[Weights]) -> Noise:
    """As the residuals and the passes' disagreement show it; `first` are the weights before."""
    sway = whitening(sway_seen(problem, u, runs, first), problem.settings, u.sway_of)
    return Noise(reweighted(problem, runs, first), sway)
