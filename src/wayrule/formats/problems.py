"""How a problem found in a recording is placed and worded."""

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Problem

NAMED_LINES = 3
"""So many lines are named; the rest is counted."""


def place(lines: NDArray[np.int64], t_s: NDArray[np.float64] | None = None) -> str:
    """Where something was found: line numbers, and the time of the first.

    >>> place(np.array([812, 815, 900, 901, 977]), np.array([12.4, 13.0, 14.0, 14.1, 15.0]))
    'lines 812, 815, 900 and 2 more, first at 12.400 s'
    """
    if not len(lines):
        return "nowhere"
    named = ", ".join(str(line) for line in lines[:NAMED_LINES])
    more = f" and {len(lines) - NAMED_LINES} more" if len(lines) > NAMED_LINES else ""
    word = "line" if len(lines) == 1 else "lines"
    first = "" if t_s is None else f", {'first ' if len(lines) > 1 else ''}at {t_s[0]:.3f} s"
    return f"{word} {named}{more}{first}"


def problem(kind: str, what: str, where: str, done: str, *, count: int) -> Problem:
    """A problem whose sentence is put together from its parts.

    >>> problem("gap", "1 gap, 0.42 s long", "line 812, at 12.400 s", "kept", count=1).text
    '1 gap, 0.42 s long (line 812, at 12.400 s): kept.'
    """
    return Problem(kind, count, where, done, f"{what} ({where}): {done}.")


def many(count: int, one: str, several: str | None = None) -> str:
    """A count with its noun: "1 row", "3 rows"."""
    return f"{count} {one if count == 1 else several or one + 's'}"
