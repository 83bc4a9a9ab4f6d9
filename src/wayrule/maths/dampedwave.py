"""The correlation of a damped wave along a path."""

import numpy as np

from wayrule.model.arrays import Array


def correlation(path_mm: Array, length_mm: float | Array) -> Array:
    """Correlation over a path p: exp(-x) (cos x + sin x), x = p / length, as of white noise through a second-order
    Butterworth low-pass: a body between flanges swings smoothly and comes back.

    >>> correlation(np.array([0.0, 65.0, 260.0]), 130.0).round(2).tolist()
    [1.0, 0.82, 0.07]
    """
    x = path_mm / np.asarray(length_mm)
    return np.asarray(np.exp(-x) * (np.cos(x) + np.sin(x)))
