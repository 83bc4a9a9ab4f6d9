"""The last minute of a wagon as movement, carried on batch by batch."""

from collections import deque
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.model import BodyImu, Travel
from wayrule.model.arrays import Array

KEPT: Final = 12_000
"""Samples: a minute at 200 Hz."""

Part = tuple[Array, ...]
"""Time, distance, speed, its sd, state, rates, forces (or none): rows of one batch."""


class Past:
    """Movement whose distance goes on from the run's first sample."""

    def __init__(self) -> None:
        self._parts: deque[Part] = deque()
        self._rows = 0

    def add(self, travel: Travel, distance_mm: Array, rows: slice) -> None:
        """Rows of a travel that will not change any more, with their distance since the run's first sample."""
        part = _part(travel, distance_mm, rows)
        if not len(part[0]):
            return
        self._parts.append(part)
        self._rows += len(part[0])
        while self._rows - len(self._parts[0][0]) >= KEPT:
            self._rows -= len(self._parts.popleft()[0])

    def with_window(self, travel: Travel, distance_mm: Array, rows: slice, last_s: float) -> Travel:
        """The last seconds: what is kept, and the rows of the window that may still change."""
        newest = _part(travel, distance_mm, rows)
        begin = newest[0][-1] - last_s
        chosen = [newest]
        for part in reversed(self._parts):
            if chosen[-1][0][0] <= begin:
                break
            chosen.append(part)
        chosen.reverse()
        assert all(a[0][-1] < b[0][0] for a, b in pairwise(chosen)), "rows in order of time"
        t, s, v, v_sd, state, gyro, acc = (np.concatenate(columns) for columns in zip(*chosen, strict=True))
        imu = travel.imu and BodyImu(
            gyro,
            acc if travel.imu.acc_mm_s2 is not None else None,
            travel.imu.rotation,
            travel.imu.gyro_bias_rad_s,
            travel.imu.gyro_bias_sd_rad_s,
        )
        zero = np.zeros(len(t))
        return Travel(
            travel.run, t, s, zero, v, v_sd, state.astype(np.int8), zero, travel.scale_sd, travel.scale_source, imu
        )


def _part(travel: Travel, distance_mm: Array, rows: slice) -> Part:
    none = np.zeros((len(travel.t_s), 3))
    imu = travel.imu
    gyro = none if imu is None else imu.gyro_rad_s
    acc = none if imu is None or imu.acc_mm_s2 is None else imu.acc_mm_s2
    columns = (
        travel.t_s,
        distance_mm,
        travel.speed_mm_s,
        travel.speed_sd_mm_s,
        travel.state.astype(np.float64),
        gyro,
        acc,
    )
    return tuple(column[rows] for column in columns)
