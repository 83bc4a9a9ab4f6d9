"""Numbers with as many decimals as are worth keeping."""

import math

import numpy as np

from wayrule.model.arrays import Array

DOUBLE_DIGITS = 15
"""A double holds 15 decimal digits for sure; rounding behind them would move the number."""


def printed(values: Array, decimals: int) -> Array:
    """Round to decimals; numbers too large to have them stay as they are, NaN stays NaN, -0.0 becomes 0.0.

    >>> printed(np.array([1.23456789, -0.0001, np.nan]), 3)
    array([1.235, 0.   ,   nan])
    """
    size = float(np.nanmax(np.abs(values), initial=0.0))
    whole = math.floor(math.log10(size)) + 1 if size > 1 else 1
    return (np.round(values, decimals) if decimals + whole <= DOUBLE_DIGITS else values) + 0.0


def significant(values: Array, digits: int) -> Array:
    """Round each number to significant digits; 0, NaN and infinity stay.

    >>> significant(np.array([0.00123456, -98765.0, 0.0]), 3)
    array([ 1.23e-03, -9.88e+04,  0.00e+00])
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        power = digits - 1 - np.floor(np.log10(np.abs(values)))
    usable = np.isfinite(power) & (np.abs(power) < 300)
    factor = 10.0 ** np.where(usable, power, 0.0)
    return np.where(usable, np.round(values * factor) / factor, values) + 0.0
