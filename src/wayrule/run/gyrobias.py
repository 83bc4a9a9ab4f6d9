"""The gyro's bias from rests, how it changes with temperature, and how well one rest foretells another day's."""

from collections.abc import Sequence

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model.arrays import Array
from wayrule.model.inertial import GyroBias, Rest
from wayrule.run.bias import WANDER_RAD_S
from wayrule.units import DEG

LEAST_SPREAD_K = 3.0
"""Less change of temperature than this shows no change of the bias: it wanders as much of itself."""
LEAST_WARM = 3
"""A line through fewer rests than this has no sd of its own."""


def bias_at_rest(rests: Sequence[Rest]) -> GyroBias:
    """Mean bias over rests, and its change with temperature where that changed by `LEAST_SPREAD_K` and more.

    Raises
    ------
    UndeterminedError   no rest with a gyro

    Notes
    -----
    Weighted least squares, a rest weighing by its noise and by how far a bias wanders (`WANDER_RAD_S`) or by how far
    the rests scatter about the line where that is more.

    Examples
    --------
    >>> def at(kelvin):
    ...     read = np.full(3, 0.01 + 1e-4 * kelvin)
    ...     return Rest("a", "", 0.0, 60.0, read, np.full(3, 1e-6), np.zeros(3), np.ones(3), 20.0 + kelvin)
    >>> warm = [at(0.0), at(5.0), at(10.0)]
    >>> found = bias_at_rest(warm)
    >>> found.bias_rad_s.round(5).tolist(), found.per_k_rad_s.round(6).tolist(), found.temp_c
    ([0.0105, 0.0105, 0.0105], [0.0001, 0.0001, 0.0001], 25.0)
    """
    rests = [one for one in rests if np.isfinite(one.rate_rad_s).all()]
    if not rests:
        raise UndeterminedError(
            expected="a rest with a gyro",
            came="none",
            where="gyro bias",
            next_step="record ten seconds of standstill with the gyro's columns in the log",
        )
    rates = np.array([one.rate_rad_s for one in rests])
    noise = np.array([one.rate_sd_rad_s for one in rests])
    warm = np.array([one.temp_c for one in rests])
    known = np.isfinite(warm)
    middle = float(warm[known].mean()) if known.any() else float("nan")
    by_warmth = bool(known.all()) and len(rests) >= LEAST_WARM and float(np.ptp(warm)) >= LEAST_SPREAD_K
    rows = np.column_stack([np.ones(len(rests)), warm - middle]) if by_warmth else np.ones((len(rests), 1))
    fits = [_line(rows, values, sd) for values, sd in zip(rates.T, noise.T, strict=True)]
    none = np.full(3, np.nan)
    return GyroBias(
        bias_rad_s=np.array([fit[0] for fit, _ in fits]),
        bias_sd_rad_s=np.array([sd[0] for _, sd in fits]),
        per_k_rad_s=np.array([fit[1] for fit, _ in fits]) if by_warmth else none,
        per_k_sd_rad_s=np.array([sd[1] for _, sd in fits]) if by_warmth else none,
        temp_c=middle,
        rests=len(rests),
    )


def _line(rows: Array, values: Array, noise: Array) -> tuple[Array, Array]:
    """Coefficients of one axis and their sds; the first one's is of another rest's bias at the mean temperature."""
    wander = WANDER_RAD_S
    for _ in range(3):
        weight = 1.0 / (noise**2 + wander**2)
        covariance = np.linalg.inv(rows.T @ (rows * weight[:, None]))
        fit = covariance @ rows.T @ (weight * values)
        spare = len(values) - rows.shape[1]
        if spare > 0:
            scatter = float(np.sum((values - rows @ fit) ** 2) / spare - np.mean(noise**2))
            wander = max(WANDER_RAD_S, float(np.sqrt(max(scatter, 0.0))))
    sd = np.sqrt(np.diag(covariance))
    sd[0] = np.hypot(sd[0], wander)
    return fit, sd


def bias_text(bias: GyroBias) -> str:
    """For a person."""
    words = ", ".join(
        f"{axis} {b:+.3f} +- {s:.3f}"
        for axis, b, s in zip("xyz", bias.bias_rad_s / DEG, bias.bias_sd_rad_s / DEG, strict=True)
    )
    warm = f" at {bias.temp_c:.0f} degC" if np.isfinite(bias.temp_c) else ""
    text = f"Gyro bias {words} deg/s{warm}, from {bias.rests} rest{'s' if bias.rests > 1 else ''}"
    if np.isfinite(bias.per_k_rad_s).all():
        text += "; with each kelvin " + ", ".join(f"{k:+.4f}" for k in bias.per_k_rad_s / DEG) + " deg/s"
    return text + "."
