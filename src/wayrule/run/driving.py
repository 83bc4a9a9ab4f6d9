"""What driving tells: how the sensor is turned about the upright, and how much later than the wheel it speaks.

The wheel knows the acceleration along the track, a, and with the gyro the one across it, v psi'. A sensor turned by
yaw feels of each a share of the other:

    f_x = (1 + e_x) a(t - lag) + (yaw + force_xy) v psi'        f_y = (1 + e_y) v psi' + (force_yx - yaw) a

Second differences of the distance over +-h are the acceleration averaged with a triangle of that width; the same
triangle is laid over the force, so that both are blurred alike. Gravity moves as the body pitches and rolls; that is
summed up from the gyro and taken off, and what is slower than `SLOW_S` is left out.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Shown, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.units import DEG, G_MM_S2

HALVES_S = (0.05, 0.1, 0.2, 0.4)
"""Half widths of the triangle to try: short for a push by hand, long where the wheel's own errors would pass for
accelerations; then the force follows only a part of them, and the next is tried."""
FOLLOWS = 0.93
"""... until the force follows by this share."""
PLAY_SD_RAD, PLAY_WHEELBASES = 0.003, 2.5
"""The body lies askew in the rails by its wheels' play (0.2 mm in 65 mm), anew about every so many wheelbases."""
SLOW_S = 2.0
BLOCK_S = 1.0
"""What shakes hangs together for less than this; sds come from sums over such blocks."""
LEAST_BLOCKS = 8
LEAST_PUSH_MM_S2 = 20.0
"""Rms acceleration below which a run says nothing (2 mg)."""
MOST_LAG_S, LAG_KNOWN_S = 0.1, 0.002
"""A lag beyond the first is a recorder out of order; one known no better than the second is not told: filters of this
kind of sensor delay by 1.5 to 4.5 ms, so it would be no news."""
WRONG_GAIN = 0.15
JOLT_SDS = 4.0
FIT_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Driven:
    """What one run's speeding up, slowing down and turning has shown.

    yaw_rad, yaw_sd_rad   of the sensor about the upright, as the accelerometer feels it
    lag_s, lag_sd_s       how much later than the wheel the inertial sensor speaks; NaN where the run does not tell
    gain, gain_sd         felt over rolled acceleration
    shown                 the same as news of constants
    """

    yaw_rad: float
    yaw_sd_rad: float
    lag_s: float
    lag_sd_s: float
    gain: float
    gain_sd: float
    shown: Shown


def driven(travel: Travel, wagon: Wagon, *, sha256: str = "") -> Driven:
    """Yaw of the mounting, and lag, from the accelerations of a run.

    Raises
    ------
    UndeterminedError   no accelerometer; a run that hardly changes its speed; a force that does not follow the wheel
    """
    imu = travel.imu
    if imu is None or imu.acc_mm_s2 is None:
        raise _unfit(travel, "an accelerometer and a gyro", "none")
    felt = _followed(travel, wagon)
    if abs(felt.gain - 1.0) > WRONG_GAIN + 3 * felt.gain_sd:
        came = f"{felt.gain:.2f} +- {felt.gain_sd:.2f} times as much"
        raise _unfit(travel, "an accelerometer that feels what the wheel does", came)
    across, across_cov = _fitted(felt.table.rows, felt.table.felt_y, felt.table.blocks)
    way_mm = float(np.abs(np.diff(travel.distance_mm)).sum())
    askew = PLAY_SD_RAD / np.sqrt(max(1.0, way_mm / (PLAY_WHEELBASES * wagon.wheelbase_mm)))
    known = felt.lag_sd_s < LAG_KNOWN_S and abs(felt.lag_s) < MOST_LAG_S
    lag, lag_sd = (felt.lag_s, felt.lag_sd_s) if known else (float("nan"), float("nan"))
    seen = np.array([felt.sideways, across[0]])
    sd = np.hypot([felt.sideways_sd, np.sqrt(across_cov[0, 0])], askew)
    yaw, yaw_sd = _yaw(seen, sd)
    shown = _news(travel, seen, sd, (lag, lag_sd), (yaw, yaw_sd), sha256)
    return Driven(yaw, yaw_sd, lag, lag_sd, felt.gain, felt.gain_sd, shown)


@dataclass(frozen=True, slots=True, eq=False)
class _Followed:
    """How the forward force follows the wheel: gain, share of what is across (NaN where nothing is), lag."""

    table: "_Table"
    gain: float
    gain_sd: float
    sideways: float
    sideways_sd: float
    lag_s: float
    lag_sd_s: float


