"""What one run did: distance, speed and state against time, and the inertial readings in body axes."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen
from wayrule.model.health import Health
from wayrule.model.mishap import Mishap
from wayrule.model.recording import Mark, Problem


class State(IntEnum):
    """What the wagon was doing at a sample."""

    ROLLING = 0
    STANDING = 1
    UNSURE = 2


@dataclass(frozen=True, slots=True, eq=False)
class BodyImu:
    """Inertial readings turned into body axes (x forward, y left, z up) by a coarse rotation; biases still in.

    gyro_rad_s            (n, 3) rate [rad/s], NaN where missing
    acc_mm_s2             (n, 3) specific force [mm/s2], NaN where missing; None where there is no accelerometer
    rotation              (3, 3) sensor axes -> body axes, as found
    gyro_bias_rad_s       (3,) mean rate at standstill [rad/s]; NaN where the run has no standstill
    gyro_bias_sd_rad_s    (3,) its sd, wander between standstill and run included
    """

    gyro_rad_s: Array
    acc_mm_s2: Array | None
    rotation: Array
    gyro_bias_rad_s: Array
    gyro_bias_sd_rad_s: Array

    def __post_init__(self) -> None:
        frozen(self, "gyro_rad_s", (None, 3))
        if self.acc_mm_s2 is not None:
            frozen(self, "acc_mm_s2", (len(self.gyro_rad_s), 3))
        frozen(self, "rotation", (3, 3))
        frozen(self, "gyro_bias_rad_s", (3,))
        frozen(self, "gyro_bias_sd_rad_s", (3,))


@dataclass(frozen=True, slots=True, eq=False)
class Travel:
    """One run as movement of the wagon.

    t_s             (n,) time [s]
    distance_mm     (n,) rolled by the sensed axle since the first sample; grows towards the wagon's marked front
    distance_sd_mm  (n,) its sd since the first sample, scale included
    speed_mm_s      (n,) signed like the distance
    speed_sd_mm_s   (n,)
    state           (n,) of `State`
    chainage_mm     (n,) place along the line; NaN until a survey has placed the run
    scale_sd        relative sd of the distance's scale (caliper, tape or calibration)
    scale_source    where the scale comes from, in words ("caliper: 10.50 +- 0.04 mm")
    imu             inertial readings, or None for a log without them
    mishaps         what befell the run, in order of time
    notes           what was found out or assumed about the run, one sentence each
    decisions       (what, answer, why, how to overrule), each a choice that the data made
    health          how far its instrument can be trusted; None where nobody looked
    """

    run: str
    t_s: Array
    distance_mm: Array
    distance_sd_mm: Array
    speed_mm_s: Array
    speed_sd_mm_s: Array
    state: NDArray[np.int8]
    chainage_mm: Array
    scale_sd: float
    scale_source: str
    imu: BodyImu | None = None
    marks: tuple[Mark, ...] = ()
    problems: tuple[Problem, ...] = ()
    mishaps: tuple[Mishap, ...] = ()
    notes: tuple[str, ...] = ()
    decisions: tuple[tuple[str, str, str, str], ...] = ()
    health: Health | None = None

    def __post_init__(self) -> None:
        frozen(self, "t_s", (None,))
        n = len(self.t_s)
        for name in ("distance_mm", "distance_sd_mm", "speed_mm_s", "speed_sd_mm_s", "chainage_mm"):
            frozen(self, name, (n,))
        frozen(self, "state", (n,), dtype=np.int8)
        if self.imu is not None and len(self.imu.gyro_rad_s) != n:
            raise ValueError(f"Travel {self.run}: {n} times but {len(self.imu.gyro_rad_s)} inertial samples")

    @property
    def moving(self) -> bool:
        """Whether the run rolls anywhere at all."""
        return bool(np.any(self.state == State.ROLLING))
