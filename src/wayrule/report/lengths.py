"""Which length units a page speaks: mm and inch for a model, m and ft where the line is as large as the prototype."""

import math
from dataclasses import dataclass
from typing import Final

from wayrule.report.numbers import NO_BREAK, pair, rounded, significant, with_sd
from wayrule.units import INCH_MM

FULL_SIZE_MM: Final = 400_000.0
"""A line longer than this [mm] speaks metres and feet even when its scale is a model's (a club's hall is shorter)."""


@dataclass(frozen=True, slots=True)
class Lengths:
    """The pair of units for radii, lengths and errors; chainage has its own (see `chainage_unit`).

    metric, imperial             unit names
    metric_mm, imperial_mm       their size [mm]
    larger                       the metric unit a thousand times as large
    """

    metric: str
    metric_mm: float
    imperial: str
    imperial_mm: float
    larger: str

    def both(self, value_mm: float, sd_mm: float = float("nan")) -> tuple[str, str]:
        """Metric and imperial text of one length, each with its sd where there is one, without unit.

        >>> [t.replace(chr(160), " ") for t in MODEL.both(358.2, 1.9)]
        ['358.2 ± 1.9', '14.10 ± 0.07']
        """
        return self._one(value_mm, sd_mm, self.metric_mm), self._one(value_mm, sd_mm, self.imperial_mm)

    def text(self, value_mm: float, sd_mm: float = float("nan")) -> str:
        """Metric text with unit; an sd that is missing is said to be missing."""
        return with_sd(value_mm / self.metric_mm, sd_mm / self.metric_mm, self.metric)

    def short(self, value_mm: float, digits: int = 3) -> str:
        """Metric text with unit and a stated count of digits, for labels.

        >>> MODEL.short(358.2).replace(chr(160), " ")
        '358 mm'
        """
        return f"{significant(value_mm / self.metric_mm, digits)}{NO_BREAK}{self.metric}"

    @staticmethod
    def _one(value_mm: float, sd_mm: float, unit_mm: float) -> str:
        number, spread = pair(value_mm / unit_mm, sd_mm / unit_mm)
        return f"{number}{NO_BREAK}±{NO_BREAK}{spread}" if spread else number


MODEL: Final = Lengths("mm", 1.0, "in", INCH_MM, "m")
FULL: Final = Lengths("m", 1000.0, "ft", 12 * INCH_MM, "km")


def lengths_for(length_mm: float, ratio: float) -> Lengths:
    """The units that fit a line of this length at this scale.

    >>> lengths_for(9030.0, 87).metric, lengths_for(1.0e6, 1).metric
    ('mm', 'm')
    """
    full = (math.isfinite(length_mm) and length_mm > FULL_SIZE_MM) or ratio < 2
    return FULL if full else MODEL


def metres(value_mm: float) -> str:
    """Chainage in metres: to 1 cm below 100 m, to 0.1 m below 10 km, else to 1 m.

    >>> metres(2437.0).replace(chr(160), " "), metres(987654.0).replace(chr(160), " ")
    ('2.44 m', '987.7 m')
    """
    place = -2 if abs(value_mm) < 1e5 else -1 if abs(value_mm) < 1e7 else 0
    return f"{rounded(value_mm / 1000.0, place)}{NO_BREAK}m"
