"""How noisy the sensors are by themselves: from standstill, or the wagon file, or a default."""

from dataclasses import dataclass

import numpy as np

from wayrule.model import State, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.units import DEG, G_MM_S2

GYRO_DENSITY_DPS = 0.01
"""One-sided gyro noise density where neither standstill nor wagon file says [deg/s/sqrt(Hz)] (common practice)."""

FORCE_DENSITY_G = 150e-6
"""The accelerometer's, likewise [g/sqrt(Hz)]."""


@dataclass(frozen=True, slots=True)
class Density:
    """One-sided noise densities of a run: gyro (3,) [rad/s/sqrt(Hz)], force (3,) [mm/s2/sqrt(Hz)]."""

    gyro: Array
    force: Array


def densities(travel: Travel, wagon: Wagon) -> Density:
    """Densities as the run's standstills show them; the wagon file's, or a default, where it never stands still."""
    assert travel.imu is not None
    gyro = np.full(3, (wagon.imu.gyro_noise_dps_rthz or GYRO_DENSITY_DPS) * DEG)
    force = np.full(3, (wagon.imu.acc_noise_g_rthz or FORCE_DENSITY_G) * G_MM_S2)
    standing = np.atleast_1d(travel.state == State.STANDING)
    period = float(np.median(np.diff(travel.t_s)))
    for values, density in ((travel.imu.gyro_rad_s, gyro), (travel.imu.acc_mm_s2, force)):
        if values is None:
            continue
        for axis in range(3):
            seen = _still_density(values[:, axis], standing, period)
            if np.isfinite(seen):
                density[axis] = max(seen, 0.5 * density[axis])
    return Density(gyro, force)


def _still_density(values: Array, standing: np.ndarray[tuple[int], np.dtype[np.bool_]], period_s: float) -> float:
    """Density from means over about 0.1 s at rest: slower than steps and filters, faster than wander; NaN if short."""
    block = max(1, round(0.1 / period_s))
    inside = standing & np.isfinite(values)
    count = len(values) // block
    whole = np.atleast_1d(inside[: count * block].reshape(count, block).all(axis=1))
    means = values[: count * block].reshape(count, block).mean(axis=1)
    step = np.diff(means)[whole[1:] & whole[:-1]]
    if len(step) < 12:
        return float("nan")
    sd = 1.4826 * float(np.median(np.abs(step))) / np.sqrt(2)
    return float(sd * np.sqrt(2 * block * period_s))
