"""The four wheel inputs, each to the distance rolled: turning field, encoder ticks, speed, distance.

s   distance since the first sample [mm]      C   rolling circumference [mm]      turns   phi / 2 pi
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.maths.robust import white_noise_sd
from wayrule.model import Problem, Recording, Wheel
from wayrule.model.arrays import Array
from wayrule.run.angle import AxleAngle
from wayrule.run.rolled import Rolled, plain
from wayrule.run.unwrap import LONG_STEP

GAP_SPEED_SHARE = 0.1
"""In a gap of a speed input the mean speed is taken to be known to this share."""


def distance(phi_rad: Array, circumference_mm: float) -> Array:
    """Distance rolled by a round wheel.

    Parameters
    ----------
    phi_rad : (n,) array      axle angle, unwrapped, positive when rolling forward [rad]
    circumference_mm : float  effective rolling circumference [mm]

    Returns
    -------
    (n,) array   distance since the first sample [mm]; falls when the wheel turns back; NaN stays NaN

    Notes
    -----
    s = (phi - phi[0]) C / 2 pi. Exact for a wheel that neither slips nor changes size. An out-of-round wheel adds a
    ripple once per turn that does not add up.

    Examples
    --------
    >>> distance(np.array([0.0, 2 * np.pi, 20 * np.pi]), 33.0).tolist()  # one turn, ten turns
    [0.0, 33.0, 330.0]
    """
    return (phi_rad - phi_rad[:1]) * (circumference_mm / (2.0 * np.pi))


def circumference(wheel: Wheel, run: str) -> float:
    """Rolling circumference pi times diameter [mm]; UndeterminedError where the diameter is not given."""
    if wheel.diameter_mm is None:
        raise UndeterminedError(
            expected="the diameter of the sensed wheel",
            came="none",
            where=run,
            next_step="add diameter_mm under [wheel] of the wagon file",
        )
    return math.pi * wheel.diameter_mm


def from_angle(angle: AxleAngle, circumference_mm: float) -> Rolled:
    """From the axle angle."""
    mm_per_rad = circumference_mm / (2.0 * np.pi)
    limit = f"This rate follows the wheel up to {angle.limit_turns_s * circumference_mm:.0f} mm/s."
    return Rolled(
        distance_mm=distance(angle.phi_rad, circumference_mm),
        reading_sd_mm=angle.sd_rad * mm_per_rad,
        growth_sd_mm=angle.gap_sd_rad * mm_per_rad,
        white_sd_mm=angle.white_sd_rad * mm_per_rad,
        speed_noise_mm_s=0.0,
        quantum_mm=0.0,
        unsure=angle.unsure,
        turned=angle.turned,
        can_flip=True,
        direction_known=angle.direction_known,
        scale_sd=math.nan,
        scale_source="",
        problems=angle.problems,
        notes=(*angle.notes, limit),
        reading=angle.reading,
    )


def from_ticks(recording: Recording, ticks_count: Array, wheel: Wheel) -> Rolled:
    """From encoder ticks, (n,) with the counter's wrap undone; good to one tick."""
    if wheel.ticks_per_turn is None:
        raise UndeterminedError(
            expected="the encoder's ticks per turn of the axle",
            came="none",
            where=recording.name,
            next_step="add ticks_per_turn under [wheel] of the wagon file",
        )
    tick_mm = circumference(wheel, recording.name) / wheel.ticks_per_turn
    ticks, missing = _filled(recording.t_s, ticks_count, recording.name)
    found = plain((ticks - ticks[0]) * tick_mm, missing)
    noise = np.full(recording.n, tick_mm / math.sqrt(12.0))
    return replace(
        found,
        reading_sd_mm=noise,
        white_sd_mm=tick_mm / math.sqrt(12.0),
        quantum_mm=tick_mm,
        can_flip=True,
        problems=_missing_problem(recording, missing),
    )


def from_distance(recording: Recording, wheel_mm: Array) -> Rolled:
    """From a distance, (n,) [mm]; its noise and step are taken from the readings themselves."""
    s, missing = _filled(recording.t_s, wheel_mm, recording.name)
    noise = white_noise_sd(s)
    noise = 0.0 if math.isnan(noise) else noise
    steps = np.abs(np.diff(s))
    quantum = float(steps[steps > 0].min()) if noise == 0.0 and (steps > 0).any() and (steps == 0).mean() > 0.2 else 0.0
    white = max(noise, quantum / math.sqrt(12.0))
    found = plain(s - s[0], missing)
    return replace(
        found,
        reading_sd_mm=np.full(recording.n, white),
        white_sd_mm=white,
        quantum_mm=quantum,
        problems=_missing_problem(recording, missing),
    )


def from_speed(recording: Recording, wheel_mm_s: Array) -> Rolled:
    """From a speed, (n,) [mm/s]: trapezoids over the real stamps; its white noise and its gaps add up along the way."""
    v, missing = _filled(recording.t_s, wheel_mm_s, recording.name)
    dt = np.diff(recording.t_s)
    usual = float(np.median(dt))
    noise = white_noise_sd(v)
    noise = 0.0 if math.isnan(noise) else noise
    s = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * dt)])
    gap = (dt > 5.0 * LONG_STEP * usual) | (missing[1:] & missing[:-1])
    of_gap = np.where(gap, dt * np.hypot(np.abs(np.diff(v)) / np.sqrt(12.0), GAP_SPEED_SHARE * np.abs(v[1:])), 0.0)
    variance = np.concatenate([[0.0], np.cumsum((noise * dt) ** 2 + of_gap**2)])
    problems = _missing_problem(recording, missing)
    stamps = np.flatnonzero(dt > 5.0 * LONG_STEP * usual)
    if len(stamps):
        at = float(recording.t_s[stamps[0]])
        text = (
            f"{recording.name}: {len(stamps)} gaps in the wheel speed, longest {dt.max():.2f} s, first at {at:.2f} s; "
            "the mean of the speeds at both ends was taken across."
        )
        problems += (Problem("speed gaps", len(stamps), f"at {at:.2f} s", "interpolated", text),)
    found = plain(s, missing | np.concatenate([gap, [False]]) | np.concatenate([[False], gap]))
    return replace(found, growth_sd_mm=np.sqrt(variance), speed_noise_mm_s=noise, problems=problems)


def _filled(t_s: Array, values: Array, run: str) -> tuple[Array, NDArray[np.bool_]]:
    """Values with the missing ones interpolated in time, and where they were missing."""
    missing = ~np.isfinite(values)
    if missing.all():
        raise UndeterminedError(
            expected="readings of the wheel input",
            came="none that can be used",
            where=run,
            next_step="check the sensor",
        )
    return np.interp(t_s, t_s[~missing], values[~missing]), missing


def _missing_problem(recording: Recording, missing: NDArray[np.bool_]) -> tuple[Problem, ...]:
    count = int(missing.sum())
    if not count:
        return ()
    at = float(recording.t_s[np.argmax(missing)])
    text = f"{recording.name}: {count} wheel readings are missing, first at {at:.2f} s; interpolated in time."
    return (Problem("missing wheel readings", count, f"at {at:.2f} s", "interpolated", text),)
