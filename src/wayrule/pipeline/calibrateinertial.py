"""The inertial sensor of a wagon from whatever recordings there are: gyro, level, accelerometer."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Accelerometer, Calibration, CalibrationPart, GyroBias, Rest, Seat, Shown, Wagon
from wayrule.model.arrays import Array
from wayrule.model.calibrationday import Standing
from wayrule.pipeline.attempts import Attempts
from wayrule.pipeline.looks import Look
from wayrule.run.apart import mounting
from wayrule.run.attitude import find_attitude
from wayrule.run.curves import LEAST_TURNED_RAD, curves
from wayrule.run.driving import driven
from wayrule.run.gyrobias import bias_at_rest, bias_text
from wayrule.run.level import level_and_turned
from wayrule.run.positions import next_position, positions, shown_by_positions
from wayrule.run.rests import rest
from wayrule.run.seat import gyro_columns, seat, tilts
from wayrule.run.turns import table_turns

AS_MOUNTED: Final = "forward taken as mounted; any run along the track would show it"
LEVEL: Final = "level and mounting"
ON_WHEELS: Final = frozenset({"level", "turned", "rest"})

DO_LAPS: Final = (
    "Pull the wagon round a closed line five times, ending where it began, with ten seconds of standstill before and "
    "after: RUN@laps=5; or turn it on a turntable ten whole turns: RUN@table=10."
)
DO_LEVEL: Final = (
    "Let the wagon stand on the track for ten seconds (RUN@level), then turned end for end with its wheels on the same "
    "places (RUN@turned)."
)
DO_POSITIONS: Final = (
    "Lay the wagon on six or more different sides, ten seconds each (RUN@position); next so that {how}."
)

SCALE_KNOWN: Final = 1.5e-3
LEVEL_KNOWN_MM_S2: Final = 25.0
"""From these sds on a survey has nothing more to gain from the step: 0.15 % of turning, 2.5 per mille of gradient."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundInertial:
    """What rests, turns and curves have told.

    gyro, level, tilted   what laps, curves and tables; pairs on the track and driving; rest positions have told
    bias       of the gyro at rest
    seat       which way its axes point; None where nothing shows it
    shown      the news for the wagon's constants
    rotation   (3, 3) sensor axes to body axes, as today's runs show it; None where none shows it
    biases_rad_s   (3,) each, in body axes, of each recording that stood still
    """

    gyro: Attempts
    level: Attempts
    tilted: Attempts
    lain: tuple[Rest, ...]
    rotation: Array | None
    biases_rad_s: tuple[Array, ...]
    accelerometer: Accelerometer | None
    bias: GyroBias | None
    seat: Seat | None

    @property
    def shown(self) -> tuple[Shown, ...]:
        """The news for the wagon's constants."""
        return (*self.gyro.shown, *self.level.shown, *self.tilted.shown)

    def parts(self, after: Calibration) -> tuple[CalibrationPart, ...]:
        """Where gyro, level and accelerometer stand, by the constants after the day."""
        return (
            _standing("gyro", self.gyro, after, ("gyro_scale_z",), SCALE_KNOWN, DO_LAPS),
            self._mounting(after),
            _accelerometer_part(self.tilted, self.accelerometer, self.lain, earlier=False),
        )

    def _mounting(self, after: Calibration) -> CalibrationPart:
        """Level and mounting, tilt and offset apart where they are told apart."""
        part = _standing(LEVEL, self.level, after, ("level_x", "level_y"), LEVEL_KNOWN_MM_S2, DO_LEVEL)
        told = part.told
        if part.standing != "not yet known" and after.rotation is not None:
            told = (*told, mounting(after, self.accelerometer).text)
        if self.seat is not None:
            told = (*told, self.seat.text)
        return replace(part, told=told)


