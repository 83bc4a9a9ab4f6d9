"""Level error taken apart: how much of it is tilt of the mounting, how much the accelerometer's own offset.

A level wagon's accelerometer reads offset + g tilt; a turned pair shows the sum and no more. Two things tell the parts:
rest positions in any orientation (they show the offset), and turning in curves (the gyro sees the tilt). Until one of
them was done the level error is told as one.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model import Calibration
from wayrule.model.arrays import Array
from wayrule.model.inertial import Accelerometer
from wayrule.run.positions import TRIADS_SD
from wayrule.units import DEG, G_MM_S2

APART_RAD = 0.38 * DEG
"""Tilt and offset are told apart where the tilt is known to this. What is believed of a gyro before it turned in curves
(its own cross-sensitivity 0.004, and `TRIADS_SD`) never gets below 0.40 deg, however good the accelerometer is said to
be; a gyro that did is at 0.35 deg and below, rest positions at 0.2."""


@dataclass(frozen=True, slots=True, eq=False)
class Mounting:
    """How the sensor sits in the wagon.

    level_rad, level_sd_rad    (2,) level error forward and left: tilt and offset together
    pitch_rad, roll_rad, yaw_rad, their sds    of the mounting: nose up, left side up, turned left; pitch and roll are
                               NaN where they are not told apart from the offset
    offset_mm_s2, offset_sd_mm_s2   (2,) the accelerometer's own, forward and left; NaN likewise
    apart                      whether the two are told apart
    text                       sentences for a person
    """

    level_rad: Array
    level_sd_rad: Array
    pitch_rad: float
    pitch_sd_rad: float
    roll_rad: float
    roll_sd_rad: float
    yaw_rad: float
    yaw_sd_rad: float
    offset_mm_s2: Array
    offset_sd_mm_s2: Array
    apart: bool
    text: str


def mounting(calibration: Calibration, accelerometer: Accelerometer | None = None) -> Mounting:
    """How the sensor sits, as far as it is known by now.

    Parameters
    ----------
    calibration : the constants with their covariance, after whatever steps
    accelerometer : from rest positions, where they were taken: its offset is then known directly

    Notes
    -----
    From the constants alone, offset = level - g cross, whose sd comes from their covariance and from what the axes of
    gyro and accelerometer differ by (`TRIADS_SD`, 0.33 deg).
    """
    level, level_cov = _part(calibration, ("level_x", "level_y"))
    level_sd = np.sqrt(np.diag(level_cov))
    offset, offset_sd, tilt_sd = _from_constants(calibration)
    if accelerometer is not None and calibration.rotation is not None:
        direct = (calibration.rotation @ accelerometer.bias_mm_s2)[:2]
        direct_sd = np.sqrt((calibration.rotation**2 @ accelerometer.bias_sd_mm_s2**2)[:2])
        better = direct_sd < offset_sd
        offset, offset_sd = np.where(better, direct, offset), np.where(better, direct_sd, offset_sd)
        tilt_sd = np.where(better, np.hypot(level_sd, direct_sd) / G_MM_S2, tilt_sd)
    apart = bool((tilt_sd < APART_RAD).all())
    tilt = (level - offset) / G_MM_S2
    yaw, yaw_sd = calibration.one("yaw")
    if not apart:
        tilt, tilt_sd, offset, offset_sd = (np.full(2, np.nan) for _ in range(4))
    return Mounting(
        level / G_MM_S2, level_sd / G_MM_S2, float(tilt[0]), float(tilt_sd[0]), float(tilt[1]), float(tilt_sd[1]),
        yaw, yaw_sd, offset, offset_sd, apart,
        _text(level / G_MM_S2, level_sd / G_MM_S2, (tilt, tilt_sd), (offset, offset_sd), (yaw, yaw_sd), apart=apart),
    )  # fmt: skip


def _part(calibration: Calibration, names: tuple[str, ...]) -> tuple[Array, Array]:
    at = [calibration.names.index(name) for name in names]
    return calibration.values[at], calibration.covariance[np.ix_(at, at)]


def _from_constants(calibration: Calibration) -> tuple[Array, Array, Array]:
    """(2,) the accelerometer's offset, its sd, and the sd of the tilt, from level and cross alone."""
    values, covariance = _part(calibration, ("level_x", "level_y", "cross_x", "cross_y"))
    combine = np.array([[1.0, 0.0, -G_MM_S2, 0.0], [0.0, 1.0, 0.0, -G_MM_S2]])
    sd = np.sqrt(np.diag(combine @ covariance @ combine.T) + (TRIADS_SD * G_MM_S2) ** 2)
    return combine @ values, sd, np.hypot(np.sqrt(np.diag(covariance)[2:]), TRIADS_SD)


def _text(
    level: Array,
    level_sd: Array,
    tilt: tuple[Array, Array],
    offset: tuple[Array, Array],
    yaw: tuple[float, float],
    *,
    apart: bool,
) -> str:
    def angle(value: float, sd: float) -> str:
        return f"{value / DEG:+.2f} +- {sd / DEG:.2f} deg"

    text = f"Level error: {angle(level[0], level_sd[0])} nose up, {angle(level[1], level_sd[1])} left side up"
    if apart:
        mg = [f"{o / G_MM_S2 * 1e3:+.1f} +- {s / G_MM_S2 * 1e3:.1f} mg" for o, s in zip(*offset, strict=True)]
        text += (
            f"; of it the mounting is tilted by {angle(tilt[0][0], tilt[1][0])} and {angle(tilt[0][1], tilt[1][1])}, "
            f"the accelerometer reads {mg[0]} forward and {mg[1]} to the left too much"
        )
    else:
        text += (
            ", tilt and the accelerometer's offset as one; six rest positions, or turning in curves, tell them apart"
        )
    return f"{text}. Turned about the upright by {angle(*yaw)}."
