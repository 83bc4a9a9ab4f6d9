"""A wagon's constants after a day of calibrating: what the steps have shown, on what was known before."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wayrule.maths.conditioning import conditioned
from wayrule.model import Calibration, Shown, Wagon
from wayrule.model.arrays import Array
from wayrule.track.adjust.density import FORCE_DENSITY_G
from wayrule.track.adjust.remembered import Before, known_before
from wayrule.track.adjust.unknowns import (
    FORCE_BIAS_PER_DENSITY,
    LAG_HELD_S,
    LAG_SD_S,
    RUN_LEVEL_SHARE,
    Border,
    add_wagon,
)
from wayrule.units import G_MM_S2
from wayrule.version import VERSION


def before_the_day(
    wagon: Wagon, calibration: Calibration | None, *, wheel_scale_sd: float, with_lag: bool = False
) -> Before:
    """What is known of a wagon before anything is shown: the calibration, or what a wagon never seen is like.

    Parameters
    ----------
    wagon : Wagon
    calibration : of this wagon and wheel, or None
    wheel_scale_sd : relative sd of the caliper, or of a speed or distance input
    with_lag : whether a step will speak of the lag

    Examples
    --------
    >>> from wayrule.model import Wheel
    >>> van = Wagon("Clerestory van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04))
    >>> before = before_the_day(van, None, wheel_scale_sd=0.004)
    >>> before.names[:2], float(before.own[0, 0] ** 0.5)
    (('wheel_scale', 'slip_mm'), 0.003994996871087636)
    """
    border = Border()
    bias_g = wagon.imu.acc_bias_sd_g or FORCE_BIAS_PER_DENSITY * (wagon.imu.acc_noise_g_rthz or FORCE_DENSITY_G)
    known_lag = with_lag or (calibration is not None and "lag_s" in calibration.names)
    lag_sd = LAG_SD_S if known_lag else LAG_HELD_S
    add_wagon(border, wagon, bias_g * G_MM_S2, closed=True, lag_sd=lag_sd)
    for name in ("level_x/0", "level_y/0"):
        border.add(name, 1, RUN_LEVEL_SHARE * bias_g * G_MM_S2)
    return known_before(border, calibration, wheel_scale_sd=wheel_scale_sd, lag_sd_s=lag_sd, reverses=known_lag)


def after_the_day(before: Before, shown: Sequence[Shown]) -> tuple[Array, Array]:
    """Values (n,) and covariance (n, n) of the constants `before.names` after all steps of one day.

    What the steps have shown is taken at once, since the day's part is the same in all of them; so their order does not
    matter. Each step's readings are its own.
    """
    return conditioned(before.values, before.own, before.as_met - before.own, *as_one(before, shown))


def as_one(before: Before, shown: Sequence[Shown]) -> tuple[Array, Array, Array]:
    """All readings as one: matrix (k, n) over the constants `before.names`, values (k,), covariance (k, k)."""
    rows = sum(len(one.values) for one in shown)
    matrix, values, noise = np.zeros((rows, len(before.names))), np.zeros(rows), np.zeros((rows, rows))
    first = 0
    for one in shown:
        part = slice(first, first + len(one.values))
        matrix[part, [before.names.index(name) for name in one.names]] = one.matrix
        values[part], noise[part, part] = one.values, one.covariance
        first = part.stop
    return matrix, values, noise


def calibrated(
    before: Before,
    shown: Sequence[Shown],
    wagon: Wagon,
    calibration: Calibration | None,
    *,
    runs: tuple[tuple[str, str], ...],
    rotation: Array | None,
    biases_rad_s: Sequence[Array],
) -> Calibration:
    """The wagon as it is known after a day.

    Parameters
    ----------
    before : of `before_the_day`, with the same calibration
    runs : (name, sha256) of all recordings of the day
    rotation : from sensor axes to body axes, as these runs show it; None where none does
    biases_rad_s : (3,) each, the gyro's bias in each run that stood still
    """
    values, covariance = after_the_day(before, shown)
    earlier = (calibration.bias_rad_s**2 * calibration.bias_runs, calibration.bias_runs) if calibration else (0.0, 0)
    squares = [float(np.mean(np.square(one))) for one in biases_rad_s]
    count = earlier[1] + len(squares)
    unknown = np.full(3, np.nan)
    start = calibration or Calibration(
        wagon.name, wagon.sha256, wagon.wheel.diameter_mm, before.names, values, covariance, None,
        unknown, unknown, 0.0, 0.0, 0, (), VERSION,
    )  # fmt: skip
    return replace(
        start,
        wagon_sha256=wagon.sha256,
        names=before.names,
        values=values,
        covariance=covariance,
        rotation=start.rotation if rotation is None else rotation,
        bias_rad_s=float(np.sqrt((earlier[0] + sum(squares)) / count)) if count else 0.0,
        bias_runs=count,
        runs=(*start.runs, *runs),
        version=VERSION,
        sha256="",
    )
