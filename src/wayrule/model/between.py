"""What lies between two places of a surveyed line, each quantity with its standard deviation."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Between:
    """From place A to place B of one line; every sigma from the full covariance of the adjustment.

    A place is a place of the track: where the line's scale is off, its chainage is off with it. Distances therefore
    carry the scale's sigma, and nothing here depends on where the map lies or which way it is turned.

    a, b             the places as they were asked for
    a_mm, b_mm       their chainages [mm]
    distance_mm      straight across the plan
    along_mm         along the track, the way chainage grows; on an open line < 0 where B lies before A
    rise_mm          height of B less height of A; NaN where no height is known
    turned_rad       how far the track turns from A to B, the way of `along_mm`; left > 0
    gap_mm           from A square to the track that passes near B; NaN where that track leads to A itself or ends
    foot_mm          chainage of the place that is square to A, NaN without a gap
    """

    a: str
    b: str
    a_mm: float
    b_mm: float
    distance_mm: float
    distance_sd_mm: float
    along_mm: float
    along_sd_mm: float
    rise_mm: float
    rise_sd_mm: float
    turned_rad: float
    turned_sd_rad: float
    gap_mm: float
    gap_sd_mm: float
    foot_mm: float


class Joint(Protocol):
    """What remembers how the errors of all places of a line go together."""

    def between(self, a_mm: float, b_mm: float) -> Between:
        """Two different places by their chainages [mm], both on the line."""
        ...
