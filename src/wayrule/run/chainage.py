"""From any wheel input to the distance rolled, with scale, slip and noise in its sigma."""

from dataclasses import replace

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Recording, Wheel
from wayrule.run.angle import angle_by, axle_angle
from wayrule.run.fieldreading import FieldReading
from wayrule.run.inputs import circumference, from_angle, from_distance, from_speed, from_ticks
from wayrule.run.rolled import Rolled, Scale, plain
from wayrule.run.state import stands_throughout

DEFAULT_DIAMETER_SD = 0.004
"""Relative sd of a wheel diameter of unknown quality: a caliper's 0.04 mm on 10 mm; common practice, no source."""
DEFAULT_SCALE_SD = 0.01
"""Relative sd of a foreign speed or distance of unknown quality; on two open vehicle logs it was 0.8 % and 2.6 %."""
SLIP_MM_PER_ROOT_M = 0.2
"""Allowance for slip and play, which add up like a random walk along the way; common practice, no source."""


def rolled(
    recording: Recording,
    wheel: Wheel,
    *,
    scale: Scale | None = None,
    place_mm: tuple[float, float, float] | None = None,
    noise_mt: float | None = None,
    reading: FieldReading | None = None,
) -> Rolled:
    """Distance rolled, from whichever wheel input the recording has.

    Parameters
    ----------
    recording : Recording   with one of field, ticks, speed or distance
    wheel : Wheel           diameter and ticks per turn as the input needs them
    scale : Scale           a better scale than the wagon file's, where there is one
    place_mm, noise_mt      of the field sensor
    reading : FieldReading  how the field is read, where that is known already; else the recording's own teaches it

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
        t_s, field, name = recording.t_s, recording.field_mt, recording.name
        if reading is None:
            angle = axle_angle(t_s, field, place_mm=place_mm, noise_mt=noise_mt, run=name)
        else:
            angle = angle_by(reading, t_s, field, run=name)
        found = from_angle(angle, circumference(wheel, recording.name))
    elif recording.ticks_count is not None:
        found = from_ticks(recording, recording.ticks_count, wheel)
    elif recording.wheel_mm_s is not None:
        found = from_speed(recording, recording.wheel_mm_s)
    elif recording.wheel_mm is not None:
        found = from_distance(recording, recording.wheel_mm)
    elif recording.gyro_rad_s is not None and stands_throughout(
        recording.t_s, recording.gyro_rad_s, recording.acc_mm_s2
    ):
        note = "No wheel input, but the inertial readings are steady throughout: taken as standing."
        found = replace(plain(np.zeros(recording.n), np.zeros(recording.n, dtype=bool)), notes=(note,))
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
    factor = 1.0
    if scale is not None:
        factor, sd, source, note = scale.factor, scale.sd, scale.source, ""
    else:
        sd, source, note = caliper(wheel, by_diameter=by_diameter)
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
        notes=found.notes + ((note,) if note else ()),
    )


def caliper(wheel: Wheel, *, by_diameter: bool) -> tuple[float, str, str]:
    """Relative sd of the wheel's scale by the wagon file alone, where it comes from, and a note where it was assumed.

    >>> sd, source, _ = caliper(Wheel(10.5, 0.042), by_diameter=True)
    >>> round(sd, 6), source
    (0.004, 'caliper: 10.50 +- 0.04 mm')
    """
    if by_diameter and wheel.diameter_mm is not None and wheel.diameter_sd_mm is not None:
        sd = wheel.diameter_sd_mm / wheel.diameter_mm
        return sd, f"caliper: {wheel.diameter_mm:.2f} +- {wheel.diameter_sd_mm:.2f} mm", ""
    if wheel.scale_sd is not None:
        return wheel.scale_sd, f"wagon file: scale_sd {wheel.scale_sd:.2%}", ""
    sd = DEFAULT_DIAMETER_SD if by_diameter else DEFAULT_SCALE_SD
    key = "diameter_sd_mm" if by_diameter else "scale_sd"
    note = f"How well the wheel's scale is known is not given ({key} under [wheel]); +-{sd:.1%} was assumed."
    return sd, f"assumed: +-{sd:.1%}", note
