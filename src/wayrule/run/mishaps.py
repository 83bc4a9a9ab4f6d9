"""What befell a run, from its own samples: knocks, gaps, and hands on the wagon while it stood.

What the wheel missed by sliding is found in `slides.py`.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from wayrule.maths.robust import robust_sd
from wayrule.model import BodyImu, Mishap, State
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.units import DEG, G_MM_S2

KNOCK_TIMES, KNOCK_G = 15.0, 0.15
"""A knock exceeds the run's usual shaking so many times, and this. A kink of 1.2 deg met at 300 mm/s gives 0.05 g
behind a filter of 60 Hz (v dpsi over 10 ms); the rest is our choice."""

KNOCK_MEAN_S, KNOCK_RING_S = 0.1, 0.06
"""Shaking is what departs from a mean over the first; a knock's ringing is given the second on either side."""

KNOCKS_SHARE = 0.02
"""More of the rolling time than this spent in knocks is how the vehicle runs, not what befell it (our choice)."""

GAP_S, GAP_PERIODS = 0.05, 3.5
"""Rows further apart than both are a gap: over less the readings are as good as interpolated."""

UNSTEADY_1_S = 1.0
"""A wagon changes its speed by at most the usual speed in a second (our choice). Carried across a gap of T at the mean
of the speeds on either side the distance errs by a T^2 / 8: under a quarter of a turn no turn is lost."""

SLOW_SHARE = 0.2
"""A hand is looked for where the wheel turns at less than this share of the usual speed."""

HAND_RATE_RAD_S, HAND_TIMES = 2.0 * DEG, 8.0
"""A hand tilts the body faster than this, and so many times faster than rolling does, roll and pitch together."""

HAND_LEAST_S, HAND_JOIN_S, HAND_PAD_S = 0.25, 0.7, 0.3
"""It does so for so long at least; pauses up to the second belong to it, and so much before and after."""

LIFTED_RAD = 5.0 * DEG
"""A body tilted further than this is not on its rails: the steepest grade (5 %) and cant (8 % of the gauge) of model
practice are below it."""

HAND_LOOSE_WHEELBASES, LIFT_LOOSE_WHEELBASES = 0.05, 5.0
"""What the place may have changed by unseen: wheels that rock about, or a wagon that was set down elsewhere."""


def gaps(t_s: Array, v_mm_s: Array, growth_sd_mm: Array) -> tuple[Mishap, ...]:
    """Where nothing was written.

    Parameters
    ----------
    t_s, v_mm_s : (n,)    time of the rows [s] and speed by the wheel [mm/s]
    growth_sd_mm : (n,)   sd of the distance since the first row that adds up, turns lost in gaps included [mm]

    Examples
    --------
    >>> t = np.concatenate((np.arange(0, 1, 0.01), np.arange(1.5, 2, 0.01)))
    >>> [round(one.size, 2) for one in gaps(t, np.zeros(len(t)), np.zeros(len(t)))]
    [0.51]
    """
    step = np.diff(t_s)
    fast = np.abs(v_mm_s) > SLOW_SHARE * float(np.abs(v_mm_s).max())
    usual = float(np.median(np.abs(v_mm_s[fast]))) if fast.any() else 0.0
    out = []
    for i in np.flatnonzero(step > max(GAP_S, GAP_PERIODS * float(np.median(step)))):
        lost = float(np.sqrt(max(growth_sd_mm[i + 1] ** 2 - growth_sd_mm[i] ** 2, 0.0)))
        if UNSTEADY_1_S * usual * step[i] ** 2 / 8.0 < lost / 4.0:
            lost = 0.0
        out.append(Mishap("gap", float(t_s[i]), float(t_s[i + 1]), float(step[i]), "s", 0.0, lost))
    return tuple(out)


def knocks(t_s: Array, imu: BodyImu, state: NDArray[np.int8]) -> tuple[Mishap, ...]:
    """Jolts that befell a run: none where they fill so much of it that they are how the vehicle runs.

    Parameters as of `jolts`.
    """
    out = jolts(t_s, imu, state)
    time = float(np.sum(np.diff(t_s, append=t_s[-1])[state == State.ROLLING]))
    return out if sum(one.duration_s for one in out) < KNOCKS_SHARE * time else ()


def jolts(t_s: Array, imu: BodyImu, state: NDArray[np.int8]) -> tuple[Mishap, ...]:
    """Jolts far beyond the run's usual shaking, by the accelerometer; none without one.

    Parameters
    ----------
    t_s : (n,)     time [s]
    imu : BodyImu  readings in body axes
    state : (n,)   of `State`: what shakes while rolling is usual
    """
    rolling = state == State.ROLLING
    if imu.acc_mm_s2 is None or not rolling.any():
        return ()
    shaking = imu.acc_mm_s2 - uniform_filter1d(
        np.nan_to_num(imu.acc_mm_s2), _samples(t_s, KNOCK_MEAN_S), axis=0, mode="nearest"
    )
    usual = np.array([robust_sd(column[rolling]) for column in shaking.T])
    size = np.nan_to_num(np.linalg.norm(shaking, axis=1))
    beyond = size > max(KNOCK_TIMES * float(np.linalg.norm(usual)), KNOCK_G * G_MM_S2)
    return tuple(
        Mishap("knock", t0, t1, float(size[a:b].max()) / G_MM_S2, "g", float("nan"), 0.0)
        for a, b, t0, t1 in _spans(t_s, beyond, join_s=2 * KNOCK_RING_S, pad_s=KNOCK_RING_S)
    )


