"""The level error: what a level wagon's accelerometer reads forward and left, from a rest and the same turned round.

At one place of the track a wagon and the same turned end for end feel the track's slope with opposite signs and their
own level error with the same: half the sum is the wagon's, half the difference the track's.
Accelerometer offset and tilt of the mounting come as one sum in this; see `apart`.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Shown
from wayrule.model.arrays import Array
from wayrule.model.inertial import Rest
from wayrule.run.rests import force_sd
from wayrule.units import DEG, G_MM_S2

PLACE_SD_RAD = 5e-4
"""How far the slope may differ where the wagon stands again: 0.03 mm under a wheel of a wheelbase of 65 mm; flange play
and dust are in it (common practice, no source)."""
YAW_SD_RAD = 0.013
"""A sensor turned about the upright by so much feels that share of the roll as climb (0.7 deg; as the survey takes
it)."""
MOST_APART_RAD = 10 * DEG


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """Level error of a wagon, and the slope of the place.

    error_rad, error_sd_rad   (2,) forward and left specific force of a level wagon over g
    slope_rad, slope_sd_rad   (2,) climb and roll of the track, as the wagon first stood; NaN without a turned rest
    shown                     the same as news of level_x, level_y
    """

    error_rad: Array
    error_sd_rad: Array
    slope_rad: Array
    slope_sd_rad: Array
    shown: Shown


def level_and_turned(level: Rest, turned: Rest, rotation: Array, *, place_sd_rad: float = PLACE_SD_RAD) -> Level:
    """Level error from a rest and one turned end for end, the wheels back on the same places.

    Parameters
    ----------
    rotation : (3, 3)       sensor axes to body axes
    place_sd_rad : float    how far the slope under the wagon may differ between the two

    Raises
    ------
    UndeterminedError   where one of them did not stand on its wheels

    Examples
    --------
    >>> here = Rest("a", "", 0.0, 9.0, *[np.zeros(3)] * 2, np.array([150.0, 0.0, 9806.65]), np.ones(3))
    >>> round_ = Rest("b", "", 0.0, 9.0, *[np.zeros(3)] * 2, np.array([-50.0, 20.0, 9806.65]), np.ones(3))
    >>> found = level_and_turned(here, round_, np.eye(3))
    >>> np.degrees(found.error_rad).round(3).tolist(), np.degrees(found.slope_rad).round(3).tolist()
    ([0.292, 0.058], [0.584, -0.058])
    """
    first, second = (_upright(one, rotation) for one in (level, turned))
    noise = [(np.abs(rotation) @ force_sd(one))[:2] for one in (level, turned)]
    sd = 0.5 * np.hypot(np.hypot(*noise), place_sd_rad * G_MM_S2)
    own, slope = 0.5 * (first + second), 0.5 * (first - second) / G_MM_S2
    slope_sd = np.hypot(sd / G_MM_S2, YAW_SD_RAD * np.abs(slope[::-1]))
    return _found("level and turned", own, sd, slope, slope_sd, (level, turned))


def level_place(level: Rest, rotation: Array, *, level_sd_rad: float) -> Level:
    """Level error from one rest at a place that is level within `level_sd_rad` (a spirit level: 1e-3)."""
    own = _upright(level, rotation)
    sd = np.hypot((np.abs(rotation) @ force_sd(level))[:2], level_sd_rad * G_MM_S2)
    unknown = np.full(2, np.nan)
    return _found("level place", own, sd, unknown, unknown, (level,))


def _upright(rest: Rest, rotation: Array) -> Array:
    """(2,) forward and left specific force of a wagon that stands on its wheels."""
    force = rotation @ rest.force_mm_s2
    size = float(np.linalg.norm(force))
    if not (np.isfinite(size) and 0.8 < size / G_MM_S2 < 1.2 and force[2] > np.cos(2 * MOST_APART_RAD) * size):
        raise UndeterminedError(
            expected="a wagon at rest on its wheels",
            came=f"a specific force of {', '.join(f'{f / G_MM_S2:+.2f}' for f in force)} g forward, left and up",
            where=rest.name,
            next_step="give a rest on the track, or check which way the sensor's axes point",
        )
    return np.asarray(force[:2])


def _found(step: str, own: Array, sd: Array, slope: Array, slope_sd: Array, rests: tuple[Rest, ...]) -> Level:
    error, error_sd = own / G_MM_S2, sd / G_MM_S2
    words = " and ".join(
        f"{e / DEG:+.2f} +- {s / DEG:.2f} deg {way}"
        for e, s, way in zip(error, error_sd, ("nose up", "left side up"), strict=True)
    )
    text = f"Level error (tilt of the mounting and offset of the accelerometer together) {words}."
    runs = tuple(dict.fromkeys((one.name, one.sha256) for one in rests))
    shown = Shown(step, ("level_x", "level_y"), np.eye(2), own, np.diag(sd**2), runs, text)
    return Level(error, error_sd, slope, slope_sd, shown)
