"""The claimed error bars of a quantity along a line, taken apart: what all of it shares, what wanders, what is local.

A survey that does not know which way is up shows every gradient wrong by the same, and its heights wrong by a tilt. The
sigmas say so, rightly; but a tilt hides no piece and no fault, as both are told from what lies beside them.
"""

import math
from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class ErrorBars:
    """Claimed errors of a rate (gradient, curvature) whose integral (height, heading) is surveyed too.

    shared  sd of a constant that every value of the rate shares
    slow    density of what wanders along the line: a mean over a long length l has variance slow / l
    local   (n,) density of a mean over one wheelbase, at each station, the shared constant left out
    """

    shared: float
    slow: float
    local: Array


def taken_apart(rate_sd: Array, integral_sd: Array, length_mm: float, base_mm: float, *, closed: bool) -> ErrorBars:
    """The parts of a line's error bars.

    Parameters
    ----------
    rate_sd     (n,) sd of the mean of the rate over one wheelbase; NaN counts as 0
    integral_sd (n,) sd of the integral less its mean
    length_mm, base_mm, closed   of the line

    Returns
    -------
    ErrorBars

    Notes
    -----
    A random walk of density d over a length T, less its mean, has variance d T / 12 in its middle and d T / 3 at its
    ends; one that returns to its start has d T / 12 everywhere. A constant t of the rate tilts the integral about its
    middle, where it adds nothing, and adds (t T / 2)^2 at the ends. A ring has no such tilt.

    Examples
    --------
    Gradients all wrong by 0.001, and a walk of density 1e-6 beside it, over 9 m.

    >>> s = np.linspace(0.0, 9000.0, 91)
    >>> z_sd = np.sqrt(1e-6 * (9000 / 3 - s + s**2 / 9000) + (0.001 * (s - 4500)) ** 2)
    >>> parts = taken_apart(np.full(91, math.hypot(0.001, 1e-4)), z_sd, 9000.0, 100.0, closed=False)
    >>> float(f"{parts.shared:.3g}"), float(f"{parts.slow:.3g}"), float(f"{parts.local[0]:.3g}")
    (0.001, 1e-06, 1e-06)
    """
    sd = np.where(np.isfinite(rate_sd), rate_sd, 0.0)
    good = integral_sd[np.isfinite(integral_sd)]
    if len(good) == 0 or length_mm <= 0:
        return ErrorBars(0.0, 0.0, sd**2 * base_mm)
    middle = float(np.min(good)) ** 2
    shared = 0.0
    if not closed:
        ends = 0.5 * float(good[0] ** 2 + good[-1] ** 2)
        shared = 2.0 * math.sqrt(max(ends - 4.0 * middle, 0.0)) / length_mm
    return ErrorBars(shared, 12.0 * middle / length_mm, np.maximum(sd**2 - shared**2, 0.0) * base_mm)
