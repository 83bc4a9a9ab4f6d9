"""Rolling, standing or unsure, and the standstills as intervals."""

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.localfit import local_slope
from wayrule.model import State
from wayrule.model.arrays import Array

SHORTEST_STAND_S = 0.5
"""A standstill is at least so long."""
LONGEST_LOOK_S = 5.0
"""A coarse counter is watched for so long before it counts as standing."""
CREEP_MM_S = 0.5
"""Slower than this is called standing, if the input could have shown more. Slow shunting in N scale is 5 mm/s."""
CREEP_SHARE = 0.002
"""... or slower than this share of the usual rolling speed, for vehicles of full size."""
QUIET_FACTOR = 4.0
"""While standing, the gyro may scatter so many times its usual scatter at standstill before that is doubted."""
QUIET_RATE_RAD_S = 0.009
"""... and turn at most so fast (0.5 deg/s) beside its usual reading at standstill: no bias wanders as far in a run."""


QUIET_FORCE_MM_S2 = 300.0
"""Specific force at rest stays within so much (0.03 g)."""


def states(
    t_s: Array,
    distance_mm: Array,
    v_mm_s: Array,
    v_sd_mm_s: Array,
    *,
    white_sd_mm: float = 0.0,
    speed_noise_mm_s: float = 0.0,
    quantum_mm: float = 0.0,
    gyro_rad_s: Array | None = None,
    unsure: NDArray[np.bool_] | None = None,
) -> NDArray[np.int8]:
    """State at each sample.

    Parameters
    ----------
    t_s, distance_mm, v_mm_s, v_sd_mm_s : (n,) arrays   time, distance, speed and its sd without the scale
    white_sd_mm, speed_noise_mm_s, quantum_mm : float   noise of a distance, noise of a speed input, step of a counter
    gyro_rad_s : (n, 3) array                           in any fixed axes
    unsure : (n,) bool array                            where the distance itself is in doubt

    Returns
    -------
    (n,) int8 array   of `State`

    Notes
    -----
    Standing: over a window (0.5 s, longer for a coarse counter) the slope of the distance is below three sigma and
    could not be above the creep limit, and a gyro, where there is one, is as quiet as at the other standstills.
    Rolling: the speed exceeds three sigma and the creep limit. All else is unsure.

    Examples
    --------
    >>> t = np.arange(0.0, 4.0, 0.01)
    >>> s = 100.0 * np.maximum(t - 2.0, 0.0)
    >>> found = states(t, s, np.gradient(s, t), np.full(400, 0.1), white_sd_mm=0.001)
    >>> [State(found[i]).name for i in (0, 150, 300)]
    ['STANDING', 'STANDING', 'ROLLING']
    """
    limit = creep_limit(v_mm_s)
    look = SHORTEST_STAND_S
    if quantum_mm > 0.0:
        look = float(np.clip(quantum_mm / limit, SHORTEST_STAND_S, LONGEST_LOOK_S))
    half = 0.5 * max(look, 4.0 * float(np.median(np.diff(t_s))))
    slope, gain, count = local_slope(t_s, distance_mm, half, degree=1)
    noise = np.hypot(gain * white_sd_mm, speed_noise_mm_s * np.sqrt(1.2 / np.maximum(count, 1.0)))
    if quantum_mm > 0.0:  # no tick at all in the window: the speed is below one tick per window
        noise = np.where(slope == 0.0, quantum_mm / (2.0 * half) / 3.0, noise)
    with np.errstate(invalid="ignore"):
        still = (np.abs(slope) < np.maximum(3.0 * noise, 1e-9)) & (np.abs(slope) + 3.0 * noise < 1.5 * limit)
        rolls = (np.abs(v_mm_s) > 3.0 * v_sd_mm_s) & (np.abs(v_mm_s) > limit)
    still = _widened(t_s, still, 0.8 * half) & (np.abs(v_mm_s) < 5.0 * limit + 3.0 * v_sd_mm_s)
    found = np.where(rolls, State.ROLLING, State.UNSURE).astype(np.int8)
    found[still] = State.STANDING
    if gyro_rad_s is not None:
        found[still & ~_quiet(t_s, gyro_rad_s, still)] = State.UNSURE
    if unsure is not None:
        found[unsure] = State.UNSURE
    return _long_enough(t_s, found)


def creep_limit(v_mm_s: Array) -> float:
    """Speed [mm/s] below which a wagon counts as standing.

    Examples
    --------
    >>> creep_limit(np.full(10, 150.0)), creep_limit(np.full(10, 15000.0))
    (0.5, 30.0)
    """
    fast = np.abs(v_mm_s[np.isfinite(v_mm_s)])
    usual = float(np.median(fast[fast > 0.1 * fast.max()])) if len(fast) and fast.max() > 0 else 0.0
    return max(CREEP_MM_S, CREEP_SHARE * usual)


