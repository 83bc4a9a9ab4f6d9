"""Counting turns: a wrapped angle, sample by sample, to an angle that goes on.

d    advance from one sample to the next [rad]      turn  2 pi
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.counting import FAST_TURN, HARDEST_TURNS_S2, LOOK_STEPS, READING_TURNS
from wayrule.model.arrays import Array

TAU = 2.0 * np.pi
LONG_STEP = 1.5
"""A step longer than this many median steps is a gap."""


@dataclass(frozen=True, slots=True, eq=False)
class Unwrapped:
    """An angle whose whole turns have been counted.

    psi_rad      (n,) unwrapped [rad]; the steps of missing samples are filled along the prediction
    fast         (n,) True where the wheel turns too fast for the rate, so that the count may be wrong
    bridged      (n,) True at missing samples
    gap_sd_rad   (n,) sd of the turns lost in gaps so far; 0 while none can have been lost
    gaps_sure    gaps in which less than half a turn can have passed
    gaps_unsure  (start, end) sample numbers of the gaps in which turns may be lost
    gaps_unproved   those of the other gaps that are too long, or look too odd, to prove that none was: see `proved`
    """

    psi_rad: Array
    fast: NDArray[np.bool_]
    bridged: NDArray[np.bool_]
    gap_sd_rad: Array
    gaps_sure: int
    gaps_unsure: tuple[tuple[int, int], ...]
    gaps_unproved: tuple[tuple[int, int], ...] = ()


def wrap(angle_rad: Array) -> Array:
    """The same angle within [-pi, pi).

    Examples
    --------
    >>> wrap(np.array([0.5 * np.pi, 1.5 * np.pi])).tolist() == [0.5 * np.pi, -0.5 * np.pi]
    True
    """
    return (angle_rad + np.pi) % TAU - np.pi


def unwrap(t_s: Array, wrapped_rad: Array) -> Unwrapped:
    """Count the whole turns of a wrapped angle.

    Parameters
    ----------
    t_s : (n,) array           time, strictly rising [s]
    wrapped_rad : (n,) array   angle modulo 2 pi [rad]; NaN where missing

    Returns
    -------
    Unwrapped

    Notes
    -----
    Each step is the one nearest to the last step (slope prediction: the *change* of speed, not the speed, has to
    stay below half a turn per sample), but only beyond `FAST_TURN`; slower steps are plainly the short way round,
    so that one wild sample cannot start a false rotation. Across gaps the prediction is the mean of the rates of the
    steps before and after: of up to ten where no other gap is near (`_looks`), else of the median of five.

    Examples
    --------
    >>> t = np.arange(6.0)
    >>> unwrap(t, wrap(2.0 * t)).psi_rad.round(6).tolist()
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    seen = np.flatnonzero(np.isfinite(wrapped_rad))
    t = t_s[seen]
    dt = np.diff(t)
    step = wrap(np.diff(wrapped_rad[seen]))
    usual = float(np.median(np.diff(t_s)))
    long = dt > LONG_STEP * usual
    fast = np.zeros(len(step), dtype=bool)
    if np.any(np.abs(step[~long]) > FAST_TURN * TAU):
        step[~long], fast[~long] = _follow(step[~long])
    step, sure, doubt, proved = _bridge(step, dt, long)
    psi = wrapped_rad[seen[0]] + np.concatenate([[0.0], np.cumsum(step)])
    everywhere = np.interp(t_s, t, psi)
    fast_steps = np.concatenate([fast, [False]]) | np.concatenate([[False], fast])
    is_fast = np.zeros(len(t_s), dtype=bool)
    is_fast[seen] = fast_steps
    variance = np.concatenate([[0.0], np.cumsum(doubt**2)])
    return Unwrapped(
        psi_rad=everywhere,
        fast=is_fast,
        bridged=~np.isfinite(wrapped_rad),
        gap_sd_rad=np.sqrt(variance[np.clip(np.searchsorted(t, t_s, side="right") - 1, 0, None)]),
        gaps_sure=sure,
        gaps_unsure=tuple((int(seen[i]), int(seen[i + 1])) for i in np.flatnonzero(doubt > 0)),
        gaps_unproved=tuple((int(seen[i]), int(seen[i + 1])) for i in np.flatnonzero(long & ~proved & (doubt == 0))),
    )


def _follow(step_rad: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Steps that go on beyond half a turn when the speed does, and where they are not safe.

    Unwrapping the steps themselves allows any speed as long as it changes by less than half a turn per sample. Where
    the speed has come back below `FAST_TURN` on the plain reading and on the followed one alike, both agree again.
    """
    followed = np.unwrap(step_rad)
    followed -= TAU * np.round(followed[0] / TAU)
    regime = np.round((followed - step_rad) / TAU)
    return followed, (regime != 0) | (np.abs(step_rad) > FAST_TURN * TAU)


def _bridge(step_rad: Array, dt_s: Array, long: NDArray[np.bool_]) -> tuple[Array, int, Array, NDArray[np.bool_]]:
    """Steps across gaps by prediction; how many were surely bridged; per step the sd of turns lost (0 where none), and
    whether the count is proved (`maths.counting.proved_gap_s`): the prediction's bound is close enough, and what came
    lies within it."""
    step, doubt, sure = step_rad.copy(), np.zeros(len(step_rad)), 0
    normal = np.flatnonzero(~long)
    proved = np.ones(len(step_rad), dtype=bool)
    rate = step_rad / dt_s
    for i in np.flatnonzero(long):
        at = int(np.searchsorted(normal, i))
        around = [rate[normal[max(0, at - 5) : at]], rate[normal[at : at + 5]]]
        medians = [float(np.median(r)) for r in around if len(r)] or [0.0]
        looks = _looks(step_rad, dt_s, long, int(i))
        speeds = [speed for speed, _ in looks] if len(looks) == 2 else medians
        predicted = float(np.mean(speeds)) * dt_s[i]
        step[i] = predicted + wrap(step_rad[i] - predicted)
        whole_s = dt_s[i] + sum(0.5 * look_s for _, look_s in looks)
        bound = 0.25 * HARDEST_TURNS_S2 * whole_s**2
        away = abs(float(step[i]) - predicted) / TAU
        proved[i] = len(looks) == 2 and bound <= 0.5 - READING_TURNS and away <= bound + READING_TURNS
        if max(abs(m) for m in medians) * dt_s[i] < 0.5 * TAU:
            sure += 1
        else:
            doubt[i] = max(TAU, float(np.ptp(medians)) * dt_s[i] / np.sqrt(12.0))
    return step, sure, doubt, proved


def _looks(step_rad: Array, dt_s: Array, long: NDArray[np.bool_], i: int) -> list[tuple[float, float]]:
    """Speed [rad/s] and length [s] of up to `LOOK_STEPS` steps before and after a gap, no other gap among them; fewer
    than half as many are no look."""
    found = []
    for way in (-1, 1):
        ahead = i + way * np.arange(1, LOOK_STEPS + 1)
        ahead = ahead[(ahead >= 0) & (ahead < len(step_rad))]
        there = ahead[: int(np.argmax(long[ahead]))] if long[ahead].any() else ahead
        if 2 * len(there) >= LOOK_STEPS:
            t, psi = np.cumsum(dt_s[there]), np.cumsum(step_rad[there])
            found.append((float(np.polyfit(np.append(0.0, t), np.append(0.0, psi), 1)[0]), float(t[-1])))
    return found
