"""A place that was once found, carried on by the wheel, and held against what is found later."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from wayrule.model import Fault, Located
from wayrule.model.now import Told
from wayrule.track.known import KnownLine, short_way

MOST_MISSES: Final = 3
"""So many times in a row the wagon may fit nowhere before its place is given up."""
CONSISTENT_SDS: Final = 4.0


@dataclass(frozen=True, slots=True)
class Followed:
    """Where a wagon certainly was, and how far it had rolled then.

    s_mm, sd_mm, way   as `LikelyPlace`; at_mm: its wheel distance there
    misses             how often since then it fitted nowhere
    """

    s_mm: float
    sd_mm: float
    way: Literal[1, -1]
    at_mm: float
    misses: int = 0

    def now(self, distance_mm: float, scale_sd: float, line: KnownLine) -> Told:
        """Its chainage when it has rolled `distance_mm`, and the sd.

        >>> from wayrule.track.known import KnownLine, short_way
        >>> line = KnownLine(*[np.zeros(0)] * 3, True, 9000.0, 0.0, 0.0, 0.0, 1.0)
        >>> place = Followed(100.0, 3.0, -1, 5000.0).now(5400.0, 0.01, line)
        >>> place.value, place.sd
        (8700.0, 5.0)
        """
        rolled = distance_mm - self.at_mm
        s = self.s_mm + self.way * rolled
        return Told(s % line.length_mm if line.closed else s, float(np.hypot(self.sd_mm, scale_sd * rolled)))


def follow(
    before: Followed | None, found: Located, distance_mm: float, scale_sd: float, line: KnownLine
) -> Followed | None:
    """The place after another look: the new one where it is certain, else the old one as long as nothing contradicts.

    Parameters
    ----------
    distance_mm : the wagon's wheel distance at the newest end of the trail that was looked at
    """
    here = found.here
    if here is not None:
        return Followed(here.s_mm, here.sd_mm, here.way, distance_mm)
    if before is None or found.certainty == "unknown":
        return before
    s, sd = before.now(distance_mm, scale_sd, line)
    fits = any(
        place.way == before.way
        and abs(short_way(place.s_mm - s, line)) <= CONSISTENT_SDS * float(np.hypot(sd, place.sd_mm))
        for place in found.places
    )
    if fits:
        return replace(before, misses=0)
    return replace(before, misses=before.misses + 1) if before.misses + 1 < MOST_MISSES else None


def ahead(s_mm: float, target_mm: float, way: int, line: KnownLine) -> float:
    """How far a place lies from another, along the way that the wagon rolls (+1: growing chainage) [mm]; on a closed
    line from half a lap behind to half a lap ahead.

    >>> line = KnownLine(*[np.zeros(0)] * 3, True, 9000.0, 0.0, 0.0, 0.0, 1.0)
    >>> ahead(8900.0, 100.0, 1, line), ahead(8900.0, 100.0, -1, line)
    (200.0, -200.0)
    """
    return way * short_way(target_mm - s_mm, line)


def next_fault(s_mm: float, way: int, faults: Sequence[Fault], line: KnownLine) -> tuple[int, float] | None:
    """Which fault comes next, rolling the way +1 or -1, and how far away it is [mm]; None where none does."""
    gaps = [way * (fault.s_mm - s_mm) for fault in faults]
    if line.closed:
        gaps = [gap % line.length_mm for gap in gaps]
    coming = [(gap, number) for number, gap in enumerate(gaps) if gap >= 0]
    return (min(coming)[1], min(coming)[0]) if coming else None