def _followed(travel: Travel, wagon: Wagon) -> _Followed:
    """With the narrowest triangle at which the force follows the wheel."""
    even = _even(travel)
    for half_s in HALVES_S:
        found = _follow(travel, wagon, even, half_s)
        if found.gain > FOLLOWS:
            break
    return found


def _follow(travel: Travel, wagon: Wagon, even: tuple[Array, Array, Array, Array], half_s: float) -> _Followed:
    lag = 0.0
    for _ in range(FIT_ROUNDS):
        table = _table(*even, wagon, half_s, lag)
        if table.push_mm_s2 < LEAST_PUSH_MM_S2 or table.blocks.max(initial=0) + 1 < LEAST_BLOCKS:
            came = f"{table.push_mm_s2 / G_MM_S2 * 1000:.1f} mg rms in {table.blocks.max(initial=-1) + 1} s"
            raise _unfit(travel, "a run of ten seconds and more that speeds up and slows down", came)
        turns = bool(np.sqrt(np.mean(table.rows[:, 1] ** 2)) > LEAST_PUSH_MM_S2)
        rows = table.rows if turns else table.rows[:, :1]
        fit, covariance = _fitted(rows, table.felt_x, table.blocks)
        late, lag_sd = _late(table, table.felt_x - rows @ fit, travel.t_s)
        lag = float(np.clip(lag + late, -MOST_LAG_S, MOST_LAG_S))
    sd = np.sqrt(np.diag(covariance))
    across = (float(fit[1]), float(sd[1])) if turns else (float("nan"), float("nan"))
    return _Followed(table, float(fit[0]), float(sd[0]), *across, lag, lag_sd)


def _late(table: "_Table", rest: Array, t_s: Array) -> tuple[float, float]:
    """What the lag is more than was reckoned with, and its sd.

    rest = -late da/dt. The wheel's own noise is in da/dt, so its power is not taken from its square but from its
    product with the change of the force, where that noise is not: else it would hide the lag (the method of
    instrumental variables; O. Reiersol, Econometrica 9 (1941) 1, from memory).
    """
    step = float(np.median(np.diff(t_s)))
    pushed, felt = np.gradient(table.rows[:, 0], step), np.gradient(table.felt_x, step)
    power = float(pushed @ felt)
    near = np.abs(rest) < JOLT_SDS * 1.4826 * np.median(np.abs(rest)) + 1e-9
    sums = np.bincount(table.blocks, pushed * rest * near)
    count = len(np.unique(table.blocks))
    if power <= 0.0:
        return 0.0, float("inf")
    return -float(sums.sum()) / power, float(np.sqrt(np.sum(sums**2) * count / max(count - 2, 1)) / power)


def _even(travel: Travel) -> tuple[Array, Array, Array, Array]:
    """Time at even steps, distance (m,), specific force (m, 3) and rates (m, 3) there, the gyro's bias taken off."""
    imu = travel.imu
    assert imu is not None
    assert imu.acc_mm_s2 is not None
    step = float(np.median(np.diff(travel.t_s)))
    t = np.arange(travel.t_s[0], travel.t_s[-1], step)

    def at(column: Array) -> Array:
        known = np.isfinite(column)
        return np.interp(t, travel.t_s[known], column[known]) if known.any() else np.zeros(len(t))

    force, rates = (np.stack([at(c) for c in rows.T], axis=1) for rows in (imu.acc_mm_s2, imu.gyro_rad_s))
    return t, at(travel.distance_mm), force, rates - usual_rate(imu)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """rows (m, 2): a and v psi'; felt_x, felt_y, blocks (m,); push_mm_s2: rms of a."""

    rows: Array
    felt_x: Array
    felt_y: Array
    blocks: np.ndarray[tuple[int], np.dtype[np.int64]]
    push_mm_s2: float


