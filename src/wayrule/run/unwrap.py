"""Counting turns: a wrapped angle, sample by sample, to an angle that goes on.

d    advance from one sample to the next [rad]      turn  2 pi
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.counting import FAST_TURN
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
    """

    psi_rad: Array
    fast: NDArray[np.bool_]
    bridged: NDArray[np.bool_]
    gap_sd_rad: Array
    gaps_sure: int
    gaps_unsure: tuple[tuple[int, int], ...]


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
    so that one wild sample cannot start a false rotation. Across gaps the prediction is the mean of the median rates of
    the five steps before and after.

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
    step, sure, doubt = _bridge(step, dt, long)
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


def _bridge(step_rad: Array, dt_s: Array, long: NDArray[np.bool_]) -> tuple[Array, int, Array]:
    """Steps across gaps by prediction; how many were surely bridged; per step the sd of turns lost (0 where none)."""
    step, doubt, sure = step_rad.copy(), np.zeros(len(step_rad)), 0
    normal = np.flatnonzero(~long)
    rate = step_rad / dt_s
    for i in np.flatnonzero(long):
        at = int(np.searchsorted(normal, i))
        around = [rate[normal[max(0, at - 5) : at]], rate[normal[at : at + 5]]]
        medians = [float(np.median(r)) for r in around if len(r)] or [0.0]
        predicted = float(np.mean(medians)) * dt_s[i]
        step[i] = predicted + wrap(step_rad[i] - predicted)
        if max(abs(m) for m in medians) * dt_s[i] < 0.5 * TAU:
            sure += 1
        else:
            doubt[i] = max(TAU, float(np.ptp(medians)) * dt_s[i] / np.sqrt(12.0))
    return step, sure, doubt