def standstills(state: NDArray[np.int8]) -> list[tuple[int, int]]:
    """[start, end) sample numbers of each standstill.

    Examples
    --------
    >>> standstills(np.array([1, 1, 0, 1, 2], dtype=np.int8))
    [(0, 2), (3, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], state == State.STANDING, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def stands_throughout(t_s: Array, gyro_rad_s: Array, acc_mm_s2: Array | None) -> bool:
    """Whether a log without a wheel sensor is that of a wagon at rest: steady means and even scatter throughout.

    Means over quarter seconds stay within `QUIET_RATE_RAD_S` (rates) and `QUIET_FORCE_MM_S2` (specific force) and four
    sd of such a mean. A glide at steady speed on straight level track would look the same; a model's joints do not
    let it.

    Examples
    --------
    >>> rates = np.random.default_rng(1).normal(0.0, 0.002, (1000, 3))
    >>> stands_throughout(np.arange(1000) * 0.005, rates, None)
    True
    >>> rates[500:, 2] += 0.05
    >>> stands_throughout(np.arange(1000) * 0.005, rates, None)
    False
    """
    block = np.floor((t_s - t_s[0]) / 0.25).astype(np.int64)
    for values, limit in ((gyro_rad_s, QUIET_RATE_RAD_S), (acc_mm_s2, QUIET_FORCE_MM_S2)):
        if values is None:
            continue
        good = np.isfinite(values).all(axis=1)
        count = np.bincount(block[good])
        full = count >= 5
        if full.sum() < 2:
            return False
        for column in values[good].T:
            mean = np.bincount(block[good], weights=column)[full] / count[full]
            square = np.bincount(block[good], weights=column**2)[full] / count[full]
            scatter = float(np.median(np.sqrt(np.maximum(square - mean**2, 0.0))))
            if float(np.ptp(mean)) > limit + 8.0 * scatter / np.sqrt(float(count[full].min())):
                return False
    return True


def _widened(t_s: Array, core: NDArray[np.bool_], by_s: float) -> NDArray[np.bool_]:
    """Samples within `by_s` of a true one: a still window makes its whole width still."""
    places = np.flatnonzero(core)
    if not len(places):
        return core
    near = np.searchsorted(t_s[places], t_s)
    after = t_s[places[np.minimum(near, len(places) - 1)]] - t_s
    before = t_s - t_s[places[np.maximum(near - 1, 0)]]
    return np.asarray((np.abs(after) <= by_s) | (np.abs(before) <= by_s))


def _quiet(t_s: Array, gyro_rad_s: Array, still: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where the gyro is as quiet as it usually is when the wheel stands; True where it says nothing."""
    seen = still & np.isfinite(gyro_rad_s).all(axis=1)
    if not seen.any():
        return np.ones(len(t_s), dtype=bool)
    width = max(3, round(SHORTEST_STAND_S / float(np.median(np.diff(t_s)))))
    filled = np.where(np.isfinite(gyro_rad_s), gyro_rad_s, np.median(gyro_rad_s[seen], axis=0))
    sums = np.concatenate([np.zeros((1, 3)), np.cumsum(filled - filled.mean(axis=0), axis=0)])
    squares = np.concatenate([np.zeros((1, 3)), np.cumsum((filled - filled.mean(axis=0)) ** 2, axis=0)])
    i = np.arange(len(t_s))
    a, b = np.maximum(i - width // 2, 0), np.minimum(i + width // 2 + 1, len(t_s))
    m = (b - a)[:, None]
    mean = (sums[b] - sums[a]) / m
    scatter = np.sqrt(np.maximum((squares[b] - squares[a]) / m - mean**2, 0.0)).max(axis=1)
    level = float(np.median(scatter[still]))
    off = np.abs(mean - np.median(mean[still], axis=0)).max(axis=1)
    return np.asarray(
        (scatter <= QUIET_FACTOR * level + 1e-4) & (off <= QUIET_RATE_RAD_S + 2.0 * level / np.sqrt(width))
    )


def _long_enough(t_s: Array, state: NDArray[np.int8]) -> NDArray[np.int8]:
    """The states with standstills shorter than `SHORTEST_STAND_S` made unsure."""
    kept = state.copy()
    for a, b in standstills(state):
        if t_s[b - 1] - t_s[a] < 0.9 * SHORTEST_STAND_S and not (a == 0 and b == len(t_s)):
            kept[a:b] = State.UNSURE
    return kept
