"""Rules on paper: the bars that show whether a print is 1:1, and dimension lines."""

from typing import Any, Final

from matplotlib.lines import Line2D

from wayrule.report.canvas import INK, SOFT
from wayrule.report.paper import Page, write
from wayrule.units import INCH_MM

BAR_MM: Final = 100.0
BAR_IN: Final = 4.0
FINE: Final = 0.35
"""Width of a fine line [pt]."""


def line(page: Page, x0: float, y0: float, x1: float, y1: float, width: float = 0.6, **more: Any) -> None:
    """A straight line between two points [mm]; `width` in points."""
    options: dict[str, Any] = {"color": INK, "solid_capstyle": "butt", **more}
    page.axes.add_line(Line2D([x0, x1], [y0, y1], linewidth=width, **options))


def bar_mm(page: Page, x: float, y: float) -> None:
    """The bar of 100 mm, ticks every 5 mm upwards from y, numbers every 20."""
    _bar(page, x, y, BAR_MM, 5.0, 2, "bar-100-mm")
    for tick in range(0, 101, 20):
        write(page, x + tick, y + 4.6, f"{tick}", 6.5, align="center")
    write(page, x + BAR_MM + 2.5, y + 0.8, "mm", 7)


def bar_inch(page: Page, x: float, y: float) -> None:
    """The bar of 4 in, ticks every eighth upwards from y, numbers at whole inches."""
    _bar(page, x, y, BAR_IN * INCH_MM, INCH_MM / 8, 8, "bar-4-in")
    for tick in range(5):
        write(page, x + tick * INCH_MM, y + 4.6, f"{tick}", 6.5, align="center")
    write(page, x + BAR_IN * INCH_MM + 2.5, y + 0.8, "in", 7)


def bar_upright(page: Page, x: float, y: float) -> None:
    """The bar of 100 mm along the paper, ticks to the left of x."""
    line(page, x, y, x, y + BAR_MM, 0.9, gid="bar-100-mm-upright")
    for k in range(21):
        long = 3.4 if k % 2 == 0 else 2.0
        line(page, x - long, y + 5 * k, x, y + 5 * k, 0.9 if k in (0, 20) else FINE)
    for tick in range(0, 101, 20):
        write(page, x - 4.2, y + tick, f"{tick}", 6.5, align="right", va="center")


def _bar(page: Page, x: float, y: float, length: float, step: float, every: int, gid: str) -> None:
    line(page, x, y, x + length, y, 0.9, gid=gid)
    count = round(length / step)
    for k in range(count + 1):
        tall = 3.4 if k % every == 0 else 2.0
        line(page, x + k * step, y, x + k * step, y + tall, 0.9 if k in (0, count) else FINE)


def across(page: Page, x0: float, x1: float, y: float, text: str, *, below: bool = False) -> None:
    """A horizontal dimension: arrows from x0 to x1 at height y, the number above the line (or below)."""
    _arrow(page, (x0, y), (x1, y))
    write(page, (x0 + x1) / 2, y - 3.2 if below else y + 1.0, text, 7.5, align="center")


def along(page: Page, x: float, y0: float, y1: float, text: str, *, left: bool = False) -> None:
    """An upright dimension: arrows from y0 to y1, the number beside the line."""
    _arrow(page, (x, y0), (x, y1))
    write(page, x + (-1.2 if left else 1.2), (y0 + y1) / 2, text, 7.5, align="right" if left else "left", va="center")


def helper(page: Page, x0: float, y0: float, x1: float, y1: float) -> None:
    """A thin line from a drawing to its dimension."""
    line(page, x0, y0, x1, y1, FINE, color=SOFT)


def _arrow(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    style = {"arrowstyle": "<|-|>,head_width=0.12,head_length=0.3", "lw": 0.5, "color": INK, "shrinkA": 0, "shrinkB": 0}
    page.axes.annotate("", xy=end, xytext=start, arrowprops=style)
