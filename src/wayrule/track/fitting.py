"""Whether an earlier calibration fits: this wagon, this wheel, this seat of the sensor, and other runs."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Calibration, Travel, Wagon

SAME_SEAT_RAD = 1e-3
"""An inertial sensor whose coarse axes differ by more sits otherwise: a tilt of 1e-3 rad is 1 per mille of gradient."""

OTHER_WHEEL_SDS = 5.0
"""A caliper that contradicts the remembered wheel by more sds has measured another wheel."""


def for_wagon(calibration: Calibration, wagon: Wagon) -> Calibration:
    """The calibration of this wagon, its wheel scale referred to the diameter that the wagon file has now.

    A wheel of true distance (1 + s) D keeps it when the file's D becomes D': s' = (1 + s) D / D' - 1.

    Raises
    ------
    UsageError   a calibration of another wagon, of another kind of wheel input or of another wheel
    """
    if calibration.wagon_name != wagon.name:
        raise _unfit(
            f"a calibration of {wagon.name}",
            f"one of {calibration.wagon_name}",
            "give this wagon's calibration.json, or survey without",
        )
    old, new = calibration.diameter_mm, wagon.wheel.diameter_mm
    if old == new:
        return calibration
    if old is None or new is None:
        raise _unfit(
            f"one made {_with(new)}, as the wagon file is",
            f"one made {_with(old)}",
            "survey without it once, and go on with the new calibration.json",
        )
    scale, sd = calibration.one("wheel_scale")
    true, true_sd = (1 + scale) * old, sd * old
    if abs(true - new) > OTHER_WHEEL_SDS * math.hypot(true_sd, wagon.wheel.diameter_sd_mm or 0.0):
        raise _unfit(
            f"the wheel that it remembers, {true:.3f} +- {true_sd:.3f} mm",
            f"diameter_mm = {new:g} in the wagon file",
            "correct the wagon file, or, for another wheel, survey without it once",
        )
    at = calibration.names.index("wheel_scale")
    factor, values = np.ones(len(calibration.names)), calibration.values.copy()
    factor[at], values[at] = old / new, (1 + scale) * old / new - 1
    covariance = calibration.covariance * np.outer(factor, factor)
    return replace(calibration, diameter_mm=new, values=values, covariance=covariance)


def check_seat(calibration: Calibration, travels: Sequence[Travel]) -> None:
    """Raise UsageError where the inertial sensor sits otherwise than when the calibration was made."""
    for travel in travels:
        if travel.imu is None or calibration.rotation is None:
            continue
        turn = travel.imu.rotation @ calibration.rotation.T
        angle = math.acos(max(-1.0, min(1.0, 0.5 * (float(np.trace(turn)) - 1.0))))
        if angle > SAME_SEAT_RAD:
            raise _unfit(
                "the inertial sensor seated as when it was made",
                f"one turned by {math.degrees(angle):.2g} deg in {travel.run}",
                "survey without it once, and go on with the new calibration.json",
            )


def check_new(calibration: Calibration, runs: Sequence[tuple[str, str]]) -> None:
    """Raise UsageError where a run (name, sha256) is in the calibration already: it would count twice."""
    seen = {digest: name for name, digest in calibration.runs if digest}
    for name, digest in runs:
        if digest in seen:
            raise _unfit(
                "a calibration from other runs",
                f"one that rests on {name} already" + (f", named {seen[digest]}" if seen[digest] != name else ""),
                "a run must not count twice: give the calibration from before it",
            )


def _with(diameter_mm: float | None) -> str:
    return "without a wheel's diameter" if diameter_mm is None else f"with a wheel of {diameter_mm:g} mm"


def _unfit(expected: str, came: str, next_step: str) -> UsageError:
    return UsageError(expected=expected, came=came, where="--calibration", next_step=next_step)