def find_inertial(looks: Sequence[Look], wagon: Wagon, calibration: Calibration | None) -> FoundInertial:
    """All that today's recordings tell of the inertial sensor."""
    seen = _seat(looks)
    rotation = seen if seen is not None else calibration.rotation if calibration else None
    how = "as the runs show it" if seen is not None else "as the calibration has it" if rotation is not None else ""
    if rotation is None:
        rotation, how = _levelled(looks), AS_MOUNTED
    gyro = _gyro(looks, wagon, rotation)
    level = _level(looks, wagon, rotation, how)
    lain = [one for look in looks if look.purpose.kind == "position" for one in look.rests]
    accelerometer, tilted = _accelerometer(lain, rotation)
    sits = _axes(looks, rotation, tilted, forward=how != AS_MOUNTED)
    bias = _bias(looks, gyro)
    biases = tuple(_biases(looks, rotation))
    return FoundInertial(gyro, level, tilted, tuple(lain), seen, biases, accelerometer, bias, sits)


def _seat(looks: Sequence[Look]) -> Array | None:
    """How the sensor sits, by the first run that shows it."""
    for one in looks:
        if one.travel is not None and one.travel.imu is not None and one.travel.imu.acc_mm_s2 is not None:
            return one.travel.imu.rotation
    return None


def _levelled(looks: Sequence[Look]) -> Array:
    """Up from a rest on the wheels, forward as mounted; no rotation where there is no such rest."""
    for look in sorted(looks, key=lambda one: one.purpose.kind not in ON_WHEELS):
        recording = look.recording
        if look.purpose.kind in ON_WHEELS and recording.acc_mm_s2 is not None:
            still = np.zeros(recording.n)
            found = find_attitude(
                recording.t_s, still, recording.gyro_rad_s, recording.acc_mm_s2,
                can_flip=False, direction_known=True, as_mounted=True, run=recording.name,
            )  # fmt: skip
            return found.rotation
    return np.eye(3)


def _gyro(looks: Sequence[Look], wagon: Wagon, rotation: Array) -> Attempts:
    """Scale and cross-axis from laps, curves and turntables."""
    out = Attempts()
    for one in looks:
        found = _turned(one, wagon, rotation, out)
        if found is not None:
            out.news(found)
    return out


def _turned(one: Look, wagon: Wagon, rotation: Array, out: Attempts) -> Shown | None:
    """What one recording's turning shows; None where it does not turn, or refuses."""
    if one.purpose.kind == "table":
        turned = out.run(lambda: table_turns(one.recording, rotation, turns=one.purpose.turns or None))
        return turned.shown if turned else None
    run, closed = one.travel, one.purpose.kind == "laps"
    if run is None or run.imu is None or not (closed or _turns_enough(one)):
        return None
    found = out.run(lambda: curves(run, wagon, closed=closed, sha256=one.recording.sha256))
    return found.shown if found else None


def _turns_enough(one: Look) -> bool:
    """Whether an open run turns to one side by enough to be asked."""
    assert one.travel is not None
    imu = one.travel.imu
    if imu is None or not np.isfinite(imu.gyro_bias_rad_s[2]):
        return False
    total = np.trapezoid(np.nan_to_num(imu.gyro_rad_s[:, 2] - imu.gyro_bias_rad_s[2]), one.travel.t_s)
    return abs(float(total)) > LEAST_TURNED_RAD


def _level(looks: Sequence[Look], wagon: Wagon, rotation: Array, how: str) -> Attempts:
    """Level error from pairs of rests on the track, in the order given; yaw of the mounting and lag from driving."""
    out = Attempts()
    by_driving = [news for news in (_driven(one, wagon) for one in looks) if news is not None]
    out.shown += by_driving
    if by_driving:
        count = len(by_driving)
        out.told.append(f"Driving of {count} run{'s' if count > 1 else ''} shows how it is turned about the upright.")
        out.told += [news.text for news in by_driving if "lag_s" in news.names]
    stood = {kind: [one for one in looks if one.purpose.kind == kind] for kind in ("level", "turned")}
    for first, second in zip(stood["level"], stood["turned"], strict=False):
        pair = _pair(first, second, rotation, out)
        if pair is not None:
            out.news(pair)
    lone = len(stood["level"]) - len(stood["turned"])
    if lone:
        kind, other = ("level", "turned") if lone > 0 else ("turned", "level")
        names = ", ".join(one.name for one in stood[kind][-abs(lone) :])
        out.refused.append(
            f"{names}: expected a rest of the same place with the wagon the other way round, came none; give it as "
            f"RUN@{other}: one rest alone cannot tell the track's slope from the wagon's own level error"
        )
    if out.shown:
        out.told.append(f"Sensor axes to wagon axes {how}.")
    return out


