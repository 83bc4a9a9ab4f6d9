"""The plain reading of a run: wheel distance and gyro, integrated with no adjustment.

It is what the misclosure "before" is measured on, and what shows that a line may be closed. Errors of centimetres
to decimetres on a 9 m loop are normal here: bias, scale and mounting are all still in.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model import State, Travel
from wayrule.model.arrays import Array
from wayrule.units import G_MM_S2


@dataclass(frozen=True, slots=True)
class PlainReading:
    """heading_rad, x_mm, y_mm, z_mm: (n,) of the body at the run's samples; z is NaN without accelerometer."""

    heading_rad: Array
    x_mm: Array
    y_mm: Array
    z_mm: Array


def gyro_bias(travel: Travel) -> Array:
    """(3,) standstill bias of a run [rad/s]; zero on an axis without one (the run's notes say so)."""
    assert travel.imu is not None
    return np.nan_to_num(travel.imu.gyro_bias_rad_s)


def filled(values: Array, t_s: Array) -> Array:
    """Missing samples interpolated in time, for integration only; all missing gives zeros."""
    good = np.isfinite(values)
    if good.all():
        return values
    return np.interp(t_s, t_s[good], values[good]) if good.any() else np.zeros_like(values)


def running_integral(values: Array, t_s: Array) -> Array:
    """Trapezoidal integral from the first sample, same length as `values`."""
    out = np.zeros_like(values)
    np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t_s), out=out[1:])
    return out


def plain_reading(travel: Travel) -> PlainReading:
    """Integrate a run's yaw rate and distance; slope from the forward specific force less the wheel's dv/dt."""
    if travel.imu is None:
        raise ValueError(f"Travel {travel.run}: a plain reading needs a gyro")
    t_s = travel.t_s
    heading = running_integral(filled(travel.imu.gyro_rad_s[:, 2], t_s) - gyro_bias(travel)[2], t_s)
    ds = np.diff(travel.distance_mm, prepend=travel.distance_mm[0])
    middle = heading - 0.5 * np.diff(heading, prepend=heading[0])
    z = np.full_like(heading, np.nan)
    if travel.imu.acc_mm_s2 is not None:
        force = running_integral(filled(travel.imu.acc_mm_s2[:, 0], t_s), t_s)
        slope = smoothed_slope(t_s, force - travel.speed_mm_s, window_s=0.5) / G_MM_S2
        z = np.cumsum(ds * np.clip(slope, -1, 1))
    return PlainReading(heading, np.cumsum(ds * np.cos(middle)), np.cumsum(ds * np.sin(middle)), z)


def smoothed_slope(t_s: Array, values: Array, window_s: float) -> Array:
    """Rise of `values` over a centred time window, per second; shorter at the ends."""
    late = np.minimum(t_s + window_s / 2, t_s[-1])
    early = np.maximum(t_s - window_s / 2, t_s[0])
    rise = np.interp(late, t_s, values) - np.interp(early, t_s, values)
    return np.asarray(rise / np.maximum(late - early, 1e-9))


def first_way(travel: Travel) -> int:
    """+1 when the run first rolls towards the wagon's front, -1 when it first rolls back, 0 when it never rolls."""
    rolling = np.flatnonzero(travel.state == State.ROLLING)
    return int(np.sign(travel.speed_mm_s[rolling[0]])) if len(rolling) else 0
