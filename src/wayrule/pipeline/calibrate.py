"""The order of calibrating: what each recording is, what its step shows, and the wagon as it is known afterwards."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Calibration, CalibrationDay, CalibrationPart, Health, Inertial, Recording, Shown, Wagon
from wayrule.model.calibrationday import Standing
from wayrule.model.purpose import Purpose
from wayrule.pipeline.calibrateaxle import FoundAxle, find_axle
from wayrule.pipeline.calibratedistance import find_distance
from wayrule.pipeline.calibrateinertial import FoundInertial, find_inertial
from wayrule.pipeline.calibratenoise import FoundNoise, find_noise
from wayrule.pipeline.looks import Look, look
from wayrule.run.chainage import caliper
from wayrule.track.agreement import Contradiction, agreed
from wayrule.track.calibrated import before_the_day, calibrated
from wayrule.track.fitting import check_new, check_seat, for_wagon

BY_THE_WAY = "driving"
"""A step that any run is asked for, though none was made for it: where it contradicts, nothing need be repeated."""


def calibrate(
    recordings: Sequence[tuple[Recording, Purpose]],
    wagon: Wagon,
    calibration: Calibration | None = None,
    *,
    made: str = "",
    tell: Callable[[str], None] = lambda _: None,
) -> CalibrationDay:
    """A wagon's calibration from recordings of one day.

    Parameters
    ----------
    recordings : (recording, what it was made for), any of them, in any order
    wagon : Wagon
    calibration : of this wagon from before, or None
    made : when, UTC, as 2026-08-01T14:05:00Z
    tell : called with a few words as each stage begins

    Returns
    -------
    CalibrationDay   with the calibration as it is now; what could not be told says why and what to do next

    Raises
    ------
    UsageError          no recording, two of one name or of one content, or a calibration of another wagon, or one that
                        rests on these recordings already
    UndeterminedError   where none of them tells anything
    """
    _check_names(recordings)
    runs = tuple((r.name, r.sha256) for r, _ in recordings)
    if calibration is not None:
        check_new(calibration, runs)
        calibration = for_wagon(calibration, wagon)
    tell("what each recording is")
    known = calibration.axle if calibration is not None else None
    looks = tuple(look(recording, purpose, wagon, known) for recording, purpose in recordings)
    if calibration is not None:
        check_seat(calibration, [one.travel for one in looks if one.travel is not None])
    tell("axle")
    axle = find_axle(looks, wagon, calibration)
    tell("distance")
    distance = find_distance(looks, wagon, calibration, made=made)
    tell("inertial sensor")
    inertial = find_inertial(looks, wagon, calibration)
    shown = (*((distance.taped.shown,) if distance.taped else ()), *inertial.shown)
    after, apart = _after(looks, wagon, calibration, shown, inertial)
    tell("noise and clock")
    noise = find_noise(looks, wagon)
    parts = (
        *_agreement(apart), axle.part, distance.part, *inertial.parts(after), noise.part, *_recordings(looks),
    )  # fmt: skip
    after = replace(
        after,
        made=made,
        steps=(*after.steps, *((distance.step,) if distance.step else ())),
        axle=axle.learned.reference if axle.learned else after.axle,
        inertial=_inertial(after.inertial, inertial, noise),
    )
    _check_found(parts, shown, inertial, axle)
    return CalibrationDay(
        wagon.name,
        after,
        calibration,
        parts,
        tuple((one.name, one.purpose) for one in looks),
        distance.step,
        tuple(p for one in looks for p in (one.travel or one.recording).problems),
        axle.learned,
        inertial.seat,
    )


def _inertial(before: Inertial | None, found: FoundInertial, noise: FoundNoise) -> Inertial | None:
    """What is known of the inertial sensor beside the constants: today's, and where it says nothing what was known."""
    new = {
        "accelerometer": found.accelerometer,
        "gyro_bias": found.bias,
        "gyro_noise": noise.gyro,
        "force_noise": noise.force,
        "clock": noise.clock,
    }
    known: dict[str, Any] = {name: value for name, value in new.items() if value is not None}
    return replace(before or Inertial(), **known) if known else before


