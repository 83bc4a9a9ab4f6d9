"""The longest part of a run within which the wagon's place is known by its wheel alone.

A lift, or a gap in which turns were lost, breaks a run: what comes after lies elsewhere than the wheel says.
"""

import dataclasses

import numpy as np

from wayrule.model import Mishap, Travel

FAR_WHEELBASES = 0.25
"""A mishap breaks a run when its place may have changed by more than this; less, the adjustment finds by itself."""


def breaks(travel: Travel, wheelbase_mm: float) -> tuple[Mishap, ...]:
    """The mishaps that break a run."""
    return tuple(one for one in travel.mishaps if one.loose_mm > FAR_WHEELBASES * wheelbase_mm)


def unbroken_s(travel: Travel, wheelbase_mm: float) -> tuple[float, float]:
    """When the part begins and ends in which most distance was rolled [s]."""
    at = breaks(travel, wheelbase_mm)
    starts = [float(travel.t_s[0]), *(one.last_s for one in at)]
    ends = [*(one.first_s for one in at), float(travel.t_s[-1])]
    path = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(travel.distance_mm)))))
    rolled = np.interp(ends, travel.t_s, path) - np.interp(starts, travel.t_s, path)
    longest = int(np.argmax(rolled))
    return starts[longest], ends[longest]


def unbroken(travel: Travel, wheelbase_mm: float) -> Travel:
    """That part of the run, its distance counted as in the whole; the same run where nothing breaks it."""
    if not breaks(travel, wheelbase_mm):
        return travel
    first, last = np.searchsorted(travel.t_s, unbroken_s(travel, wheelbase_mm))
    part = slice(int(first), int(last) + 1)
    arrays = ("t_s", "distance_mm", "distance_sd_mm", "speed_mm_s", "speed_sd_mm_s", "state", "chainage_mm")
    imu = travel.imu
    if imu is not None:
        acc = None if imu.acc_mm_s2 is None else imu.acc_mm_s2[part]
        imu = dataclasses.replace(imu, gyro_rad_s=imu.gyro_rad_s[part], acc_mm_s2=acc)
    return dataclasses.replace(travel, imu=imu, **{name: getattr(travel, name)[part] for name in arrays})
