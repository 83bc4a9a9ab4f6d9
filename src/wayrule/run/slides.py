"""Where the wheel did not turn with the track: its speed against what the inertial sensor felt.

A wheel that locks loses its whole speed within milliseconds while the body glides on; no brake and no hand can do that
to the wagon. So within a few seconds the accelerometer, freed of gravity by the gyro, knows the speed's changes far
better than a slide needs, and the speed that the wheel missed adds up to the path that it missed.

  f_x = dv/dt + g sin alpha;  alpha' = -(omega_y - omega_z sin rho);  g sin rho = f_y - v omega_z
Source: P. D. Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2
(attitude kinematics, rotating-frame accelerations), for small climb and roll. Slow errors (biases, mounting, wander)
are taken out by running medians, which a slide of less than half their length does not move.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from wayrule.maths.robust import robust_sd
from wayrule.model import BodyImu, Mishap, State
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.units import G_MM_S2

BLOCK_S = 0.02
"""Readings are averaged over this long: a slide lasts longer, and noise is halved."""

LEAN_S = 0.2
"""The roll is taken from the sideways force averaged over this long."""

SLOW_S, SLOWER_S = 3.0, 5.0
"""Lengths of the running medians of the speeds' difference, and of the accelerations' before it."""

FOUND_TIMES, FOUND_SHARE, ENDED_SHARE = 8.0, 0.12, 0.2
"""A slide is a difference beyond so many sds and beyond this share of the usual speed; it ends where the difference
falls below the last share of what it took to be found."""

CLEAR_SHARE, CLEAR_TIMES = 0.5, 5.0
"""Slides stand clear of the usual: where more differences reach this share of what it takes to be found than reach all
of it, they are how the vehicle runs (soft tyres, a pitching body), and only one that stands so many times as high as
the highest of them is believed (our choice)."""

LONGEST_S = 1.4
"""A longer difference is slow error, or the medians would have followed it."""

LEAST_BLOCKS = 40
"""With fewer that roll there is no scatter to judge by."""

BESIDE_S = 0.3
"""Before and after a slide the speeds agree; they are compared over this long."""


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
) -> Slides:
    """Slides and spins of the wheel, and the path that it missed.

    Parameters
    ----------
    t_s, distance_mm, v_mm_s : (n,)   time, distance and speed by the wheel
    imu : BodyImu                     readings in body axes
    state : (n,)                      of `State`
    spoilt : (n,)                     samples that say nothing (knocks, hands, gaps)

    Returns
    -------
    Slides   none without accelerometer, or where too little rolls for a scatter
    """
    nothing = Slides((), np.zeros_like(t_s), np.zeros_like(t_s))
    per_block = max(1, round(BLOCK_S / float(np.median(np.diff(t_s)))))
    whole = slice(0, len(t_s) // per_block * per_block)
    rolling = np.flatnonzero(_blocks((state[whole] == State.ROLLING).astype(float), per_block) > 0.5)
    if imu.acc_mm_s2 is None or len(rolling) < LEAST_BLOCKS:
        return nothing
    force = _forward_force(t_s, v_mm_s, imu, spoilt)
    t, s, f = (_blocks(x[whole], per_block) for x in (t_s, distance_mm, force))
    usable = _blocks((~spoilt[whole]).astype(float), per_block) == 1.0
    ahead = _ahead(t, s, f, usable, rolling)
    speed = float(np.median(np.abs(v_mm_s[state == State.ROLLING])))
    least = max(FOUND_TIMES * ahead.sd_mm_s, FOUND_SHARE * speed)
    stretches = _clear(ahead.quick_mm_s, least)
    found, missed = [], np.zeros_like(ahead.t_s)
    for a, b in stretches:
        lost = _lost(ahead, a, b)
        if lost is not None:
            missed[a:b] = lost
            found.append(_slide(ahead, a, b, lost, float(np.interp(ahead.t_s[a], t_s, v_mm_s))))
    missed_mm_s = np.interp(t_s, ahead.t_s, missed)
    return Slides(tuple(found), _integral(missed_mm_s, t_s), missed_mm_s) if found else nothing


@dataclass(frozen=True, slots=True, eq=False)
class _Ahead:
    """The wheel's speed less the inertial sensor's, in blocks (m,).

    t_s         middle of each block
    all_mm_s    the difference but for its slow drift; quick_mm_s: less its running median, 0 where it cannot be judged
    usable      no spoilt sample in it
    sd_mm_s     robust, while rolling
    """

    t_s: Array
    all_mm_s: Array
    quick_mm_s: Array
    usable: NDArray[np.bool_]
    sd_mm_s: float


def _ahead(t: Array, s: Array, f: Array, usable: NDArray[np.bool_], rolling: NDArray[np.intp]) -> _Ahead:
    """From the blocks' times, distances and forward forces, and the numbers of those that roll."""
    step = float(np.median(np.diff(t)))
    gained = np.gradient(np.gradient(s, t), t) - f
    gained -= median_filter(gained, _odd(SLOWER_S / step), mode="nearest")
    ahead = uniform_filter1d(np.cumsum(np.where(usable, gained, 0.0) * np.gradient(t)), 3)
    quick = ahead - median_filter(ahead, _odd(SLOW_S / step), mode="nearest")
    inside = usable.copy()
    inside[: rolling[0]] = inside[rolling[-1] + 1 :] = False
    return _Ahead(t, ahead, np.where(inside, quick, 0.0), usable, robust_sd(quick[rolling]))


