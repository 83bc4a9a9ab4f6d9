"""From any wheel input to the distance rolled, with its sigma.

s   distance since the first sample [mm]      C   rolling circumference [mm]      turns   phi / 2 pi
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.maths.robust import white_noise_sd
from wayrule.model import Problem, Recording, Wheel
from wayrule.model.arrays import Array
from wayrule.run.angle import AxleAngle, axle_angle
from wayrule.run.state import stands_throughout
from wayrule.run.unwrap import LONG_STEP

DEFAULT_DIAMETER_SD = 0.004
"""Relative sd of a wheel diameter of unknown quality: a caliper's 0.04 mm on 10 mm; common practice, no source."""
DEFAULT_SCALE_SD = 0.01
"""Relative sd of a foreign speed or distance of unknown quality; on two open vehicle logs it was 0.8 % and 2.6 %."""
SLIP_MM_PER_ROOT_M = 0.2
"""Allowance for slip and play, which add up like a random walk along the way; common practice, no source."""
GAP_SPEED_SHARE = 0.1
"""In a gap of a speed input the mean speed is taken to be known to this share."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A correction of the distance's scale that is better than the wheel's caliper.

    factor   true distance over distance by the wagon file
    sd       its relative sd
    source   where it comes from, in words ("tape: 4 laps of 8960 +- 5 mm")
    """

    factor: float
    sd: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class Rolled:
    """Distance rolled by the sensed axle, before speed and state are known.

    distance_mm     (n,) since the first sample, growing towards the wagon's front [mm]
    reading_sd_mm   (n,) sd of one reading, without what adds up along the way [mm]
    growth_sd_mm    (n,) sd of what adds up: slip and play, integrated noise, gaps; without the scale [mm]
    white_sd_mm     part of the reading's sd that differs from sample to sample [mm]
    speed_noise_mm_s  white noise of a speed input [mm/s], else 0
    quantum_mm      step of a counter [mm], else 0
    unsure          (n,) True where the distance may be wrong by whole turns, or rests on a gap
    turned          False where the input shows no motion at all
    can_flip        True where the sign rests on how sensor or encoder are mounted, not on a person's word
    direction_known False where not even the nominal mounting says which way is forward
    scale_sd        relative sd of the scale
    """

    distance_mm: Array
    reading_sd_mm: Array
    growth_sd_mm: Array
    white_sd_mm: float
    speed_noise_mm_s: float
    quantum_mm: float
    unsure: NDArray[np.bool_]
    turned: bool
    can_flip: bool
    direction_known: bool
    scale_sd: float
    scale_source: str
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]

    @property
    def distance_sd_mm(self) -> Array:
        """Sd of the distance since the first sample (n,): scale, reading at both ends, and what adds up [mm]."""
        sd = np.sqrt(
            (self.scale_sd * self.distance_mm) ** 2
            + self.reading_sd_mm**2
            + self.reading_sd_mm[:1] ** 2
            + self.growth_sd_mm**2
        )
        sd[:1] = 0.0
        return sd

    def turned_round(self) -> "Rolled":
        """The same with the direction of forward reversed."""
        return replace(self, distance_mm=-self.distance_mm)


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


def rolled(
    recording: Recording,
    wheel: Wheel,
    *,
    scale: Scale | None = None,
    place_mm: tuple[float, float, float] | None = None,
    noise_mt: float | None = None,
) -> Rolled:
    """Distance rolled, from whichever wheel input the recording has.

    Parameters
    ----------
    recording : Recording   with one of field, ticks, speed or distance
    wheel : Wheel           diameter and ticks per turn as the input needs them
    scale : Scale           a better scale than the wagon file's, where there is one
    place_mm, noise_mt      of the field sensor

    Raises
    ------
    UndeterminedError   no wheel input; a diameter or the ticks per turn missing; a field that tells no angle
    """
    if recording.n < 2:
        raise UndeterminedError(
            expected="at least two samples",
            came=str(recording.n),
            where=recording.name,
            next_step="record a longer run",
        )
    if recording.field_mt is not None:
        angle = axle_angle(recording.t_s, recording.field_mt, place_mm=place_mm, noise_mt=noise_mt, run=recording.name)
        found = _from_angle(angle, _circumference(wheel, recording.name))
    elif recording.ticks_count is not None:
        found = _from_ticks(recording, recording.ticks_count, wheel)
    elif recording.wheel_mm_s is not None:
        found = _from_speed(recording, recording.wheel_mm_s)
    elif recording.wheel_mm is not None:
        found = _from_distance(recording, recording.wheel_mm)
    elif recording.gyro_rad_s is not None and stands_throughout(
        recording.t_s, recording.gyro_rad_s, recording.acc_mm_s2
    ):
        note = "No wheel input, but the inertial readings are steady throughout: taken as standing."
        found = replace(_plain(np.zeros(recording.n), np.zeros(recording.n, dtype=bool)), notes=(note,))
    else:
        raise UndeterminedError(
            expected="a wheel input (field, ticks, speed or distance)",
            came="none",
            where=recording.name,
            next_step="record the wheel sensor, or name its columns in the [columns] table",
        )
    return _scaled(
        _with_slip(found, recording.rate_hz),
        wheel,
        scale,
        by_diameter=recording.wheel_mm_s is None and recording.wheel_mm is None,
    )


def _circumference(wheel: Wheel, run: str) -> float:
    if wheel.diameter_mm is None:
        raise UndeterminedError(
            expected="the diameter of the sensed wheel",
            came="none",
            where=run,
            next_step="add diameter_mm under [wheel] of the wagon file",
        )
    return math.pi * wheel.diameter_mm


