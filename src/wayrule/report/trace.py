"""One quantity against chainage or time: its line, its one- and two-sigma bands, and axes that fit it."""

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from wayrule.model.arrays import Array
from wayrule.report.canvas import BAND1, BAND2, INK, LINE, MARK, PAPER, SOFT, Size
from wayrule.report.thin import thin_band, thin_line

MANY_FAULTS: Final = 8
"""With more faults than this on one diagram their lines would hide it; they become ticks."""


def draw_trace(axes: Axes, x: Array, y: Array, sd: Array, pixels: float) -> None:
    """The two bands (where there is an sd) and the line over them, thinned to the width in pixels."""
    held = np.isfinite(y) & np.isfinite(sd)
    if held.any():
        for factor, colour in ((2.0, BAND2), (1.0, BAND1)):
            low = np.where(held, y - factor * sd, np.nan)
            high = np.where(held, y + factor * sd, np.nan)
            axes.fill_between(*thin_band(x, low, high, round(pixels / 2)), color=colour, linewidth=0.0, zorder=2)
    axes.plot(*thin_line(x, y, round(pixels)), color=LINE, linewidth=1.4, zorder=3)


def limits(y: Array, sd: Array, *, zero: bool = False) -> tuple[float, float]:
    """Axis limits that hold every value and the two-sigma band where it is of usual width.

    `zero` puts 0 inside. A quantity that never changes and has no sd gets a span of 1.
    """
    held = y[np.isfinite(y)]
    low, high = float(held.min()), float(held.max())
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    spread = sd[np.isfinite(sd)]
    pad = max(0.1 * (high - low), 2.2 * float(np.median(spread)) if len(spread) else 0.0)
    return (low - pad, high + pad) if pad > 0 else (low - 0.5, high + 0.5)


def name_axes(axes: Axes, size: Size, left: str, below: str, right: str = "") -> None:
    """Axis names laid level, above the axis they name, where a phone can read them."""
    above = 1.0 + 7.0 / axis_height(axes)
    where: dict[str, Any] = {"transform": axes.transAxes, "va": "bottom", "fontsize": size.font}
    axes.text(0.0, above, left, ha="left", color=INK, **where)
    if right:
        axes.text(1.0, above, right, ha="right", color=SOFT, **where)
    if below:
        axes.set_xlabel(below, loc="right", labelpad=3)


def axis_width(axes: Axes) -> float:
    """Width of the frame [px]."""
    return float(axes.get_window_extent().width)


def axis_height(axes: Axes) -> float:
    """Height of the frame [px]."""
    return float(axes.get_window_extent().height)


def ticks(axes: Axes, size: Size, *, y_count: int = 5) -> None:
    """As many ticks as there is room for, with a real minus sign."""
    axes.xaxis.set_major_locator(_round_steps(10 if size.width > 500 else 5))
    axes.yaxis.set_major_locator(_round_steps(y_count))


def _round_steps(count: int) -> MaxNLocator:
    return MaxNLocator(count, min_n_ticks=3, steps=[1, 2, 2.5, 5, 10])


def second_axis(axes: Axes, size: Size, words: Callable[[float], str]) -> None:
    """On the right, the same grid lines in other words (a radius for a curvature, 1:n for a gradient)."""
    twin = axes.twinx()
    twin.set_ylim(axes.get_ylim())
    twin.yaxis.set_major_locator(_round_steps(5))
    twin.yaxis.set_major_formatter(FuncFormatter(lambda value, _: words(float(value))))
    twin.patch.set_visible(False)
    for spine in twin.spines.values():
        spine.set_visible(False)
    twin.tick_params(colors=SOFT, labelcolor=SOFT, labelsize=size.font, length=0)


def number_faults(axes: Axes, size: Size, places: list[tuple[float, int]]) -> None:
    """A fine line and a number at the place of each fault; (place on the x axis, number in the table)."""
    last = -math.inf
    width = axis_width(axes)
    low, high = axes.get_xlim()
    top = 1.0 if len(places) <= MANY_FAULTS else 0.1
    for place, number in sorted(places):
        axes.axvline(place, ymax=top, color=MARK, linewidth=0.9, linestyle=(0, (3, 2)), zorder=4)
        at = (place - low) / (high - low) * width
        if at - last < 1.3 * size.font:
            continue
        last = at
        axes.text(
            place, 0.02, str(number), transform=axes.get_xaxis_transform(), ha="center", va="bottom",
            fontsize=size.font, fontweight="bold", color=MARK, zorder=6,
        ).set_bbox({"boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none"})  # fmt: skip
