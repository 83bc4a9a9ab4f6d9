"""From a size, its sigma and a limit to a verdict."""

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

from scipy.stats import norm

from wayrule.model.finding import Verdict
from wayrule.model.rule import Sense

SURE: Final = 2.0
"""Sigmas that make a verdict sure: 97.7 %, one-sided."""

NEAR: Final = 0.1
"""So much of the limit is little to spare; our choice."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict, and how many sigmas the size lies on the right side of the limit (< 0: on the wrong side)."""

    verdict: Verdict
    sigmas: float


@cache
def sigmas_for(places: int) -> float:
    """Sigmas beyond which chance alone makes one of so many places fall no more often than one place beyond two.

    >>> round(sigmas_for(1), 2), round(sigmas_for(100), 2)
    (2.0, 3.51)
    """
    return float(norm.isf(norm.sf(SURE) / max(places, 1)))


def judged(size: float, sd: float, limit: float, sense: Sense, *, places: int = 1) -> Judged:
    """The verdict.

    Parameters
    ----------
    size, sd, limit : in one unit; sd NaN where it is not known, 0 for what is exact
    places : how many places this is the worst of

    Examples
    --------
    >>> judged(400.0, 1.0, 360.0, "at least").verdict, judged(350.0, 1.0, 360.0, "at least").verdict
    ('pass', 'fail')
    >>> judged(370.0, 1.0, 360.0, "at least").verdict, judged(355.0, 60.0, 360.0, "at least").verdict
    ('near', 'cannot_tell')
    """
    spare = (size - limit) if sense == "at least" else (limit - size)
    if math.isnan(size) or math.isnan(sd):
        return Judged("cannot_tell", math.nan)
    sigmas = spare / sd if sd > 0 else math.copysign(math.inf, spare) if spare else math.inf
    if sigmas <= -(sigmas_for(places) if sd > 0 else 0.0):
        return Judged("fail", sigmas)
    close = NEAR * limit
    if sigmas >= SURE:
        return Judged("pass" if spare > close else "near", sigmas)
    return Judged("near" if abs(spare) + SURE * sd <= 2.0 * close else "cannot_tell", sigmas)


def needed_sd(size: float, limit: float) -> float:
    """Sigma at which a verdict would be sure; a tenth of the limit over two where the size lies closer to it.

    >>> needed_sd(355.0, 360.0)
    18.0
    """
    return max(abs(size - limit), NEAR * limit) / SURE
