"""The order of the work, readable as prose: from a recording to travel."""

import numpy as np
from numpy.typing import NDArray

from wayrule.model import BodyImu, Recording, Travel, Wagon
from wayrule.run.attitude import Attitude, find_attitude
from wayrule.run.bias import gyro_bias
from wayrule.run.chainage import rolled
from wayrule.run.rolled import Scale
from wayrule.run.speed import speed
from wayrule.run.state import states

__all__ = ["Scale", "travel"]


def travel(recording: Recording, wagon: Wagon, *, scale: Scale | None = None) -> Travel:
    """What one run did: distance, speed and state against time, and the inertial readings in body axes.

    Parameters
    ----------
    recording : Recording   as read; nothing in it is changed
    wagon : Wagon           its wheel, and where given its sensor
    scale : Scale           a better scale than the caliper's (tape, laps of known length, an earlier calibration)

    Returns
    -------
    Travel   its notes say what was found, what was assumed and what this log cannot give

    Raises
    ------
    UndeterminedError   no wheel input, no diameter, or a field that does not tell the angle
    """
    wheel = rolled(recording, wagon.wheel, scale=scale, place_mm=wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt)
    v, v_sd, window = speed(recording.t_s, wheel.distance_mm, wheel.white_sd_mm, wheel.speed_noise_mm_s)
    state = states(
        recording.t_s,
        wheel.distance_mm,
        v,
        v_sd,
        white_sd_mm=wheel.white_sd_mm,
        speed_noise_mm_s=wheel.speed_noise_mm_s,
        quantum_mm=wheel.quantum_mm,
        gyro_rad_s=recording.gyro_rad_s,
        unsure=wheel.unsure,
    )
    attitude = find_attitude(
        recording.t_s,
        v,
        recording.gyro_rad_s,
        recording.acc_mm_s2,
        can_flip=wheel.can_flip,
        direction_known=wheel.direction_known,
        run=recording.name,
    )
    if attitude.flip_wheel:
        wheel, v = wheel.turned_round(), -v
    imu, imu_notes = _body_imu(recording, attitude, state)
    return Travel(
        run=recording.name,
        t_s=recording.t_s,
        distance_mm=wheel.distance_mm,
        distance_sd_mm=wheel.distance_sd_mm,
        speed_mm_s=v,
        speed_sd_mm_s=np.hypot(v_sd, wheel.scale_sd * v),
        state=state,
        chainage_mm=np.full(recording.n, np.nan),
        scale_sd=wheel.scale_sd,
        scale_source=wheel.scale_source,
        imu=imu,
        marks=recording.marks,
        problems=recording.problems + wheel.problems,
        notes=(*wheel.notes, f"Speed over windows of {window:.2f} s.", *attitude.notes, *imu_notes),
    )


def _body_imu(
    recording: Recording, attitude: Attitude, state: NDArray[np.int8]
) -> tuple[BodyImu | None, tuple[str, ...]]:
    """Inertial readings in body axes, and what is missing for want of them."""
    if recording.gyro_rad_s is None:
        return None, ("No gyro: distance and speed only, no plan map, no height.",)
    gyro = recording.gyro_rad_s @ attitude.rotation.T
    bias, sd, note = gyro_bias(recording.t_s, gyro, state)
    notes = [note]
    acc = recording.acc_mm_s2
    if acc is None:
        notes.append("No accelerometer: no absolute gradient and cant, height only as far as the gyro tells.")
    return BodyImu(gyro, None if acc is None else acc @ attitude.rotation.T, attitude.rotation, bias, sd), tuple(notes)
