"""From a run's last metres to its trail: what the body turned, climbed and leaned on the way that it came.

psi, alpha, rho  heading, climb, roll of the body [rad]      p, q, r  its true rates about x, y, z      g gravity
"""

from typing import Final

import numpy as np
from scipy.ndimage import uniform_filter1d

from wayrule.maths.dampedwave import correlation
from wayrule.model import Instrument, Trail, Travel
from wayrule.model.arrays import Array
from wayrule.units import G_MM_S2

CELLS_A_WHEELBASE: Final = 4
MOST_CELLS: Final = 96
"""A trail is at most so long: 24 wheelbases, 1.6 m for a goods van in H0."""
LEAST_CELLS: Final = 6
ROUGH_S: Final = 0.5
"""Climb and roll are first taken from the accelerometer over so long, to turn the rates upright."""
BLOCK_S: Final = 0.25
"""The accelerometer's noise is taken from means over so long: jolts and the wheel's smoothed speed colour it."""
LEAST_FORCE_SD_RAD: Final = 2e-3
"""Of such a mean, at least."""
ANGLE_SD_RAD: Final = 1e-4
"""What no other cause explains in the mean over a cell: grit, a rail end (our choice, no source)."""
FREE_RAD: Final = 1.0
"""Sd of what is free."""


def trail(travel: Travel, one: Instrument, *, share: float = 1.0) -> Trail | None:
    """The trail of a run's end; None without a gyro, or before the wagon has gone `LEAST_CELLS` cells.

    Parameters
    ----------
    travel : Travel      its last samples are now; as many as go with `MOST_CELLS` of way are used, its distance in the
                         best scale that there is
    one : Instrument     what is known of the wagon
    share : float        of that way, at most

    Notes
    -----
    Rates are turned upright by the kinematics of ZYX angles (P. D. Groves, Principles of GNSS, Inertial, and
    Multisensor Integrated Navigation Systems, 2nd ed., ch. 2) and summed up. Climb and roll are then moved by a
    constant, a drift and a share of the heading, so that they agree with what the accelerometer feels less v' and v r:
    the gyro tells what is sudden, the accelerometer what lasts.
    """
    if travel.imu is None:
        return None
    cell = one.wheelbase_mm / CELLS_A_WHEELBASE
    away, part = _stretch(travel, cell, share * cell * MOST_CELLS)
    if part is None:
        return None
    t = travel.t_s[part]
    rates = _rates(travel, one, part)
    felt = _felt(travel, one, part, rates[:, 2])
    upright = [uniform_filter1d(a, max(1, round(ROUGH_S / np.median(np.diff(t)))), mode="nearest") for a in felt]
    steps = _upright(rates, *upright) * np.diff(t, append=t[-1])[:, None]
    summed = np.vstack([np.zeros(3), np.cumsum(steps, axis=0)[:-1]]).T
    number = np.round(away / cell).astype(np.int64)
    at, inverse = np.unique(number, return_inverse=True)
    count = np.bincount(inverse)

    def per_cell(values: Array) -> Array:
        return np.asarray(np.bincount(inverse, values) / count)

    ago, turned = t - t[-1], summed[0] - summed[0, -1]
    angles = [per_cell(turned)]
    basis = np.column_stack([np.ones_like(t), ago, turned])
    over = np.column_stack([per_cell(column) for column in basis.T])
    bias = _bias_sd(travel, one)
    covariances = [over @ np.diag([FREE_RAD, bias[2], one.turn_scale_sd]) ** 2 @ over.T]
    for row, axis, level_sd in ((1, 1, one.level_sd_rad[0]), (2, 0, one.level_sd_rad[1])):
        prior = np.array([FREE_RAD, bias[axis], np.hypot(one.seep_sd[axis], level_sd)])
        if travel.imu.acc_mm_s2 is None:
            moved, doubt = np.zeros(3), np.diag(prior**2)
        else:
            moved, doubt = _moved(t, felt[row - 1] - summed[row], basis, prior)
        angles.append(per_cell(summed[row] + basis @ moved))
        covariances.append(over @ doubt @ over.T + level_sd**2)
    middles = per_cell(away)
    between = np.abs(middles[:, None] - middles)
    for row in range(3):
        covariances[row] += one.sway_rad[row] ** 2 * correlation(between, float(one.sway_length_mm[row]))
        covariances[row] += one.walk_rad_rts**2 * np.minimum(-over[:, 1][:, None], -over[:, 1])
        covariances[row] += ANGLE_SD_RAD**2 * np.eye(len(at))
    return Trail(
        away_mm=middles,
        angles_rad=np.array(angles),
        covariance=np.array(covariances),
        wheelbase_mm=one.wheelbase_mm,
        scale_sd=travel.scale_sd,
        newest=int(inverse[-1]),
        came=_came_from(away, cell),
    )


