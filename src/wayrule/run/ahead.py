"""The wheel's speed against what the inertial sensor felt: what is left where the wheel turns with the track, and where
it does not.

A wheel that locks loses its whole speed within milliseconds while the body glides on; no brake and no hand can do that
to the wagon. So within a few seconds the accelerometer, freed of gravity by the gyro, knows the speed's changes far
better than a slide needs, and the speed that the wheel missed adds up to the path that it missed.

  f_x = dv/dt + g sin alpha;  alpha' = -(omega_y - omega_z sin rho);  g sin rho = f_y - v omega_z
Source: P. D. Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2
(attitude kinematics, rotating-frame accelerations), for small climb and roll. Slow errors (biases, mounting, wander)
are taken out by running medians, which a slide of less than half their length does not move.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from wayrule.maths.robust import robust_sd
from wayrule.model import BodyImu, State
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.units import G_MM_S2

BLOCK_S = 0.02
"""Readings are averaged over this long: a slide lasts longer, and noise is halved."""

LEAN_S = 0.2
"""The roll is taken from the sideways force averaged over this long."""

SLOW_S, SLOWER_S = 3.0, 5.0
"""Lengths of the running medians of the speeds' difference, and of the accelerations' before it."""

FOUND_TIMES = 8.0
"""The wheel did not turn with the track where the speeds differ by more than so many sds."""

LEAST_BLOCKS = 40
"""With fewer that roll there is no scatter to judge by."""

BESIDE_S = 0.3
"""Before and after a slide the speeds agree; they are compared over this long."""

LOCK_DRIFT_MM_S2 = 25.0
"""What the body's acceleration may err by within a lock, evenly changing [mm/s2], beyond the line through both ends,
where the run has too few stretches as long to tell."""


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """The wheel's speed less the inertial sensor's, in blocks (m,).

    t_s         middle of each block
    all_mm_s    the difference but for its slow drift; quick_mm_s: less its running median, 0 where it cannot be judged
    usable      no spoilt sample in it
    sd_mm_s     robust, while rolling
    wheel_mm_s  speed by the wheel; usual_mm_s: its median while rolling, as a magnitude
    """

    t_s: Array
    all_mm_s: Array
    quick_mm_s: Array
    usable: NDArray[np.bool_]
    sd_mm_s: float
    wheel_mm_s: Array
    usual_mm_s: float


def ahead_of(
    t_s: Array,
    distance_mm: Array,
    v_mm_s: Array,
    imu: BodyImu,
    state: NDArray[np.int8],
    spoilt: NDArray[np.bool_],
) -> Ahead | None:
    """Of a run; None without accelerometer, or where too little rolls for a scatter."""
    per_block = max(1, round(BLOCK_S / float(np.median(np.diff(t_s)))))
    whole = slice(0, len(t_s) // per_block * per_block)
    rolling = np.flatnonzero(_blocks((state[whole] == State.ROLLING).astype(float), per_block) > 0.5)
    if imu.acc_mm_s2 is None or len(rolling) < LEAST_BLOCKS:
        return None
    force = _forward_force(t_s, v_mm_s, imu, spoilt)
    t, s, f = (_blocks(x[whole], per_block) for x in (t_s, distance_mm, force))
    usable = _blocks((~spoilt[whole]).astype(float), per_block) == 1.0
    usual = float(np.median(np.abs(v_mm_s[state == State.ROLLING])))
    return _ahead(t, s, f, usable, rolling, usual)


def _ahead(
    t: Array, s: Array, f: Array, usable: NDArray[np.bool_], rolling: NDArray[np.intp], usual_mm_s: float
) -> Ahead:
    """From the blocks' times, distances and forward forces, the numbers of those that roll, and the usual speed."""
    step = float(np.median(np.diff(t)))
    wheel = np.gradient(s, t)
    gained = np.gradient(wheel, t) - f
    gained -= median_filter(gained, odd(SLOWER_S / step), mode="nearest")
    ahead = uniform_filter1d(np.cumsum(np.where(usable, gained, 0.0) * np.gradient(t)), 3)
    quick = ahead - median_filter(ahead, odd(SLOW_S / step), mode="nearest")
    inside = usable.copy()
    inside[: rolling[0]] = inside[rolling[-1] + 1 :] = False
    return Ahead(t, ahead, np.where(inside, quick, 0.0), usable, robust_sd(quick[rolling]), wheel, usual_mm_s)


def speed_lost(ahead: Ahead, a: int, b: int, longest_s: float) -> Array | None:
    """(b - a,) speed that the wheel missed over blocks a to b, by the speeds just before and after; None where these
    cannot be compared, or it lasts too long."""
    t = ahead.t_s
    beside = max(2, round(BESIDE_S / float(np.median(np.diff(t)))))
    around = slice(a - beside, b + beside)
    if a < beside or b + beside > len(t) or t[b - 1] - t[a] > longest_s or not ahead.usable[around].all():
        return None
    before, after = ahead.all_mm_s[a - beside : a].mean(), ahead.all_mm_s[b : b + beside].mean()
    return np.asarray(np.linspace(before, after, b - a) - ahead.all_mm_s[a:b])


def path_sd_mm(ahead: Ahead, a: int, b: int) -> float:
    """Sd of the path missed over blocks a to b by the accelerometer."""
    lasted = float(ahead.t_s[b - 1] - ahead.t_s[a])
    return float(np.hypot(ahead.sd_mm_s * (lasted + BESIDE_S), LOCK_DRIFT_MM_S2 * lasted**2 / 12.0))


def _forward_force(t_s: Array, v_mm_s: Array, imu: BodyImu, spoilt: NDArray[np.bool_]) -> Array:
    """(n,) forward specific force less gravity's part, but for slow errors [mm/s2]."""
    assert imu.acc_mm_s2 is not None
    gyro = np.column_stack([_filled(column, t_s, spoilt) for column in (imu.gyro_rad_s - usual_rate(imu)).T])
    forward, left = (_filled(imu.acc_mm_s2[:, axis], t_s, spoilt) for axis in (0, 1))
    samples = odd(LEAN_S / float(np.median(np.diff(t_s))))
    lean = uniform_filter1d((left - v_mm_s * gyro[:, 2]) / G_MM_S2, samples, mode="nearest")
    dipping = gyro[:, 1] - gyro[:, 2] * lean
    yaw_power = float(gyro[:, 2] @ gyro[:, 2])
    askew = float(dipping @ gyro[:, 2]) / yaw_power if yaw_power > 0 else 0.0
    climb = -integral(dipping - askew * gyro[:, 2], t_s)
    return np.asarray(forward - G_MM_S2 * climb)


def _filled(values: Array, t_s: Array, spoilt: NDArray[np.bool_]) -> Array:
    """Missing and spoilt samples interpolated in time; all missing gives zeros."""
    good = np.isfinite(values) & ~spoilt
    return np.interp(t_s, t_s[good], values[good]) if good.any() else np.zeros_like(values)


def integral(values: Array, t_s: Array) -> Array:
    """Trapezoidal integral from the first sample."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t_s))))


def _blocks(values: Array, size: int) -> Array:
    """Means of so many samples each."""
    return np.asarray(values.reshape(-1, size).mean(axis=1))


def odd(count: float) -> int:
    """An odd number near `count`, 1 at least."""
    return max(1, round(count)) | 1
