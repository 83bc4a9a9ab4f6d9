"""A control chart of single values: where they scatter, and which of them no longer fit.

Chart of individuals with limits from the mean moving range (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2);
rules of the Western Electric handbook (the same, 6.3.2).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model.arrays import Array

D2_OF_TWO: Final = 2.0 / math.sqrt(math.pi)
"""Mean range of two draws over their sd: 1.128 (the handbook's d2)."""

RUN_ON_ONE_SIDE: Final = 8
"""So many in a row on one side of the centre are no chance (Western Electric)."""

RUN_ONE_WAY: Final = 6
"""So many in a row that each rise, or each fall, are no chance: a trend (the handbook, 6.3.2, as it adds to them)."""

LEAST_FOR_RANGES: Final = 8
"""From so many values on their own moving ranges say how much they scatter; before that, what each promises does."""


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Centre, sd of one value, and what stands out.

    centre, sd     limits are centre +- 3 sd
    from_ranges    whether sd comes from the values' own moving ranges; else from what each promised
    signals        (number of the value that gave it, words), in order
    """

    centre: float
    sd: float
    from_ranges: bool
    signals: tuple[tuple[int, str], ...]

    @property
    def limits(self) -> tuple[float, float]:
        """Lower and upper control limit."""
        return self.centre - 3.0 * self.sd, self.centre + 3.0 * self.sd


def chart(values: Array, promised_sd: Array) -> Chart:
    """The chart of values in the order in which they were found.

    Parameters
    ----------
    values, promised_sd : (n,)   n >= 1; what each is believed to scatter by, day by day

    Examples
    --------
    >>> flow = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])  # NIST e-Handbook, 6.3.2.2
    >>> [round(float(limit), 2) for limit in chart(flow, np.ones(10)).limits]
    [45.82, 55.8]
    """
    weight = promised_sd**-2.0
    ranges = len(values) >= LEAST_FOR_RANGES
    centre = float(np.mean(values)) if ranges else float(np.average(values, weights=weight))
    moving = float(np.mean(np.abs(np.diff(values)))) / D2_OF_TWO if ranges else 0.0
    sd = moving if moving > 0 else float(np.sqrt(np.mean(promised_sd**2)))
    return Chart(centre, sd, moving > 0, _signals((values - centre) / sd))


def newest(values: Array, promised_sd: Array) -> float:
    """How many sds the last value lies from the mean of those before it; NaN for a first one.

    >>> float(round(newest(np.array([1.0, 1.0, 4.0]), np.array([1.0, 1.0, 1.0])), 3))  # 3 / sqrt(1 + 1/2)
    2.449
    """
    if len(values) < 2:
        return float("nan")
    weight = promised_sd[:-1] ** -2.0
    mean = np.average(values[:-1], weights=weight)
    return float((values[-1] - mean) / np.hypot(promised_sd[-1], weight.sum() ** -0.5))


def _signals(z: Array) -> tuple[tuple[int, str], ...]:
    """What no chance would do, in units of sd from the centre; each run is told once, where it becomes one."""
    found: list[tuple[int, str]] = []
    for i, one in enumerate(z):
        side = np.sign(one)
        if abs(one) > 3:
            found.append((i, "beyond three sigmas"))
        elif _times(z, i, 3, side * 2) == 2 and abs(one) > 2:
            found.append((i, "two of three beyond two sigmas on one side"))
        elif _times(z, i, 5, side) == 4 and abs(one) > 1:
            found.append((i, "four of five beyond one sigma on one side"))
        if _just(_same_side(z, i), _same_side(z, i - 1), RUN_ON_ONE_SIDE):
            found.append((i, f"{RUN_ON_ONE_SIDE} in a row on one side"))
        if _just(_one_way(z, i), _one_way(z, i - 1), RUN_ONE_WAY):
            found.append((i, f"{RUN_ONE_WAY} in a row that each {'rise' if z[i] > z[i - 1] else 'fall'}"))
    return tuple(found)


def _times(z: Array, i: int, of: int, limit: float) -> int:
    """How many of the last `of` up to i lie beyond a limit on its side; a value beyond is needed at i itself."""
    last = z[max(0, i + 1 - of) : i + 1]
    return int(np.sum(last * np.sign(limit) > abs(limit))) if limit else 0


def _just(now: int, before: int, least: int) -> bool:
    return now >= least > before


def _same_side(z: Array, i: int) -> int:
    """How many in a row up to i lie on one side of the centre."""
    count = 0
    while i - count >= 0 and z[i - count] * z[i] > 0:
        count += 1
    return count


def _one_way(z: Array, i: int) -> int:
    """How many values in a row up to i each lie higher, or each lower, than the one before; the first counts too."""
    if i < 1:
        return 1
    way, count = np.sign(z[i] - z[i - 1]), 1
    while i - count >= 0 and way and np.sign(z[i - count + 1] - z[i - count]) == way:
        count += 1
    return count
