"""Where the wheel did not turn with the track: slides and spins, and the path that the wheel missed.

How its speed is compared with what the inertial sensor felt stands in `ahead.py`; a wheel that stood for longer than
the running medians allow is found in `locks.py`.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model import BodyImu, Mishap
from wayrule.model.arrays import Array
from wayrule.run.ahead import FOUND_TIMES, Ahead, ahead_of, integral, path_sd_mm, speed_lost
from wayrule.run.locks import LONGEST_LOCK_S, carried, steadied

FOUND_SHARE, ENDED_SHARE = 0.12, 0.2
"""A slide is a difference beyond `FOUND_TIMES` sds and beyond the first share of the usual speed; it ends where the
difference falls below the second share of what it took to be found."""

CLEAR_SHARE, CLEAR_TIMES = 0.5, 5.0
"""Slides stand clear of the usual: where more differences reach this share of what it takes to be found than reach all
of it, they are how the vehicle runs (soft tyres, a pitching body), and only one that stands so many times as high as
the highest of them is believed (our choice)."""

LONGEST_S = 1.4
"""A longer difference is slow error, or the medians would have followed it; a wheel that stands is told by `locks`."""


@dataclass(frozen=True, slots=True, eq=False)
class Slides:
    """What the wheel missed.

    mishaps      one for each slide or spin; size: path missed [mm], positive where the wheel turned too little
    missed_mm    (n,) path missed so far
    missed_mm_s  (n,) speed missed
    """

    mishaps: tuple[Mishap, ...]
    missed_mm: Array
    missed_mm_s: Array


def slides(
    t_s: Array,
    distance_mm: Array,
    v_mm_s: Array,
    imu: BodyImu,
    state: NDArray[np.int8],
    spoilt: NDArray[np.bool_],
    locked: tuple[tuple[float, float], ...] = (),
) -> Slides:
    """Slides and spins of the wheel, and the path that it missed.

    Parameters
    ----------
    t_s, distance_mm, v_mm_s : (n,)   time, distance and speed by the wheel
    imu : BodyImu                     readings in body axes
    state : (n,)                      of `State`
    spoilt : (n,)                     samples that say nothing (knocks, hands, gaps)
    locked : (first, last)            when the wheel was locked, as `locks` found it [s]

    Returns
    -------
    Slides   none without accelerometer, or where too little rolls for a scatter
    """
    nothing = Slides((), np.zeros_like(t_s), np.zeros_like(t_s))
    ahead = ahead_of(t_s, distance_mm, carried(t_s, v_mm_s, locked), imu, state, spoilt)
    if ahead is None:
        return nothing
    spans = [(int(a), int(b) + 1) for a, b in np.searchsorted(ahead.t_s, np.reshape(locked, (-1, 2)))]
    least = max(FOUND_TIMES * ahead.sd_mm_s, FOUND_SHARE * ahead.usual_mm_s)
    others = [one for one in _clear(ahead.quick_mm_s, least) if all(one[1] <= a or one[0] >= b for a, b in spans)]
    stretches = sorted(others + spans)
    found, missed = [], np.zeros_like(ahead.t_s)
    for a, b in stretches:
        long = (a, b) in spans and ahead.t_s[b - 1] - ahead.t_s[a] > LONGEST_S
        lost = speed_lost(ahead, a, b, LONGEST_LOCK_S if long else LONGEST_S)
        if lost is not None:
            lost, sd = steadied(ahead, a, b, lost) if long else (lost, path_sd_mm(ahead, a, b))
            missed[a:b] = lost
            found.append(_slide(ahead, a, b, lost, sd, float(np.interp(ahead.t_s[a], t_s, v_mm_s))))
    missed_mm_s = np.interp(t_s, ahead.t_s, missed)
    return Slides(tuple(found), integral(missed_mm_s, t_s), missed_mm_s) if found else nothing


def _slide(ahead: Ahead, a: int, b: int, lost_mm_s: Array, sd: float, v_mm_s: float) -> Mishap:
    """The mishap that missed so much speed over blocks a to b, of a wagon that went at v before."""
    t = ahead.t_s
    size = float(np.sum(lost_mm_s * np.gradient(t)[a:b])) * (1.0 if v_mm_s >= 0 else -1.0)
    return Mishap("slide" if size > 0 else "spin", float(t[a]), float(t[b - 1]), size, "mm", sd, sd)


def _clear(quick_mm_s: Array, least_mm_s: float) -> list[tuple[int, int]]:
    """[start, end) of the differences beyond `least_mm_s` that stand clear of the usual."""
    ended = ENDED_SHARE * least_mm_s
    found, all_of_them = (_stretches(quick_mm_s, beyond * least_mm_s, ended) for beyond in (1.0, CLEAR_SHARE))
    if len(all_of_them) <= 2 * len(found):
        return found
    height = {one: float(np.abs(quick_mm_s[slice(*one)]).max()) for one in all_of_them}
    usual = max(height[one] for one in all_of_them if one not in found)
    return [one for one in found if height[one] > CLEAR_TIMES * usual]


def _stretches(values: Array, found: float, ended: float) -> list[tuple[int, int]]:
    """[start, end) of the stretches of one sign beyond `ended` that reach `found`."""
    sign = np.where(np.abs(values) > ended, np.sign(values), 0.0)
    edge = np.flatnonzero(np.diff(np.concatenate(([0.0], sign, [0.0])))).tolist()
    return [(a, b) for a, b in itertools.pairwise(edge) if sign[a] and np.abs(values[a:b]).max() > found]