def _lost(ahead: _Ahead, a: int, b: int) -> Array | None:
    """(b - a,) speed that the wheel missed over blocks a to b, by the speeds just before and after; None where these
    cannot be compared, or it lasts too long."""
    t = ahead.t_s
    beside = max(2, round(BESIDE_S / float(np.median(np.diff(t)))))
    around = slice(a - beside, b + beside)
    if a < beside or b + beside > len(t) or t[b - 1] - t[a] > LONGEST_S or not ahead.usable[around].all():
        return None
    before, after = ahead.all_mm_s[a - beside : a].mean(), ahead.all_mm_s[b : b + beside].mean()
    return np.asarray(np.linspace(before, after, b - a) - ahead.all_mm_s[a:b])


def _slide(ahead: _Ahead, a: int, b: int, lost_mm_s: Array, v_mm_s: float) -> Mishap:
    """The mishap that missed so much speed over blocks a to b, of a wagon that went at v before."""
    t = ahead.t_s
    size = float(np.sum(lost_mm_s * np.gradient(t)[a:b])) * (1.0 if v_mm_s >= 0 else -1.0)
    sd = ahead.sd_mm_s * (float(t[b - 1] - t[a]) + BESIDE_S)
    return Mishap("slide" if size > 0 else "spin", float(t[a]), float(t[b - 1]), size, "mm", sd, sd)


def _forward_force(t_s: Array, v_mm_s: Array, imu: BodyImu, spoilt: NDArray[np.bool_]) -> Array:
    """(n,) forward specific force less gravity's part, but for slow errors [mm/s2]."""
    assert imu.acc_mm_s2 is not None
    gyro = np.column_stack([_filled(column, t_s, spoilt) for column in (imu.gyro_rad_s - usual_rate(imu)).T])
    forward, left = (_filled(imu.acc_mm_s2[:, axis], t_s, spoilt) for axis in (0, 1))
    samples = _odd(LEAN_S / float(np.median(np.diff(t_s))))
    lean = uniform_filter1d((left - v_mm_s * gyro[:, 2]) / G_MM_S2, samples, mode="nearest")
    dipping = gyro[:, 1] - gyro[:, 2] * lean
    yaw_power = float(gyro[:, 2] @ gyro[:, 2])
    askew = float(dipping @ gyro[:, 2]) / yaw_power if yaw_power > 0 else 0.0
    climb = -_integral(dipping - askew * gyro[:, 2], t_s)
    return np.asarray(forward - G_MM_S2 * climb)


def _filled(values: Array, t_s: Array, spoilt: NDArray[np.bool_]) -> Array:
    """Missing and spoilt samples interpolated in time; all missing gives zeros."""
    good = np.isfinite(values) & ~spoilt
    return np.interp(t_s, t_s[good], values[good]) if good.any() else np.zeros_like(values)


def _integral(values: Array, t_s: Array) -> Array:
    """Trapezoidal integral from the first sample."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t_s))))


def _blocks(values: Array, size: int) -> Array:
    """Means of so many samples each."""
    return np.asarray(values.reshape(-1, size).mean(axis=1))


def _odd(count: float) -> int:
    return max(1, round(count)) | 1


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