def hands(t_s: Array, v_mm_s: Array, imu: BodyImu, state: NDArray[np.int8], wheelbase_mm: float) -> tuple[Mishap, ...]:
    """Hands on the wagon while it stood, or was moved by them: it tilts as no track tilts it.

    Parameters
    ----------
    t_s, v_mm_s : (n,)   time [s] and speed by the wheel [mm/s]
    imu : BodyImu        readings in body axes
    state : (n,)         of `State`
    wheelbase_mm         of the wagon [mm]
    """
    rolling = state == State.ROLLING
    if not rolling.any():
        return ()
    middle = usual_rate(imu)
    rate = uniform_filter1d(
        np.nan_to_num(imu.gyro_rad_s[:, :2] - middle[:2]), _samples(t_s, KNOCK_MEAN_S), axis=0, mode="nearest"
    )
    size = np.linalg.norm(rate, axis=1)
    usual = float(np.linalg.norm([robust_sd(column[rolling]) for column in rate.T]))
    slow = np.abs(v_mm_s) < SLOW_SHARE * float(np.median(np.abs(v_mm_s[rolling])))
    tilting = slow & (size > max(HAND_RATE_RAD_S, HAND_TIMES * usual))
    out = []
    for a, b, t0, t1 in _spans(t_s, tilting, join_s=HAND_JOIN_S, pad_s=HAND_PAD_S):
        if t_s[b - 1] - t_s[a] < HAND_LEAST_S:
            continue
        tilt = float(
            np.abs(np.cumsum(rate[a:b] * np.diff(t_s[a : b + 1], append=t_s[b - 1])[: b - a, None], axis=0)).max()
        )
        lifted = tilt > LIFTED_RAD
        loose = (LIFT_LOOSE_WHEELBASES if lifted else HAND_LOOSE_WHEELBASES) * wheelbase_mm
        out.append(Mishap("lift" if lifted else "hand", t0, t1, tilt / DEG, "deg", float("nan"), loose))
    return tuple(out)


def without_overlaps(mishaps: tuple[Mishap, ...]) -> tuple[Mishap, ...]:
    """In order of time; what lies within a longer one is part of it.

    >>> hand = Mishap("hand", 1.0, 3.0, 2.0, "deg", 0.1, 3.0)
    >>> knock = Mishap("knock", 2.0, 2.1, 0.5, "g", 0.1, 0.0)
    >>> [one.kind for one in without_overlaps((knock, hand))]
    ['hand']
    """
    out: list[Mishap] = []
    for one in sorted(mishaps, key=lambda m: -m.duration_s):
        if all(one.last_s <= other.first_s or one.first_s >= other.last_s for other in out):
            out.append(one)
    return tuple(sorted(out, key=lambda m: m.first_s))


def within(t_s: Array, mishaps: tuple[Mishap, ...]) -> NDArray[np.bool_]:
    """(n,) which samples lie in any of them.

    >>> within(np.arange(5.0), (Mishap("knock", 1.0, 2.5, 1.0, "g", 0.1, 0.0),)).tolist()
    [False, True, True, False, False]
    """
    out = np.zeros(len(t_s), dtype=bool)
    for one in mishaps:
        out[np.searchsorted(t_s, one.first_s) : np.searchsorted(t_s, one.last_s, side="right")] = True
    return out


def _samples(t_s: Array, span_s: float) -> int:
    """An odd number of samples that span about so long."""
    return max(1, round(span_s / float(np.median(np.diff(t_s))))) | 1


def _spans(t_s: Array, where: NDArray[np.bool_], *, join_s: float, pad_s: float) -> list[tuple[int, int, float, float]]:
    """[start, end) sample numbers of the stretches where it is so, those nearer than `join_s` joined, and their times
    with `pad_s` before and after."""
    at = np.flatnonzero(where)
    if not len(at):
        return []
    cut = np.flatnonzero(np.diff(t_s[at]) > join_s)
    starts, ends = np.concatenate((at[:1], at[cut + 1])), np.concatenate((at[cut], at[-1:]))
    return [
        (int(a), int(b) + 1, max(float(t_s[a]) - pad_s, float(t_s[0])), min(float(t_s[b]) + pad_s, float(t_s[-1])))
        for a, b in zip(starts, ends, strict=True)
    ]
