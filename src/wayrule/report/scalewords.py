"""What stands at the ticks of a scale: a radius for a curvature, 1:n for a gradient."""

from wayrule.report.lengths import Lengths
from wayrule.report.numbers import NO_BREAK, significant

LARGE = 20_000.0
"""A radius from this many mm (or m) on is given in the next unit, m (or km): the line is all but straight there."""

FLATTEST = 1e-4
"""Below this a tick says "level"."""


def radius_words(curvature_1_mm: float, lengths: Lengths, straight: str) -> str:
    """Radius in the lengths' metric unit, without the unit; a large one in the next unit, and with it.

    >>> from wayrule.report.lengths import MODEL
    >>> [radius_words(k, MODEL, "straight").replace(chr(160), " ") for k in (1 / 358.24, -1e-5, 0.0)]
    ['358', '100 m', 'straight']
    """
    if abs(curvature_1_mm) < 1e-12:
        return straight
    radius = abs(1.0 / curvature_1_mm) / lengths.metric_mm
    if radius >= LARGE:
        return f"{significant(radius / 1000.0, 3).removesuffix('.0')}{NO_BREAK}{lengths.larger}"
    return significant(radius, 3)


def slope_words(gradient: float) -> str:
    """1:n, and "level" for what is flatter than 1:10 000.

    >>> slope_words(0.02), slope_words(-2e-4), slope_words(0.0)
    ('1:50', '1:5000', 'level')
    """
    if abs(gradient) <= FLATTEST * (1 + 1e-9):
        return "level"
    n = abs(1.0 / gradient)
    return f"1:{significant(n, 2 if n < 100 else 3)}"
