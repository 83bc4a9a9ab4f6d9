"""Counters that run over: encoder counts and clock ticks of 8, 16 or 32 bits, made continuous."""

from typing import Final

import numpy as np

from wayrule.model.arrays import Array

WIDTHS: Final = (8, 16, 32)
"""Counter widths found by themselves [bits]; others are stated in the wagon file."""

SURE_SHARE: Final = 0.25
"""Found by itself only if all other steps are below this share of the counter's span: a real jump is not undone."""


def undo_wrap(count: Array, bits: int | None = None, *, rising: bool = False) -> tuple[Array, int, int]:
    """Make a counter that runs over continuous.

    Parameters
    ----------
    count : (n,) array   counts, NaN where missing
    bits : int           width of the counter; None = found by itself
    rising : bool        a clock: it never runs over backwards, and with readings outside its span it is none

    Returns
    -------
    count, wraps, bits : (n,) continuous counts starting at the first one; how often it ran over; the width, 0 if none

    Examples
    --------
    >>> undo_wrap(np.array([250.0, 254.0, 2.0, 7.0, 250.0]))
    (array([250., 254., 258., 263., 250.]), 2, 8)
    """
    known = np.flatnonzero(np.isfinite(count))
    values = count[known]
    if len(values) < 2:
        return count, 0, 0
    steps = np.diff(values)
    width = bits if bits is not None else _width(values, steps)
    if not width:
        return count, 0, 0
    span = 2.0**width
    turns = -np.round(steps / span)
    if rising and (turns.min() < 0 or values.min() < 0 or values.max() >= span):
        return count, 0, 0
    wraps = int(np.abs(turns).sum())
    if not wraps:
        return count, 0, 0
    whole = count.copy()
    whole[known[1:]] += np.cumsum(turns) * span
    return whole, wraps, width


def _width(values: Array, steps: Array) -> int:
    """The smallest usual width that holds the values, if they jump by about its span and by nothing in between."""
    low, high = float(values.min()), float(values.max())
    for bits in WIDTHS:
        span = 2.0**bits
        if not ((low >= 0 and high < span) or (low >= -span / 2 and high < span / 2)):
            continue
        size = np.abs(steps)
        jumps = size > (1 - SURE_SHARE) * span
        return bits if jumps.any() and bool(np.all(size[~jumps] < SURE_SHARE * span)) else 0
    return 0