def _from_angle(angle: AxleAngle, circumference_mm: float) -> Rolled:
    mm_per_rad = circumference_mm / (2.0 * np.pi)
    quality = angle.quality
    notes = angle.notes
    if quality is not None:
        notes += (f"This rate follows the wheel up to {quality.limit_turns_s * circumference_mm:.0f} mm/s.",)
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
        notes=notes,
    )


def _from_ticks(recording: Recording, ticks_count: Array, wheel: Wheel) -> Rolled:
    if wheel.ticks_per_turn is None:
        raise UndeterminedError(
            expected="the encoder's ticks per turn of the axle",
            came="none",
            where=recording.name,
            next_step="add ticks_per_turn under [wheel] of the wagon file",
        )
    tick_mm = _circumference(wheel, recording.name) / wheel.ticks_per_turn
    ticks, missing = _filled(recording.t_s, ticks_count, recording.name)
    found = _plain((ticks - ticks[0]) * tick_mm, missing)
    noise = np.full(recording.n, tick_mm / math.sqrt(12.0))
    return replace(
        found,
        reading_sd_mm=noise,
        white_sd_mm=tick_mm / math.sqrt(12.0),
        quantum_mm=tick_mm,
        can_flip=True,
        problems=_missing_problem(recording, missing),
    )


def _from_distance(recording: Recording, wheel_mm: Array) -> Rolled:
    s, missing = _filled(recording.t_s, wheel_mm, recording.name)
    noise = white_noise_sd(s)
    noise = 0.0 if math.isnan(noise) else noise
    steps = np.abs(np.diff(s))
    quantum = float(steps[steps > 0].min()) if noise == 0.0 and (steps > 0).any() and (steps == 0).mean() > 0.2 else 0.0
    white = max(noise, quantum / math.sqrt(12.0))
    found = _plain(s - s[0], missing)
    return replace(
        found,
        reading_sd_mm=np.full(recording.n, white),
        white_sd_mm=white,
        quantum_mm=quantum,
        problems=_missing_problem(recording, missing),
    )


def _from_speed(recording: Recording, wheel_mm_s: Array) -> Rolled:
    """Trapezoids over the real stamps; the speed's white noise and its gaps add up along the way."""
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
    found = _plain(s, missing | np.concatenate([gap, [False]]) | np.concatenate([[False], gap]))
    return replace(found, growth_sd_mm=np.sqrt(variance), speed_noise_mm_s=noise, problems=problems)


def _plain(s_mm: Array, unsure: NDArray[np.bool_]) -> Rolled:
    """A distance without noise of its own."""
    n = len(s_mm)
    return Rolled(
        distance_mm=s_mm,
        reading_sd_mm=np.zeros(n),
        growth_sd_mm=np.zeros(n),
        white_sd_mm=0.0,
        speed_noise_mm_s=0.0,
        quantum_mm=0.0,
        unsure=unsure,
        turned=bool(np.ptp(s_mm) > 0.0),
        can_flip=False,
        direction_known=True,
        scale_sd=math.nan,
        scale_source="",
        problems=(),
        notes=() if np.ptp(s_mm) > 0.0 else ("The wheel input never changes: the wagon stood throughout.",),
    )


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


def _with_slip(found: Rolled, rate_hz: float) -> Rolled:
    """Add the allowance for slip and play, a random walk over the way travelled back and forth.

    The way is counted between readings half a second apart, and only beyond their noise, or noise at standstill would
    pass for travel.
    """
    n = len(found.distance_mm)
    at = np.unique(np.append(np.arange(0, n, max(1, round(0.5 * rate_hz))), n - 1))
    step = np.abs(np.diff(found.distance_mm[at]))
    noise = np.median(found.reading_sd_mm) * np.sqrt(2.0)
    counted = np.where(step > 4.0 * noise, step, 0.0)
    way_mm = np.interp(np.arange(n), at, np.concatenate([[0.0], np.cumsum(counted)]))
    slip = SLIP_MM_PER_ROOT_M * np.sqrt(way_mm / 1000.0)
    return replace(found, growth_sd_mm=np.hypot(found.growth_sd_mm, slip))


def _scaled(found: Rolled, wheel: Wheel, scale: Scale | None, *, by_diameter: bool) -> Rolled:
    """Put in the scale, its relative sd and its source; a stated default where nothing says how good it is."""
    note: tuple[str, ...] = ()
    factor = 1.0
    if scale is not None:
        factor, sd, source = scale.factor, scale.sd, scale.source
    elif by_diameter and wheel.diameter_mm is not None and wheel.diameter_sd_mm is not None:
        sd = wheel.diameter_sd_mm / wheel.diameter_mm
        source = f"caliper: {wheel.diameter_mm:.2f} +- {wheel.diameter_sd_mm:.2f} mm"
    elif wheel.scale_sd is not None:
        sd, source = wheel.scale_sd, f"wagon file: scale_sd {wheel.scale_sd:.2%}"
    else:
        sd = DEFAULT_DIAMETER_SD if by_diameter else DEFAULT_SCALE_SD
        key = "diameter_sd_mm" if by_diameter else "scale_sd"
        source = f"assumed: +-{sd:.1%}"
        note = (f"How well the wheel's scale is known is not given ({key} under [wheel]); +-{sd:.1%} was assumed.",)
    return replace(
        found,
        distance_mm=found.distance_mm * factor,
        reading_sd_mm=found.reading_sd_mm * factor,
        growth_sd_mm=found.growth_sd_mm * factor,
        white_sd_mm=found.white_sd_mm * factor,
        speed_noise_mm_s=found.speed_noise_mm_s * factor,
        quantum_mm=found.quantum_mm * factor,
        scale_sd=sd,
        scale_source=source,
        notes=found.notes + note,
    )
