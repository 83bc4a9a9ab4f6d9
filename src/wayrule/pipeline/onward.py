"""The stages of `travel` carried on: what a run has taught so far, and the newest samples read by it.

A wagon that still rolls and one whose run is over go through the same functions; only what is learnt from the whole of
a run (its ring, the sensor's seat, the bias) is here learnt from the run so far, or known from a calibration.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model import BodyImu, Calibration, Health, Recording, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.pipeline import Scale, movement, travelled
from wayrule.run.bias import gyro_bias
from wayrule.run.chainage import rolled
from wayrule.run.fieldreading import FieldReading, KnownReading
from wayrule.run.rolled import Rolled
from wayrule.run.speed import newest_sd


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """What is known of a run so far.

    reading    how its field is read; None: not yet, or another input
    rotation   (3, 3) from sensor axes to body axes
    flip       the wheel's forward is turned round
    bias_rad_s, bias_sd_rad_s   (3,) of the gyro in body axes; NaN without a standstill so far
    travel     the whole of it so far; None before it was looked at as a whole
    """

    reading: FieldReading | None
    rotation: Array
    flip: bool
    bias_rad_s: Array
    bias_sd_rad_s: Array
    travel: Travel | None = None

    @property
    def health(self) -> Health | None:
        """Its card so far."""
        return self.travel.health if self.travel else None


def beforehand(calibration: Calibration | None) -> Learnt:
    """What is known before the first sample."""
    unknown = np.full(3, np.nan)
    if calibration is None:
        return Learnt(None, np.eye(3), False, unknown, unknown)
    reading = KnownReading(calibration.axle) if calibration.axle and calibration.axle.forward_source else None
    rotation = np.eye(3) if calibration.rotation is None else calibration.rotation
    return Learnt(reading, rotation, False, unknown, unknown)


def calibrated_scale(calibration: Calibration | None) -> Scale | None:
    """The scale of the distance as a calibration knows it."""
    if calibration is None:
        return None
    value, sd = calibration.one("wheel_scale")
    return Scale(1.0 + value, sd, f"calibration of {calibration.wagon_name}")


def learn(recording: Recording, wagon: Wagon, *, scale: Scale | None, calibration: Calibration | None) -> Learnt:
    """What a run teaches, looked at as a whole as far as it goes: the offline pipeline itself.

    Raises
    ------
    UndeterminedError   as `travel`: among others, an axle that has not been through a turn
    """
    place, noise = wagon.sensor.place_mm, wagon.sensor.noise_mt
    wheel = rolled(recording, wagon.wheel, scale=scale, place_mm=place, noise_mt=noise)
    found = travelled(recording, wagon, wheel, axle=calibration.axle if calibration else None)
    flip = bool(found.distance_mm @ wheel.distance_mm < 0)
    imu, unknown = found.imu, np.full(3, np.nan)
    if imu is None:
        return Learnt(wheel.reading, np.eye(3), flip, unknown, unknown, found)
    return Learnt(wheel.reading, imu.rotation, flip, imu.gyro_bias_rad_s, imu.gyro_bias_sd_rad_s, found)


def onward(window: Recording, wagon: Wagon, learnt: Learnt, *, scale: Scale | None) -> tuple[Travel, Rolled]:
    """The newest samples as movement: distance since the first of them, speed, state, readings in body axes; and how
    the wheel rolled.

    Parameters
    ----------
    window : Recording   a few seconds of samples, two at least
    learnt : Learnt      with a reading, where the wheel is sensed by a field

    Raises
    ------
    UndeterminedError   no wheel input, or a field that nothing is known of
    """
    place, noise = wagon.sensor.place_mm, wagon.sensor.noise_mt
    wheel = rolled(window, wagon.wheel, scale=scale, place_mm=place, noise_mt=noise, reading=learnt.reading)
    if learnt.flip:
        wheel = wheel.turned_round()
    v, v_sd, over_s, state = movement(window, wheel)
    v_sd[-1] = np.fmax(v_sd[-1], newest_sd(window.t_s, wheel.distance_mm, v, over_s))
    imu = None
    if window.gyro_rad_s is not None:
        gyro = window.gyro_rad_s @ learnt.rotation.T
        acc = None if window.acc_mm_s2 is None else window.acc_mm_s2 @ learnt.rotation.T
        bias, sd = learnt.bias_rad_s, learnt.bias_sd_rad_s
        if not np.isfinite(bias).all():
            bias, sd, _ = gyro_bias(window.t_s, gyro, state)
        imu = BodyImu(gyro, acc, learnt.rotation, bias, sd)
    went = Travel(
        run=window.name,
        t_s=window.t_s,
        distance_mm=wheel.distance_mm,
        distance_sd_mm=wheel.distance_sd_mm,
        speed_mm_s=v,
        speed_sd_mm_s=np.hypot(v_sd, wheel.scale_sd * v),
        state=state,
        chainage_mm=np.full(window.n, np.nan),
        scale_sd=wheel.scale_sd,
        scale_source=wheel.scale_source,
        imu=imu,
        marks=window.marks,
        problems=wheel.problems,
    )
    return went, wheel
