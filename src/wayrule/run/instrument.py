"""What is known of a wagon's inertial sensor before it rolls: from its calibration, or next to nothing."""

import math
from typing import Final

import numpy as np

from wayrule.model import Calibration, Instrument, Wagon
from wayrule.model.calibration import GYRO_MATRIX
from wayrule.units import DEG, G_MM_S2

MOUNTING_SD: Final = 0.013
"""An inertial sensor set straight by eye, its own axes included: 0.75 deg (common practice, no source)."""
GYRO_SCALE_SD: Final = 0.02
"""Where the wagon file does not say (common practice, no source)."""
GYRO_NOISE_DPS_RTHZ, ACC_NOISE_G_RTHZ = 0.01, 150e-6
"""Of ordinary chips, where the wagon file does not say (from memory)."""
OFFSET_PER_DENSITY: Final = 120.0
"""Accelerometer offset over its noise density [sqrt(Hz)], where the file does not say (common practice, no source)."""
LEVEL_BY_DAY: Final = 0.05
"""Share of that offset by which it differs from day to day (common practice, no source)."""
BIAS_SD_RAD_S: Final = 1.0 * DEG
"""A gyro's bias of which nothing is known (from memory: ordinary chips are trimmed to about a degree a second)."""
PLAY_SHARE_OF_GAUGE: Final = 0.013
"""Sideways play of a wheelset to either side over the gauge: NEM 310, middle values, 16.5 mm."""
SWAY_WHEELBASES: Final = 0.87
"""Length of the sway before passes have shown it (common practice, no source)."""


def instrument(wagon: Wagon, calibration: Calibration | None = None) -> Instrument:
    """How to read the wagon.

    Parameters
    ----------
    calibration : of this wagon; without one, scale and mounting are as the wagon file and a careful hand make them

    Examples
    --------
    >>> from wayrule.sim import HO_VAN
    >>> one = instrument(HO_VAN)
    >>> one.to_body.tolist(), one.sway_rad.round(4).tolist()
    ([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], [0.0033, 0.0016, 0.0016])
    """
    imu, wheel = wagon.imu, wagon.wheel
    offset = imu.acc_bias_sd_g or OFFSET_PER_DENSITY * (imu.acc_noise_g_rthz or ACC_NOISE_G_RTHZ)
    play = PLAY_SHARE_OF_GAUGE * wagon.gauge_mm / wagon.wheelbase_mm
    caliper = (wheel.diameter_sd_mm or 0.005 * (wheel.diameter_mm or 0.0)) / (wheel.diameter_mm or 1.0)
    known = {
        "wheelbase_mm": wagon.wheelbase_mm,
        "gauge_mm": wagon.gauge_mm,
        "walk_rad_rts": (imu.gyro_noise_dps_rthz or GYRO_NOISE_DPS_RTHZ) * DEG / math.sqrt(2.0),
        "bias_sd_rad_s": BIAS_SD_RAD_S,
    }
    if calibration is None:
        return Instrument(
            **known,
            to_body=np.eye(3),
            turn_scale_sd=imu.gyro_scale_sd or GYRO_SCALE_SD,
            seep_sd=np.full(2, MOUNTING_SD),
            level_mm_s2=np.zeros(2),
            level_sd_rad=np.full(2, math.hypot(offset, MOUNTING_SD)),
            sway_rad=np.array([play, 0.5 * play, 0.5 * play]),
            sway_length_mm=np.full(3, SWAY_WHEELBASES * wagon.wheelbase_mm),
            scale=0.0,
            scale_sd=wheel.scale_sd or caliper,
        )
    readings = np.eye(3)
    for name, row, column, sign in GYRO_MATRIX:
        readings[row, column] += sign * calibration.one(name)[0]
    levels = [calibration.one(name) for name in ("level_x", "level_y")]
    seen = bool(calibration.sway_passes)
    return Instrument(
        **known,
        to_body=np.asarray(np.linalg.inv(readings), dtype=np.float64),
        turn_scale_sd=calibration.one("gyro_scale_z")[1],
        seep_sd=np.array([calibration.one("cross_x")[1], calibration.one("cross_y")[1]]),
        level_mm_s2=np.array([value for value, _ in levels]),
        level_sd_rad=np.array([math.hypot(sd / G_MM_S2, LEVEL_BY_DAY * offset) for _, sd in levels]),
        sway_rad=calibration.sway_rad if seen else np.array([play, 0.5 * play, 0.5 * play]),
        sway_length_mm=calibration.sway_length_mm if seen else np.full(3, SWAY_WHEELBASES * wagon.wheelbase_mm),
        scale=calibration.one("wheel_scale")[0],
        scale_sd=calibration.one("wheel_scale")[1],
    )
