"""Scale estimates that a few wild values cannot spoil."""

import numpy as np

from wayrule.model.arrays import Array

MAD_TO_SD = 1.482602218505602
"""Median absolute deviation -> sd for normal noise: 1 / Phi^-1(3/4)."""


ENOUGH = 150_000
"""So many values settle a robust sd."""


def robust_sd(values: Array) -> float:
    """Sd of the bulk of some values, from the median absolute deviation; NaN left out.

    Parameters
    ----------
    values : (n,) array   any unit

    Returns
    -------
    float   same unit; NaN where no value is finite

    Notes
    -----
    sd = 1.4826 median |x - median(x)|, consistent for normal noise, unmoved by up to half of wild values. Of very many
    values `ENOUGH` are taken, evenly spread: they know it to 0.3 % (its efficiency is 37 %).

    Examples
    --------
    >>> round(robust_sd(np.array([-1.0, 0.0, 1.0, 900.0, 0.0])), 4)
    1.4826
    """
    x = values[:: -(-len(values) // ENOUGH) or 1]
    x = x[np.isfinite(x)]
    if not len(x):
        return float("nan")
    return float(MAD_TO_SD * np.median(np.abs(x - np.median(x))))


def white_noise_sd(values: Array) -> float:
    """Sd of the white part of a slowly changing signal, from its second differences; NaN left out.

    Parameters
    ----------
    values : (n,) array   evenly spaced, any unit

    Returns
    -------
    float   same unit; NaN with fewer than three finite values in a row

    Notes
    -----
    x[i-1] - 2 x[i] + x[i+1] has variance 6 sd^2 for white noise and no trace of a level or a slope.

    Examples
    --------
    >>> white_noise_sd(np.arange(9.0))
    0.0
    """
    if len(values) < 3:
        return float("nan")
    return float(robust_sd(np.diff(values, n=2)) / np.sqrt(6.0))
