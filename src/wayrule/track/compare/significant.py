"""The stretches on which a difference is larger than chance and error bars explain."""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from wayrule.model import Change, Difference
from wayrule.model.arrays import Array

UNITS: Final = {
    "curvature": (1000.0, "1/m"),
    "gradient": (100.0, "%"),
    "cant": (1.0, "mm"),
    "plan": (1.0, "mm"),
    "height": (1.0, "mm"),
}
"""Quantity -> factor from its inner unit, and the unit that a person reads."""

TAIL: Final = 2.0
"""A stretch reaches as far as the difference keeps its sign beyond so many sigmas."""


def changes(found: Sequence[Difference]) -> tuple[Change, ...]:
    """Significant changes of all quantities, by chainage."""
    told = [change for difference in found for change in _of(difference)]
    return tuple(sorted(told, key=lambda change: (change.s_mm, change.quantity)))


def _of(difference: Difference) -> Iterator[Change]:
    sigma = difference.sd * difference.scatter
    z = np.where(np.isfinite(difference.change) & (sigma > 0), difference.change / sigma, 0.0)
    factor, unit = UNITS[difference.quantity]
    for first, last in _stretches(z, difference.limit):
        top = first + int(np.argmax(np.abs(z[first : last + 1])))
        s = difference.s_mm
        yield Change(
            difference.quantity, float(s[first]), float(s[last]), float(s[top]),
            factor * float(difference.change[top]), unit, factor * float(sigma[top]), abs(float(z[top])),
        )  # fmt: skip


def _stretches(z: Array, limit: float) -> Iterator[tuple[int, int]]:
    """(first, last) index of runs of one sign beyond `TAIL` that reach beyond the limit somewhere."""
    beyond = np.sign(z) * (np.abs(z) > TAIL)
    edges = np.flatnonzero(np.diff(beyond)) + 1
    for first, after in zip(np.r_[0, edges], np.r_[edges, len(z)], strict=True):
        if beyond[first] and np.max(np.abs(z[first:after])) > limit:
            yield int(first), int(after) - 1