def _stretch(travel: Travel, cell: float, most_mm: float) -> tuple[Array, slice | None]:
    """Distance from now (n,) of the samples that the trail is made of, and which they are."""
    s = travel.distance_mm
    path = np.cumsum(np.abs(np.diff(s, prepend=s[0])))
    first = int(np.searchsorted(path, path[-1] - 1.5 * most_mm))
    near = np.abs(s[first:] - s[-1]) <= most_mm
    first += 0 if near.all() else len(near) - int(np.argmin(near[::-1]))
    part = slice(first, len(s))
    away = s[part] - s[-1]
    return away, part if np.ptp(away) >= LEAST_CELLS * cell else None


def _came_from(away: Array, cell: float) -> int:
    """Side on which it was before it came to where it is: -1 or +1."""
    before = away[np.abs(away) > 0.5 * cell]
    return 1 if len(before) and before[-1] > 0 else -1


def _rates(travel: Travel, one: Instrument, part: slice) -> Array:
    """(n, 3) true rates of the body: bias, scale and mounting out, missing samples filled in time."""
    assert travel.imu is not None
    t = travel.t_s[part]
    read = travel.imu.gyro_rad_s[part] - np.nan_to_num(travel.imu.gyro_bias_rad_s)
    for column in read.T:
        good = np.isfinite(column)
        column[:] = np.interp(t, t[good], column[good]) if good.any() else 0.0
    return np.asarray(read @ one.to_body.T)


def _felt(travel: Travel, one: Instrument, part: slice, yaw_rate: Array) -> Array:
    """(2, n) climb and roll as the accelerometer has them, sample by sample; NaN without one."""
    assert travel.imu is not None
    t, v = travel.t_s[part], travel.speed_mm_s[part]
    if travel.imu.acc_mm_s2 is None:
        return np.zeros((2, len(t)))
    acc = travel.imu.acc_mm_s2[part]
    known = np.stack([np.gradient(v, t), v * yaw_rate])
    out = (acc[:, :2].T - known - one.level_mm_s2[:, None]) / G_MM_S2
    for row in out:
        good = np.isfinite(row)
        row[:] = np.interp(t, t[good], row[good]) if good.any() else 0.0
    return np.asarray(out)


def _upright(rates: Array, climb: Array, roll: Array) -> Array:
    """(n, 3) psi', alpha', rho' from the body's rates and about where it stands."""
    p, q, r = rates.T
    turn = (r * np.cos(roll) + q * np.sin(roll)) / np.cos(climb)
    return np.column_stack([turn, r * np.sin(roll) - q * np.cos(roll), p - turn * np.sin(climb)])


def _bias_sd(travel: Travel, one: Instrument) -> Array:
    assert travel.imu is not None
    told = travel.imu.gyro_bias_sd_rad_s
    return np.where(np.isfinite(told), told, one.bias_sd_rad_s)


def _moved(t: Array, away: Array, basis: Array, prior_sd: Array) -> tuple[Array, Array]:
    """By how much of each column a summed angle is to be moved, (3,), and its covariance: from block means of what
    the accelerometer says beyond it."""
    block = np.floor((t - t[0]) / BLOCK_S).astype(np.int64)
    count = np.maximum(np.bincount(block), 1)
    means = np.bincount(block, away) / count
    rows = np.column_stack([np.bincount(block, column) / count for column in basis.T])
    used = np.bincount(block) > 0
    means, rows = means[used], rows[used]
    sd = LEAST_FORCE_SD_RAD
    for _ in range(2):
        normal = rows.T @ rows / sd**2 + np.diag(prior_sd**-2.0)
        covariance = np.linalg.inv(normal)
        moved = covariance @ rows.T @ means / sd**2
        left = means - rows @ moved
        sd = max(LEAST_FORCE_SD_RAD, 1.4826 * float(np.median(np.abs(left))))
    return np.asarray(moved), np.asarray(covariance)
