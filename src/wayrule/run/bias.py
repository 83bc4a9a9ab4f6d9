"""The gyro's bias from standstills, with its own uncertainty."""

import numpy as np
from numpy.typing import NDArray

from wayrule.model import BodyImu
from wayrule.model.arrays import Array
from wayrule.run.state import standstills
from wayrule.units import EARTH_RATE_RAD_S

WANDER_RAD_S = 5e-5
"""How far a bias may wander between a standstill and the run: 10 deg/h, an ordinary chip's stability; from memory."""
EARTH_LEVEL_RAD_S = EARTH_RATE_RAD_S * 0.5
"""Rms of the Earth's level rate on x or y at middle latitudes (cos 45 deg / sqrt 2): it turns with the heading, so what
a standstill shows of it does not hold during the run. The upright part does and belongs to the bias."""
EDGE_S = 0.15
"""Cut off both ends of a standstill at least: the last roll and the first."""
EDGE_SHARE = 0.1
LONGEST_EDGE_S = 1.0
"""... or this share of a longer one, up to a second: the body rocks on after the wheel stands."""
BLOCK_S = 0.5
"""The noise of the mean is taken from the scatter of means over such blocks, where there are enough of them."""
LEAST_BLOCKS = 8


def gyro_bias(t_s: Array, gyro_rad_s: Array, state: NDArray[np.int8]) -> tuple[Array, Array, str]:
    """Bias of the gyro during a run.

    Parameters
    ----------
    t_s : (n,) array            time [s]
    gyro_rad_s : (n, 3) array   rates in axes whose z is up [rad/s]; NaN where missing
    state : (n,) int8 array     of `State`

    Returns
    -------
    bias : (3,) array   [rad/s]; NaN without a standstill
    sd : (3,) array     its sd as an estimate of the mean bias during the run [rad/s]; NaN without a standstill
    note : str          what it rests on

    Notes
    -----
    Mean over each standstill; noise of a mean from the samples' scatter or from that of half-second means, whichever is
    larger (vibration and filters colour the noise). Standstills are weighted by 1 / (noise^2 + wander^2), with the
    wander `WANDER_RAD_S` or what three and more standstills scatter beyond their noise. The Earth's rate is in it: its
    upright part is constant and stays, its level part (`EARTH_LEVEL_RAD_S`) widens the sd of x and y.

    Examples
    --------
    >>> rates = np.random.default_rng(1).normal([0.01, 0.0, -0.02], 0.001, (400, 3))
    >>> bias, sd, _ = gyro_bias(np.arange(400) * 0.01, rates, np.ones(400, dtype=np.int8))
    >>> bool(np.all(np.abs(bias - [0.01, 0.0, -0.02]) < 3 * sd)), sd.round(5).tolist()
    (True, [8e-05, 8e-05, 7e-05])
    """
    pieces = []
    for a, b in standstills(state):
        edge = float(np.clip(EDGE_SHARE * (t_s[b - 1] - t_s[a]), EDGE_S, LONGEST_EDGE_S))
        i = a if a == 0 else int(np.searchsorted(t_s, t_s[a] + edge))
        j = b if b == len(t_s) else int(np.searchsorted(t_s, t_s[b - 1] - edge))
        good = np.isfinite(gyro_rad_s[i:j]).all(axis=1)
        if good.sum() >= 10:
            pieces.append((t_s[i:j][good], gyro_rad_s[i:j][good]))
    if not pieces:
        none = np.full(3, np.nan)
        return (
            none,
            none.copy(),
            "No standstill with a gyro reading: the gyro's bias is unknown; let the wagon stand for ten seconds.",
        )
    means = np.array([rows.mean(axis=0) for _, rows in pieces])
    noise = np.array([mean_sd(t, rows) for t, rows in pieces])
    wander = np.full(3, WANDER_RAD_S)
    if len(pieces) >= 3:
        excess = means.var(axis=0, ddof=1) - np.mean(noise**2, axis=0)
        wander = np.maximum(wander, np.sqrt(np.maximum(excess, 0.0)))
    weight = 1.0 / (noise**2 + wander**2)
    bias = (weight * means).sum(axis=0) / weight.sum(axis=0)
    total = sum(float(t[-1] - t[0]) for t, _ in pieces)
    sd = np.hypot(1.0 / np.sqrt(weight.sum(axis=0)), [EARTH_LEVEL_RAD_S, EARTH_LEVEL_RAD_S, 0.0])
    deg = np.degrees(np.stack([bias, sd]))
    note = (
        f"Gyro bias from {len(pieces)} standstills of {total:.1f} s in all: "
        + ", ".join(f"{name} {b:+.4f} +- {s:.4f}" for name, b, s in zip("xyz", *deg, strict=True))
        + " deg/s."
    )
    return bias, sd, note


def mean_sd(t_s: Array, rows: Array) -> Array:
    """Sd of the mean of some samples (3,), their correlation in time allowed for."""
    white: Array = rows.std(axis=0, ddof=1) / np.sqrt(len(rows))
    block = np.floor((t_s - t_s[0]) / BLOCK_S).astype(np.int64)
    count = np.bincount(block)
    full = count > 0.5 * count.max()
    if full.sum() < LEAST_BLOCKS:
        return white
    means = np.stack([np.bincount(block, weights=column)[full] / count[full] for column in rows.T], axis=1)
    coloured: Array = means.std(axis=0, ddof=1) / np.sqrt(len(means))
    return np.maximum(white, coloured)


def usual_rate(imu: BodyImu) -> Array:
    """(3,) what each axis reads when nothing turns: its bias at standstill, else its median; 0 where it reads nothing.

    >>> rates = np.tile([0.1, 0.2, np.nan], (5, 1))
    >>> usual_rate(BodyImu(rates, None, np.eye(3), np.array([0.3, np.nan, np.nan]), np.zeros(3))).tolist()
    [0.3, 0.2, 0.0]
    """
    out = np.zeros(3)
    for axis, (bias, column) in enumerate(zip(imu.gyro_bias_rad_s, imu.gyro_rad_s.T, strict=True)):
        read = column[np.isfinite(column)]
        out[axis] = bias if np.isfinite(bias) else np.median(read) if len(read) else 0.0
    return out
