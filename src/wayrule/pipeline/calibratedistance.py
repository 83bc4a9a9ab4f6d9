"""The distance of a wagon from recordings that carry a tape, and why others say nothing of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.errors import UndeterminedError, WayruleError
from wayrule.maths.controlchart import chart, newest
from wayrule.model import Calibration, CalibrationPart, DistanceStep, Wagon
from wayrule.model.rolling import WAYS, RollingCircle, Way
from wayrule.pipeline.looks import Look
from wayrule.pipeline.rollinghistory import history
from wayrule.run.circumference import SURE_OF_WAY, Taped, TapedLeg, taped
from wayrule.run.legs import SAME_LENGTH, taped_legs, whole_leg
from wayrule.track.adjust.ties import STATED_LAP_END_MM

NAME: Final = "distance"

LOOP_ALONE: Final = (
    "{run}: {laps} closed {words} say nothing of the wheel's size: a line closes at any size, so a larger wheel only "
    "makes a larger map that closes as well, and the gyro turns by whole turns either way; tape one lap "
    "(@laps={laps}@lap=MM:SD) or a straight (@taped=MM:SD)"
)

FAR_OFF: Final = 3.0
"""Sigmas from the mean of earlier calibrations beyond which the newest stands out, whatever the chart says."""

DO_STRAIGHT: Final = (
    "Tape 3 m of straight rail, let the wagon stand for two seconds at either end, and roll it there three times, each "
    "with a taping of its own: RUN@taped=MM:SD, three files. A gauge rod between two stops does as well: RUN@rod=MM:SD."
)
DO_BACK: Final = "Roll the taped straight backward too: a wheel may roll another circle that way."
DO_FORWARD: Final = "Roll the taped straight forward too: a wheel may roll another circle that way."
DO_CURVES: Final = (
    "Tape one lap along the middle of the track and roll several: RUN@laps=5@lap=MM:SD tells curves apart."
)
DO_TURN: Final = "Tape a straight as well: curves alone cannot tell the wheel's size from its slip."


@dataclass(frozen=True, slots=True, eq=False)
class FoundDistance:
    """What the tapes have told; `taped` and `step` are None where none did."""

    part: CalibrationPart
    taped: Taped | None
    step: DistanceStep | None


def find_distance(looks: Sequence[Look], wagon: Wagon, calibration: Calibration | None, *, made: str) -> FoundDistance:
    """Circumference and slip from all taped legs of a day, beside those of earlier days."""
    legs: list[TapedLeg] = []
    refused: list[str] = []
    runs: list[tuple[str, str]] = []
    for one in looks:
        if one.purpose.kind == "laps" and not one.purpose.has_tape:
            refused.append(_loop_alone(one))
        elif one.purpose.has_tape:
            try:
                legs += _legs(one, wagon)
            except WayruleError as error:
                refused.append(str(error))
            else:
                runs.append(one.source)
    if not legs:
        return FoundDistance(_part(None, calibration, (), tuple(refused)), None, None)
    size = math.pi * wagon.wheel.diameter_mm if wagon.wheel.diameter_mm is not None else math.nan
    found = taped(legs, size, tuple(runs))
    slip, slip_sd = (found.slip_mm, math.sqrt(found.covariance[1, 1])) if found.slip_known else (math.nan, math.nan)
    step = DistanceStep(made, found.circles, slip, slip_sd, tuple(runs))
    told = (*_told(found, legs, wagon), *_against_before(step, calibration))
    return FoundDistance(_part(step, calibration, told, tuple(refused)), found, step)


def _legs(one: Look, wagon: Wagon) -> list[TapedLeg]:
    """The legs of a recording with a tape."""
    made_for = one.purpose
    taping = f"{made_for.kind} {made_for.taping}"
    if one.travel is None:
        raise UndeterminedError(
            expected="a run that can be read", came=one.refused, where=one.name, next_step="see what is wrong with it"
        )
    if made_for.kind != "laps":
        found = taped_legs(one.travel, made_for.length_mm, wagon.wheelbase_mm)
        return [TapedLeg(leg, taping, made_for.length_mm, made_for.sd_mm) for leg in found]
    whole = whole_leg(one.travel, wagon.wheelbase_mm, of="laps")
    length = made_for.laps * made_for.length_mm
    if abs(abs(whole.rolled_mm) - length) > SAME_LENGTH * length:
        raise UndeterminedError(
            expected=f"{made_for.laps} laps of {made_for.length_mm:g} mm between the first stop and the last",
            came=f"{abs(whole.rolled_mm):.0f} mm by the wheel, {abs(whole.rolled_mm) / made_for.length_mm:.2f} laps",
            where=one.name,
            next_step="correct the number of laps or the tape, and let the wagon stop only where it began",
        )
    return [TapedLeg(whole, taping, length, made_for.laps * made_for.sd_mm, STATED_LAP_END_MM)]


def _loop_alone(one: Look) -> str:
    laps = one.purpose.laps
    return LOOP_ALONE.format(run=one.name, laps=laps, words="lap" if laps == 1 else "laps")


def _told(found: Taped, legs: Sequence[TapedLeg], wagon: Wagon) -> list[str]:
    """What was found, a sentence each."""
    ways = {one.way for one in found.circles}
    each = [one for one in found.circles if one.way in ("straight", "curves") or ways >= {"forward", "backward"}]
    out = [f"One turn of the wheel rolls {_size(one)} {WAYS[one.way]} ({_rests_on(one)})." for one in each]
    if math.isfinite(found.one_way_mm):
        sure = abs(found.one_way_mm) > SURE_OF_WAY * found.one_way_sd_mm
        verdict = "the two differ, and half of that is left open for a run of either way" if sure else "no difference"
        differ = f"{found.one_way_mm:+.4f} +- {found.one_way_sd_mm:.2g} mm"
        out.append(f"Forward less backward, the tape left out: {differ}: {verdict}.")
    if found.slip_known:
        slip = f"{found.slip_mm:.2f} +- {math.sqrt(found.covariance[1, 1]):.2g} mm"
        out.append(f"Slip in curves: {slip} are lost for each radian turned.")
    out += _shared(legs)
    if found.spread > 1.0:
        out.append(f"The legs scatter {found.spread:.1f} times as much as their sigmas say; those were widened by it.")
    return out + _against_caliper(found, wagon)


def _shared(legs: Sequence[TapedLeg]) -> list[str]:
    """Which recordings rest on one taping."""
    out = []
    for taping in dict.fromkeys(leg.taping for leg in legs):
        runs = list(dict.fromkeys(leg.leg.run for leg in legs if leg.taping == taping))
        if len(runs) > 1:
            out.append(
                f"{', '.join(runs)} rest on one taping ({taping}) and share its error; tapings of their own are told "
                "apart by a name, as in @taped=3000:0.7:second."
            )
    return out


def _against_caliper(found: Taped, wagon: Wagon) -> list[str]:
    """How the found wheel agrees with the wagon file's."""
    wheel = wagon.wheel
    if wheel.diameter_mm is None or not wheel.diameter_sd_mm:
        return []
    sd = math.sqrt(found.covariance[0, 0])
    off = found.scale * wheel.diameter_mm / math.hypot(wheel.diameter_sd_mm, sd * wheel.diameter_mm)
    verdict = "as the caliper says" if abs(off) < 3 else "the caliper, the tape or the wagon file is wrong: look again"
    return [
        f"That is a wheel of {(1 + found.scale) * wheel.diameter_mm:.4f} +- {sd * wheel.diameter_mm:.2g} mm; the wagon "
        f"file says {wheel.diameter_mm:g} +- {wheel.diameter_sd_mm:g} mm ({off:+.1f} sigmas): {verdict}."
    ]