def _after(
    looks: Sequence[Look],
    wagon: Wagon,
    calibration: Calibration | None,
    shown: Sequence[Shown],
    inertial: FoundInertial,
) -> tuple[Calibration, tuple[Contradiction, ...]]:
    """The wagon as it is known after the day, and which steps contradict the others."""
    scale_sd, *_ = caliper(wagon.wheel, by_diameter=wagon.wheel.diameter_mm is not None)
    with_lag = any("lag_s" in one.names for one in shown)
    before = before_the_day(wagon, calibration, wheel_scale_sd=scale_sd, with_lag=with_lag)
    agreeing, apart = agreed(before, shown)
    used = tuple(one.source for one in looks if not one.refused and one.purpose.kind != "dry")
    after = calibrated(
        before, agreeing, wagon, calibration,
        runs=used, rotation=inertial.rotation, biases_rad_s=inertial.biases_rad_s,
    )  # fmt: skip
    return after, apart


def _agreement(apart: Sequence[Contradiction]) -> tuple[CalibrationPart, ...]:
    """Steps that contradict the others, as a part of their own; none where all agree."""
    if not apart:
        return ()
    told = tuple(one.text for one in apart)
    meant = [one for one in apart if one.step != BY_THE_WAY]
    if not meant:
        return (CalibrationPart("agreement", "known", told),)
    worst = max(meant, key=lambda one: one.sigmas)
    todo = f"Repeat what was recorded as {', '.join(worst.runs)}, and look whether wagon or sensor has moved between."
    return (CalibrationPart("agreement", "partly known", told, (), todo),)


def _recordings(looks: Sequence[Look]) -> tuple[CalibrationPart, ...]:
    """Recordings that could not be read as what they were made for, and what their cards of health warn of."""
    refused = tuple(one.refused for one in looks if one.refused)
    cards = [one.travel.health for one in looks if one.travel is not None and one.travel.health is not None]
    warned = tuple(_warnings(cards))
    if not refused and not warned:
        return ()
    todo = "Look at them with `wayrule travel`, and record them again where that helps."
    bad = bool(refused) or any(card.light == "red" for card in cards)
    standing: Standing = "partly known" if bad else "known"
    return (CalibrationPart("recordings", standing, warned, refused, todo if bad else ""),)


def _warnings(cards: Sequence[Health]) -> Iterator[str]:
    """What the cards warn of, the red first: each item once, with all its runs and the reason of the first."""
    for light in ("red", "amber"):
        items = [(card.run, item) for card in cards for item in card.of(light)]
        for name in dict.fromkeys(item.name for _, item in items):
            alike = [(run, item) for run, item in items if item.name == name]
            first = alike[0][1]
            yield f"{', '.join(run for run, _ in alike)}: {name} {light}: {first.reason} {first.todo}"


def _check_names(recordings: Sequence[tuple[Recording, Purpose]]) -> None:
    """Refuse none at all, and the same twice: it would count twice."""
    if not recordings:
        raise UsageError(
            expected="at least one recording", came="none", where="calibrate", next_step="name the runs to learn from"
        )
    names: set[str] = set()
    digests: dict[str, str] = {}
    for recording, _ in recordings:
        twice = recording.name if recording.name in names else digests.get(recording.sha256, "")
        if twice and (recording.name in names or recording.sha256):
            raise UsageError(
                expected="every recording once",
                came=f"{recording.name} and {twice}, the same",
                where="calibrate",
                next_step="name each of them once; a recording must not count twice",
            )
        names.add(recording.name)
        if recording.sha256:
            digests[recording.sha256] = recording.name


def _check_found(
    parts: Sequence[CalibrationPart], shown: Sequence[Shown], inertial: FoundInertial, axle: FoundAxle
) -> None:
    """Refuse to make a calibration of nothing: the first reason why is the answer."""
    if shown or inertial.biases_rad_s or inertial.accelerometer is not None or axle.learned or axle.dry:
        return
    reasons = [text for part in parts for text in part.refused]
    todo = next((part.todo for part in parts if part.todo), "")
    raise UndeterminedError(
        expected="recordings that tell something of the wagon",
        came=reasons[0] if reasons else "none that does",
        where="calibrate",
        next_step=todo,
    )
