"""Accelerometer bias and scale from rest positions in any orientation: gravity has the same size in all."""

import itertools
from collections.abc import Sequence

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.ellipsoid import Ellipsoid, best_next, fit_ellipsoid
from wayrule.model import Shown
from wayrule.model.arrays import Array
from wayrule.model.inertial import Accelerometer, Rest
from wayrule.run.rests import force_sd
from wayrule.units import G_MM_S2

LEAST_POSITIONS = 6
BIAS_SD_G, SCALE_SD, SKEW_SD = 0.1, 0.03, 0.003
"""Before anything is measured (common practice, no source): offset, sensitivity, and half of what two axes see of each
other; 0.004 each, as the survey takes it, over root 2."""
ENOUGH_BIAS_G, ENOUGH_SCALE = 0.02, 0.015
"""Positions whose bias or scale is known no better than this are too much alike."""
TRIADS_SD = 0.0057
"""What the accelerometer's and the gyro's axes differ by: 0.004 each (common practice, as the survey takes it)."""


def positions(rests: Sequence[Rest], *, gravity_mm_s2: float = G_MM_S2) -> Accelerometer:
    """Bias, scale and skew of the accelerometer.

    Parameters
    ----------
    rests : six or more, as many different sides down as can be
    gravity_mm_s2 : of the place; the survey takes standard gravity too, so that only a scale for other uses needs it

    Raises
    ------
    UndeterminedError   fewer than six, or too much alike; it says how to lay the sensor next

    Examples
    --------
    >>> ways = 9806.65 * np.vstack([np.eye(3), -np.eye(3)])
    >>> read = 1.004 * ways + [200.0, 0.0, -100.0]
    >>> found = positions([Rest("laid", "", 0.0, 9.0, np.zeros(3), np.zeros(3), f, np.ones(3)) for f in read])
    >>> np.abs(found.bias_mm_s2).round().tolist(), found.scale.round(3).tolist()
    ([200.0, 0.0, 100.0], [0.004, 0.004, 0.004])
    """
    rests = [one for one in rests if np.isfinite(one.force_mm_s2).all()]
    points = np.array([one.force_mm_s2 for one in rests]).reshape(-1, 3) / gravity_mm_s2
    sd = np.array([float(force_sd(one).max()) for one in rests]) / gravity_mm_s2
    prior = np.repeat([BIAS_SD_G, SCALE_SD, SKEW_SD], 3)
    if len(rests) < LEAST_POSITIONS:
        raise _more(points, sd, prior, f"{len(rests)} rest positions")
    fit = fit_ellipsoid(points, sd, prior)
    own_sd = np.sqrt(np.diag(fit.covariance))
    if own_sd[:3].max() > ENOUGH_BIAS_G or own_sd[3:6].max() > ENOUGH_SCALE:
        raise _more(points, sd, prior, f"{len(rests)} that leave {_loosest(own_sd)}")
    return _accelerometer(fit, own_sd, rests, gravity_mm_s2)


def next_position(rests: Sequence[Rest], *, gravity_mm_s2: float = G_MM_S2) -> str:
    """How to lay the sensor next, in words: which way up would tell most."""
    points = np.array([one.force_mm_s2 for one in rests]).reshape(-1, 3) / gravity_mm_s2
    sd = np.array([float(force_sd(one).max()) for one in rests]) / gravity_mm_s2
    return _how_to_lay(points, sd, np.repeat([BIAS_SD_G, SCALE_SD, SKEW_SD], 3))


def shown_by_positions(found: Accelerometer, rotation: Array) -> Shown:
    """What the accelerometer's own bias tells of the constants: level_x - g cross_x, and likewise to the left.

    Parameters
    ----------
    rotation : (3, 3)   sensor axes to body axes

    Notes
    -----
    Level offset = bias + g times the accelerometer's tilt; the gyro's cross_x, cross_y are the same tilt but for what
    the axes of the two differ by (`TRIADS_SD`).
    """
    bias = (rotation @ found.bias_mm_s2)[:2]
    sd = np.sqrt((rotation**2 @ found.bias_sd_mm_s2**2)[:2] + (TRIADS_SD * G_MM_S2) ** 2)
    matrix = np.array([[1.0, 0.0, -G_MM_S2, 0.0], [0.0, 1.0, 0.0, -G_MM_S2]])
    g = found.bias_mm_s2 / G_MM_S2 * 1000, found.bias_sd_mm_s2 / G_MM_S2 * 1000
    text = (
        f"Accelerometer from {found.positions} positions: bias "
        + ", ".join(f"{axis} {b:+.1f} +- {s:.1f}" for axis, b, s in zip("xyz", *g, strict=True))
        + " mg, scale "
        + ", ".join(f"{b:+.2f} +- {s:.2f}" for b, s in zip(found.scale * 100, found.scale_sd * 100, strict=True))
        + " %."
    )
    names = ("level_x", "level_y", "cross_x", "cross_y")
    return Shown("rest positions", names, matrix, bias, np.diag(sd**2), found.runs, text)


def _accelerometer(fit: Ellipsoid, sd: Array, rests: Sequence[Rest], gravity_mm_s2: float) -> Accelerometer:
    return Accelerometer(
        bias_mm_s2=fit.values[:3] * gravity_mm_s2,
        bias_sd_mm_s2=sd[:3] * gravity_mm_s2,
        scale=fit.values[3:6],
        scale_sd=sd[3:6],
        skew=fit.values[6:],
        skew_sd=sd[6:],
        gravity_mm_s2=gravity_mm_s2,
        positions=len(rests),
        misfit_mm_s2=float(np.sqrt(np.mean(fit.leftover**2))) * gravity_mm_s2,
        runs=tuple(dict.fromkeys((one.name, one.sha256) for one in rests)),
    )


def _more(points: Array, sd: Array, prior: Array, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected="six or more rest positions, all different",
        came=came,
        where="rest positions",
        next_step=f"lay the sensor so that {_how_to_lay(points, sd, prior)}, and let it rest there for ten seconds",
    )


def _how_to_lay(points: Array, sd: Array, prior: Array) -> str:
    ways = np.array([w for w in itertools.product((-1.0, 0.0, 1.0), repeat=3) if any(w)])
    ways = ways[np.argsort(np.abs(ways).sum(axis=1), kind="stable")]  # a flat side first, where it is as good
    best, _ = best_next(points, sd, prior, ways / np.linalg.norm(ways, axis=1)[:, None], slice(0, 6))
    names = [f"{'+' if value > 0 else '-'}{axis}" for axis, value in zip("xyz", ways[best], strict=True) if value]
    return f"its {names[0]} points up" if len(names) == 1 else f"up lies midway between its {' and '.join(names)}"


def _loosest(sd: Array) -> str:
    axis = int(np.argmax(np.maximum(sd[:3] / ENOUGH_BIAS_G, sd[3:6] / ENOUGH_SCALE)))
    return f"{'xyz'[axis]} open by {sd[axis] * 1000:.0f} mg and {sd[3 + axis] * 100:.1f} %"