def _against_before(step: DistanceStep, calibration: Calibration | None) -> list[str]:
    """How today's circle fits those of earlier days."""
    steps = (*(calibration.steps if calibration else ()), step)
    out = []
    ways: tuple[Way, ...] = ("straight", "curves")
    for way in ways:
        known, values, sds = history(steps, way)
        if len(known) < 2 or known[-1] is not step:
            continue
        off = newest(values, sds)
        signals = [words for at, words in chart(values, sds).signals if at == len(values) - 1]
        if not signals and abs(off) > FAR_OFF:
            signals = ["far from their mean"]
        verdict = f"{', '.join(signals)}: clean wheels and rails, look for wear" if signals else "in control"
        change = 1e6 * (values[-1] / np.mean(values[:-1]) - 1) if values[0] > 1 else math.nan
        by = f"{change:+.0f} parts in a million, " if math.isfinite(change) else ""
        days = f"{len(known) - 1} earlier calibration{'s' if len(known) > 2 else ''}"
        out.append(f"Against the mean of {days} {WAYS[way]}: {by}{off:+.1f} sigmas, {verdict}.")
    return out


def _part(
    step: DistanceStep | None, calibration: Calibration | None, told: tuple[str, ...], refused: tuple[str, ...]
) -> CalibrationPart:
    """Where the distance stands, earlier days counted."""
    steps = (*(calibration.steps if calibration else ()), *((step,) if step else ()))
    has = {one.way for each in steps for one in each.circles}
    if not has and calibration is not None:
        value, sd = calibration.one("wheel_scale")
        if sd < 1e-3:
            known = f"The wheel's scale is {100 * value:+.3f} +- {100 * sd:.2g} % by the calibration that was given."
            return CalibrationPart(NAME, "partly known", (*told, known), refused, DO_STRAIGHT)
    if not has:
        return CalibrationPart(NAME, "not yet known", told, refused, DO_STRAIGHT)
    todo = (
        DO_TURN if "straight" not in has
        else DO_CURVES if "curves" not in has
        else DO_BACK if "backward" not in has
        else DO_FORWARD if "forward" not in has
        else ""
    )  # fmt: skip
    return CalibrationPart(NAME, "partly known" if todo else "known", told, refused, todo)


def _size(one: RollingCircle) -> str:
    if math.isfinite(one.circumference_mm):
        return f"{one.circumference_mm:.4f} +- {one.circumference_sd_mm:.2g} mm"
    return f"{100 * one.scale:+.3f} +- {100 * one.scale_sd:.2g} % more than the input says"


def _rests_on(one: RollingCircle) -> str:
    return f"{one.legs} {'leg' if one.legs == 1 else 'legs'}, {one.way_mm / 1000:.2f} m"
