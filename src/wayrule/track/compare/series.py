"""Movement of a line over many surveys: each laid on the first, read at the same places."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.stats import norm

from wayrule.errors import UsageError
from wayrule.model import Comparison, Difference, Series, Surveyed
from wayrule.model.arrays import Array
from wayrule.track.compare.compare import compare
from wayrule.track.compare.differ import FALSE_ALARM

NEAR_MM: Final = 50.0
"""A place so near the end of the common track is told by the end."""

PLACES: Final = 24
"""Places at which movement is told, evenly along the line; own choice: as many as a table holds."""


def series(surveys: Sequence[Surveyed], *, same_start: bool = False) -> tuple[Series, tuple[Comparison, ...]]:
    """Every later survey less the first, at places along it.

    Returns
    -------
    (movement, comparisons with the first, in order)

    Raises
    ------
    UsageError          for fewer than two surveys
    UndeterminedError   for surveys that are not of one line
    """
    if len(surveys) < 2:
        raise UsageError(
            expected="at least two surveys",
            came=str(len(surveys)),
            where="a series",
            next_step="give the folders in the order of time",
        )
    first = surveys[0].stations
    found = tuple(compare(surveys[0], later, same_start=same_start) for later in surveys[1:])
    low, high = (0.0, first.length_mm) if first.closed else (float(first.s_mm[0]), float(first.s_mm[-1]))
    places = np.linspace(low, high, PLACES, endpoint=not first.closed)
    plan, plan_sd = _read(found, "plan", places)
    height, height_sd = _read(found, "height", places)
    limit = float(norm.isf(FALSE_ALARM / 2.0 / (2.0 * PLACES * len(found))))
    return (
        Series(
            tuple(one.name for one in surveys),
            places,
            plan, plan_sd, height, height_sd,
            _moved(plan, plan_sd, limit), _moved(height, height_sd, limit),
        ),
        found,
    )  # fmt: skip


def _read(found: Sequence[Comparison], quantity: str, places: Array) -> tuple[Array, Array]:
    """(m, n) movement and sigma; the first row, of the survey itself, is zero."""
    rows = [(np.zeros(len(places)), np.zeros(len(places)))]
    for one in found:
        difference = next((d for d in one.differences if d.quantity == quantity), None)
        rows.append(_at(difference, places))
    return np.array([row[0] for row in rows]), np.array([row[1] for row in rows])


def _at(difference: Difference | None, places: Array) -> tuple[Array, Array]:
    if difference is None:
        unknown = np.full(len(places), np.nan)
        return unknown, unknown
    held = np.isfinite(difference.change)
    s = difference.s_mm[held]
    reach = np.r_[s[0] - NEAR_MM, s, s[-1] + NEAR_MM]  # ends that fall just outside the overlap

    def read(value: Array) -> Array:
        known = value[held]
        return np.interp(places, reach, np.r_[known[0], known, known[-1]], left=np.nan, right=np.nan)

    return read(difference.change), read(difference.sd * difference.scatter)


def _moved(value: Array, sd: Array, limit: float) -> tuple[bool, ...]:
    with np.errstate(invalid="ignore"):
        return tuple(bool(told) for told in np.any(np.abs(value) > limit * np.where(sd > 0, sd, np.inf), axis=0))