def _driven(one: Look, wagon: Wagon) -> Shown | None:
    """What a run's speeding up and slowing down shows; most runs are not made for it, and need not tell anything."""
    run = one.travel
    if run is None or run.imu is None:
        return None
    try:
        return driven(run, wagon, sha256=one.recording.sha256).shown
    except UndeterminedError:
        return None


def _pair(first: Look, second: Look, rotation: Array, out: Attempts) -> Shown | None:
    found = out.run(lambda: level_and_turned(rest(first.recording), rest(second.recording), rotation))
    return found.shown if found else None


def _accelerometer(lain: Sequence[Rest], rotation: Array) -> tuple[Accelerometer | None, Attempts]:
    """Bias and scale from rest positions."""
    out = Attempts()
    if not lain:
        return None, out
    found = out.run(lambda: positions(lain))
    if found is not None:
        out.news(shown_by_positions(found, rotation))
    return found, out


def _axes(looks: Sequence[Look], rotation: Array, out: Attempts, *, forward: bool) -> Seat | None:
    """Which way the sensor's axes point, and whether its gyro's are the same."""
    if not any(one.recording.acc_mm_s2 is not None for one in looks):
        return None
    tilted = next((one.recording for one in looks if one.purpose.kind == "position" and tilts(one.recording)), None)
    columns = out.run(partial(gyro_columns, tilted)) if tilted is not None else None
    stood = forward or any(one.purpose.kind in ON_WHEELS for one in looks)
    return seat(rotation, columns, up_known=stood, forward_known=forward)


def _bias(looks: Sequence[Look], out: Attempts) -> GyroBias | None:
    """The gyro's bias from all rests of the day."""
    lain = [rest for one in looks for rest in one.rests if np.isfinite(rest.rate_rad_s).all()]
    found = bias_at_rest(lain) if lain else None
    if found is not None:
        out.told.append(bias_text(found))
    return found


def _biases(looks: Sequence[Look], rotation: Array) -> Iterator[Array]:
    """(3,) gyro bias in body axes of each recording that stood still."""
    for one in looks:
        if one.travel is not None and one.travel.imu is not None:
            bias = one.travel.imu.gyro_bias_rad_s
        elif one.rests:
            bias = rotation @ np.mean([lain.rate_rad_s for lain in one.rests], axis=0)
        else:
            continue
        if np.isfinite(bias).all():
            yield bias


def _standing(
    name: str, found: Attempts, after: Calibration, constants: tuple[str, ...], enough: float, todo: str
) -> CalibrationPart:
    """How far a part is known after the day: by its own step, or by what other steps and days have told of it."""
    worst = max(constants, key=lambda one: after.one(one)[1])
    known = after.one(worst)[1] < enough
    told = list(found.told)
    if known and not any(set(constants) & set(one.names) for one in found.shown):
        told.append("Known well enough from other steps, or from the calibration that was given.")
    spoke = any(set(constants) & set(one.names) for one in found.shown)
    standing: Standing = "known" if known else "partly known" if spoke else "not yet known"
    return CalibrationPart(name, standing, tuple(told), tuple(found.refused), "" if known else todo)


def _accelerometer_part(
    found: Attempts, accelerometer: Accelerometer | None, lain: Sequence[Rest], *, earlier: bool
) -> CalibrationPart:
    how = next_position(lain) if lain else "another side points up"
    if accelerometer is not None or earlier:
        told = found.told or ["Known from the calibration that was given."]
        return CalibrationPart("accelerometer", "known", tuple(told), tuple(found.refused))
    standing: Standing = "partly known" if lain else "not yet known"
    return CalibrationPart("accelerometer", standing, (), tuple(found.refused), DO_POSITIONS.format(how=how))