def _table(t: Array, s: Array, force: Array, rates: Array, wagon: Wagon, half_s: float, lag_s: float) -> _Table:
    step = float(t[1] - t[0])
    half = max(2, round(half_s / step))
    place = wagon.imu.place_mm or (wagon.wheelbase_mm / 2, 0.0, 0.0)
    ahead = place[0] - wagon.wheelbase_mm / 2
    late = np.interp(t - lag_s, t, s)
    a = np.zeros_like(s)
    a[half:-half] = (late[2 * half :] - 2 * late[half:-half] + late[: -2 * half]) / (half * step) ** 2
    turning = rates[:, 2]
    across = np.gradient(late, step) * turning + np.gradient(turning, step) * ahead
    climb, lean = np.cumsum(-rates[:, 1]) * step, np.cumsum(rates[:, 0]) * step
    felt_x = force[:, 0] - G_MM_S2 * climb + turning**2 * ahead
    felt_y = force[:, 1] - G_MM_S2 * lean
    p, fx, fy = (_fast(_triangle(one, half), step) for one in (across, felt_x, felt_y))
    whole = _fast(a, step)
    keep = slice(half + round(SLOW_S / step), len(t) - half - round(SLOW_S / step))
    columns = np.column_stack([whole, p])[keep]
    blocks = np.floor((t[keep] - t[0]) / BLOCK_S).astype(np.int64)
    blocks = blocks - blocks.min(initial=blocks[0] if len(blocks) else 0)
    push = float(np.sqrt(np.mean(columns[:, 0] ** 2))) if len(columns) else 0.0
    return _Table(columns, fx[keep], fy[keep], blocks, push)


def _triangle(values: Array, half: int) -> Array:
    """Mean weighted by a triangle of +-half samples: what a second difference does to an acceleration."""
    kernel = np.maximum(half - np.abs(np.arange(-half, half + 1)), 0) / half**2
    return np.asarray(np.convolve(values, kernel, mode="same"), dtype=np.float64)


def _fast(values: Array, step: float) -> Array:
    """Values less their running mean over `SLOW_S`."""
    width = round(SLOW_S / step) | 1
    weight = np.convolve(np.ones(len(values)), np.ones(width), mode="same")
    sums = np.concatenate([[0.0], np.cumsum(values)])
    low = np.maximum(np.arange(len(values)) - width // 2, 0)
    high = np.minimum(np.arange(len(values)) + width // 2 + 1, len(values))
    return np.asarray(values - (sums[high] - sums[low]) / weight, dtype=np.float64)


def _fitted(rows: Array, values: Array, blocks: np.ndarray[tuple[int], np.dtype[np.int64]]) -> tuple[Array, Array]:
    """Least squares without jolts; the covariance from sums over blocks (Liang and Zeger, Biometrika 73 (1986) 13)."""
    weight = np.ones(len(values))
    fit: Array = np.zeros(rows.shape[1])
    inverse: Array = np.eye(rows.shape[1])
    for _ in range(3):
        normal = rows.T @ (rows * weight[:, None]) + 1e-9 * np.eye(rows.shape[1])
        inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        fit = np.asarray(inverse @ rows.T @ (weight * values), dtype=np.float64)
        rest = values - rows @ fit
        weight = (np.abs(rest) < JOLT_SDS * 1.4826 * np.median(np.abs(rest)) + 1e-9).astype(np.float64)
    score = rows * (weight * (values - rows @ fit))[:, None]
    sums = np.stack([np.bincount(blocks, c) for c in score.T], axis=1)
    count = len(np.unique(blocks))
    covariance = inverse @ (sums.T @ sums) @ inverse * count / max(count - rows.shape[1], 1)
    return fit, np.asarray(covariance)


def _yaw(seen: Array, sd: Array) -> tuple[float, float]:
    """Yaw of the mounting: forward sees +yaw of what is across, left sees -yaw of what is along."""
    known = np.isfinite(seen)
    values, weight = np.array([seen[0], -seen[1]])[known], 1.0 / sd[known] ** 2
    return float(np.sum(values * weight) / weight.sum()), float(1.0 / np.sqrt(weight.sum()))


def _news(
    travel: Travel, seen: Array, sd: Array, lag: tuple[float, float], yaw: tuple[float, float], sha256: str
) -> Shown:
    names = ("yaw", "force_xy", "force_yx", "lag_s")
    matrix = np.array([[1.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    values, sds = np.append(seen, lag[0]), np.append(sd, lag[1])
    known = np.isfinite(values)
    text = f"The sensor is turned about the upright by {yaw[0] / DEG:+.2f} +- {yaw[1] / DEG:.2f} deg, by driving"
    if known[-1]:
        text += f"; it speaks {lag[0] * 1e3:+.2f} +- {lag[1] * 1e3:.2f} ms later than the wheel"
    used = matrix[known].any(axis=0)
    return Shown(
        "driving",
        tuple(name for name, one in zip(names, used, strict=True) if one),
        matrix[known][:, used],
        values[known],
        np.diag(sds[known] ** 2),
        ((travel.run, sha256),),
        text + ".",
    )


def _unfit(travel: Travel, expected: str, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=came,
        where=travel.run,
        next_step="push the wagon briskly to and fro by hand on a straight, 100 mm each way, for twenty seconds",
    )
