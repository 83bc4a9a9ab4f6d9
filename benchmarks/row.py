"""One promised figure: what, measured, limit, ok; and how rows are made so that a failing one still is a row."""

import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One figure and its verdict.

    what      what was measured, with its conditions, in words
    measured  the value and its unit ("2.1 mm rms"), or "" when it could not be measured here
    limit     what it is held against ("<= 3 mm rms")
    ok        whether it holds
    why       why it could not be measured; "" otherwise
    """

    what: str
    measured: str
    limit: str
    ok: bool
    why: str = ""

    def __post_init__(self) -> None:
        if not self.what or not self.limit:
            raise ValueError(f"Row: expected what and limit in words, came {self.what!r} and {self.limit!r}")
        if self.ok and (self.why or not self.measured):
            raise ValueError(f"Row {self.what!r}: expected a measured value in a row that holds, came none")


def at_most(what: str, value: float, limit: float, unit: str) -> Row:
    """A row that holds when `value <= limit`; NaN never holds.

    >>> at_most("plan rms", 2.125, 3.0, "mm")
    Row(what='plan rms', measured='2.12 mm', limit='<= 3 mm', ok=True, why='')
    """
    return Row(what, f"{value:.3g} {unit}".rstrip(), f"<= {limit:g} {unit}".rstrip(), bool(value <= limit))


def at_least(what: str, value: float, limit: float, unit: str) -> Row:
    """A row that holds when `value >= limit`; NaN never holds.

    >>> at_least("correlation", 0.9, 0.85, "").ok
    True
    """
    return Row(what, f"{value:.3g} {unit}".rstrip(), f">= {limit:g} {unit}".rstrip(), bool(value >= limit))


def between(what: str, value: float, low: float, high: float, unit: str) -> Row:
    """A row that holds when `low <= value <= high`; NaN never holds.

    >>> between("inside one sigma", 68.0, 55.0, 80.0, "%").limit
    '55 to 80 %'
    """
    return Row(what, f"{value:.3g} {unit}".rstrip(), f"{low:g} to {high:g} {unit}".rstrip(), bool(low <= value <= high))


def guarded(what: str, limit: str, measure: Callable[[], Iterable[Row]]) -> Iterator[Row]:
    """The rows of `measure`; when it fails half-way, one more row that says so, so that no figure goes missing."""
    try:
        yield from measure()
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        yield Row(what, "", limit, ok=False, why=f"{type(error).__name__}: {error} ({place.name}, line {place.lineno})")
