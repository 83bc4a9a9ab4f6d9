"""What is known of the wagon before a survey: from an earlier calibration, or next to nothing.

A constant of the wagon as it acts in a survey, b, is the wagon's own, c, and a part of that day's, e: b = c + e. The
day's part is no wandering away: tomorrow's is another one about the same c. After the survey, see `learnt.py`.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model import Calibration
from wayrule.model.arrays import Array
from wayrule.model.calibration import CONSTANTS, OPTIONAL
from wayrule.track.adjust.unknowns import CROSS_SD, Border
from wayrule.units import G_MM_S2

DAY_SD = {
    "wheel_scale": 2e-4,
    "slip_mm": 0.05,
    **dict.fromkeys(("gyro_scale_x", "gyro_scale_y", "gyro_scale_z"), 3e-4),
    **dict.fromkeys(("cross_x", "cross_y", "yaw"), 1e-4),
    **dict.fromkeys(("gyro_xy", "gyro_yx", "gyro_zx", "gyro_zy", "force_xy", "force_yx"), 1e-4),
    "lag_s": 1e-4,
}
"""Sd of the day's part, in the constants' units (all common practice, no source): dirt on the wheel; how the rails
are greased; a gyro's sensitivity over 2 K of a room at 0.015 % each; a sensor's bedding that gives by 1 um in 10 mm,
and as much in the axes themselves; a recorder that reads its sensors a little later. The day's part of the level
offsets is the accelerometer's, as large as what it changes by from run to run (`RUN_LEVEL_SHARE` of its offset)."""

LEAST_SHARE = 0.01
"""Before anything is known, at least so much of a constant's variance is the wagon's own, not the day's."""

BIAS_TIMES = 5.0
"""The next bias of a gyro is expected within five times the rms of those seen: few have been, and it binds nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Before:
    """Constants before a survey.

    names       those that are known, (n,)
    acting      (a,) bool: which of them the survey can learn of
    values      (n,) mean of c; own (n, n): its covariance
    as_met      (a, a) covariance of b: what the adjustment starts from
    lag_sd_s    of the lag in this survey, before it
    """

    names: tuple[str, ...]
    acting: np.ndarray[tuple[int], np.dtype[np.bool_]]
    values: Array
    own: Array
    as_met: Array
    lag_sd_s: float

    @property
    def acting_names(self) -> tuple[str, ...]:
        """Names of those that the survey can learn of."""
        return tuple(n for n, acts in zip(self.names, self.acting, strict=True) if acts)


def known_before(
    border: Border, calibration: Calibration | None, *, wheel_scale_sd: float, lag_sd_s: float, reverses: bool
) -> Before:
    """What is known of the wagon, as the border was laid out for one of which nothing is remembered.

    Parameters
    ----------
    border : with the priors of an unknown wagon
    calibration : of this wagon, or None
    wheel_scale_sd, lag_sd_s : the caliper's relative sd, and the lag's
    reverses : whether a run reverses, so that the lag can be learnt
    """
    remembered = calibration.names if calibration else ()
    names = tuple(n for n in CONSTANTS if n in remembered or n not in OPTIONAL or reverses)
    sd = {n: border.sd[border.names[n].start] for n in names if n != "wheel_scale"}
    sd |= {"wheel_scale": wheel_scale_sd, "lag_s": lag_sd_s}
    unknown = _as_drawn(names, sd)
    values = np.array([0.0 if n == "wheel_scale" else border.value[border.names[n].start] for n in names])
    day = np.array([day_sd(border, n) ** 2 for n in names])
    own, as_met = unknown.copy(), unknown.copy()
    np.fill_diagonal(own, np.maximum(np.diag(unknown) - day, LEAST_SHARE * np.diag(unknown)))
    if calibration:
        at = np.array([names.index(n) for n in remembered])
        values[at] = calibration.values
        own[np.ix_(at, at)] = calibration.covariance
        as_met = own + np.diag(day)
        new = np.array([n not in remembered for n in names])
        as_met[np.ix_(new, new)] = unknown[np.ix_(new, new)]
    acting = np.array([n not in OPTIONAL or reverses for n in names])
    lag_sd = float(np.sqrt(as_met[-1, -1])) if "lag_s" in names else lag_sd_s
    return Before(names, acting, values, own, as_met[np.ix_(acting, acting)], lag_sd)


def _as_drawn(names: tuple[str, ...], sd: dict[str, float]) -> Array:
    """(n, n) covariance of a wagon's constants of which nothing is known yet.

    One tilt of the sensor in the wagon makes its gyro see the yaw rate and its accelerometer gravity: what the roll and
    pitch axes see (cross_x, cross_y) and the level offsets (over g) share it, each has its own errors besides.
    """
    out = np.diag([sd[n] ** 2 for n in names])
    for cross, level in (("cross_x", "level_x"), ("cross_y", "level_y")):
        i, j = names.index(cross), names.index(level)
        out[i, j] = out[j, i] = CROSS_SD**2 * G_MM_S2
    return out


def day_sd(border: Border, name: str) -> float:
    """Sd of a constant's part of the day."""
    return border.sd[border.names[f"{name}/0"].start] if name in ("level_x", "level_y") else DAY_SD[name]


def recall(border: Border, before: Before, calibration: Calibration | None) -> None:
    """Give the border what is known before as its prior, with its full covariance, in place of its own."""
    for name, value in zip(before.names, before.values, strict=True):
        border.value[border.names["scale" if name == "wheel_scale" else name].start] = float(value)
    for name in before.acting_names:
        if name != "wheel_scale":  # the border's two halves of it keep their weak priors; their sum is held below
            border.sd[border.names[name].start] = np.inf
    size = np.sqrt(np.diag(before.as_met))
    root = np.linalg.cholesky(np.linalg.inv(before.as_met / size / size[:, None]))
    for row in (root.T / size) @ constant_rows(border.names, before.acting_names, border.size):
        border.hold(row, 1.0)
    for name, part in border.names.items():
        if calibration and calibration.bias_runs and name.startswith("bias_"):
            border.sd[part.start] = min(border.sd[part.start], BIAS_TIMES * calibration.bias_rad_s)


def constant_rows(places: dict[str, slice], names: tuple[str, ...], size: int) -> Array:
    """(n, size) the wagon's constants as sums of the border's unknowns: the wheel's scale is scale and stretch."""
    out = np.zeros((len(names), size))
    for row, name in zip(out, names, strict=True):
        for one in ("scale", "stretch") if name == "wheel_scale" else (name,):
            row[places[one].start] = 1.0
    return out
