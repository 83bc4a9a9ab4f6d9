"""What stands beside the line on a plan: chainage ticks, the start and its arrow, faults, marks, and the scale bar."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from wayrule.model import Fault, Mark, Stations
from wayrule.model.arrays import Array
from wayrule.report.canvas import INK, MARK, PAPER, SOFT, Size, plain_text
from wayrule.report.numbers import grouped
from wayrule.report.planlabels import Box, Label

NICE: Final = (1.0, 2.0, 5.0, 10.0)
ARROW: Final = "-|>,head_width=0.32,head_length=0.7"


class Line:
    """Places along a line of stations by chainage, in metres; stations without a place are left out."""

    def __init__(self, stations: Stations) -> None:
        held = np.isfinite(stations.x_mm) & np.isfinite(stations.y_mm)
        self.s_mm = stations.s_mm[held]
        self.x_m, self.y_m = stations.x_mm[held] / 1000.0, stations.y_mm[held] / 1000.0
        self.held = held
        self.lap_mm = stations.length_mm if stations.closed and stations.length_mm > 0 else math.inf

    def at(self, s_mm: float) -> tuple[float, float, float]:
        """x, y [m] and the heading of the drawn line at a chainage."""
        s = s_mm % self.lap_mm if math.isfinite(self.lap_mm) else s_mm
        reach = 0.75 * float(np.median(np.diff(self.s_mm)))
        (x, x0, x1), (y, y0, y1) = (np.interp([s, s - reach, s + reach], self.s_mm, v) for v in (self.x_m, self.y_m))
        return float(x), float(y), math.atan2(float(y1 - y0), float(x1 - x0))

    def outline(self) -> tuple[Array, Array]:
        """x and y [m], back to the start where the line is closed."""
        if math.isfinite(self.lap_mm):
            return np.r_[self.x_m, self.x_m[:1]], np.r_[self.y_m, self.y_m[:1]]
        return self.x_m, self.y_m


def nice_step(span: float, count: int) -> float:
    """The smallest of 1, 2, 5, 10 ... that divides a span into at most `count` parts.

    >>> nice_step(8.41, 12), nice_step(1009.0, 8)
    (1.0, 200.0)
    """
    decade = 10.0 ** math.floor(math.log10(span / count))
    return next(n * decade for n in NICE if n * decade >= span / count * (1 - 1e-9))


def chainage_ticks(axes: Axes, line: Line, px_per_m: float, size: Size) -> list[Label]:
    """A tick across the line at every round chainage; gives the labels, in metres."""
    last_m = float(line.s_mm[-1]) / 1000.0
    step = nice_step(max(last_m, 1e-3), 12 if size.width > 500 else 8)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    labels = []
    for i in range(1, int(last_m / step + 1e-9) + 1):
        x, y, h = line.at(i * step * 1000.0)
        _across(axes, x, y, h, 6.5 / px_per_m, INK, 1.1, 3.5)
        labels.append(Label(x, y, h, grouped(f"{i * step:.{places}f}"), SOFT, "normal", 9.0))
    return labels


def start_sign(axes: Axes, line: Line, px_per_m: float) -> tuple[list[Label], Box]:
    """A bar across the line at its first station and an arrow beside it, the way chainage grows.

    Gives the label and the box that the arrow takes [px].
    """
    x, y, h = line.at(float(line.s_mm[0]))
    _across(axes, x, y, h, 10.0 / px_per_m, MARK, 2.6, 7.0)
    c, s = math.cos(h) / px_per_m, math.sin(h) / px_per_m
    tail = (x + 13.0 * s + 4.0 * c, y - 13.0 * c + 4.0 * s)
    tip = (tail[0] + 30.0 * c, tail[1] + 30.0 * s)
    style = {"arrowstyle": ARROW, "color": MARK, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", xy=tip, xytext=tail, zorder=7, arrowprops=style)
    (ax, ay), (bx, by) = axes.transData.transform([tail, tip]).tolist()
    box = (min(ax, bx) - 4.0, min(ay, by) - 4.0, max(ax, bx) + 4.0, max(ay, by) + 4.0)
    return [Label(x, y, h, "start", MARK, "bold", 14.0)], box


def named_places(
    axes: Axes, line: Line, faults: Sequence[Fault], marks: Sequence[tuple[float, Mark]], size: Size
) -> list[Label]:
    """Rings for marks and numbered diamonds for faults; gives their labels, those of the faults last."""
    longest = 24 if size.width > 500 else 14
    labels = []
    for name, s_mm in first_of_each(marks):
        x, y, h = line.at(s_mm)
        _sign(axes, x, y, "o", 6.0, PAPER, INK)
        labels.append(Label(x, y, h, plain_text(name, longest), INK, "normal", 11.0))
    for i, fault in enumerate(faults, 1):
        x, y, h = line.at(fault.s_mm)
        _sign(axes, x, y, "D", 8.0, MARK, PAPER)
        labels.append(Label(x, y, h, str(i), MARK, "bold", 12.0))
    return labels


def first_of_each(marks: Sequence[tuple[float, Mark]]) -> list[tuple[str, float]]:
    """Each mark's name once, with the mean of its chainages: a wagon passes the same nameplate on every lap.

    >>> first_of_each([(10.0, Mark(1.0, "halt")), (12.0, Mark(9.0, "halt"))])
    [('halt', 11.0)]
    """
    places: dict[str, list[float]] = {}
    for s_mm, mark in marks:
        if math.isfinite(s_mm):
            places.setdefault(mark.name, []).append(s_mm)
    return [(name, sum(found) / len(found)) for name, found in places.items()]


def scale_bar(axes: Axes, px_per_m: float, size: Size) -> Box:
    """A bar of a round length in the lower right corner, half ink and half paper; gives the box it takes [px]."""
    low, high = axes.get_xlim()
    longest = 0.26 * (high - low)
    decade = 10.0 ** math.floor(math.log10(longest))
    bar_m = max(n * decade for n in NICE if n * decade <= longest)
    x1, y0 = high - 10.0 / px_per_m, axes.get_ylim()[0] + 9.0 / px_per_m
    thick = 4.5 / px_per_m
    for start, colour in ((x1 - bar_m, INK), (x1 - bar_m / 2, PAPER)):
        frame = Rectangle((start, y0), bar_m / 2, thick, facecolor=colour, edgecolor=INK, linewidth=0.9, zorder=9)
        axes.add_patch(frame)
    words = f"{bar_m * 1000:g} mm" if bar_m < 1 else f"{bar_m:g} m"
    where = (x1 - bar_m / 2, y0 + thick + 3.0 / px_per_m)
    axes.text(*where, words, ha="center", va="bottom", fontsize=size.font - 1, color=INK, zorder=9)
    a, b = axes.transData.transform((x1 - bar_m, y0))
    return float(a) - 4.0, float(b) - 4.0, float(a) + bar_m * px_per_m + 4.0, float(b) + 10.0 + 1.4 * size.font


def sign_boxes(axes: Axes, labels: Sequence[Label]) -> list[Box]:
    """The square [px] around the place of each label, where its tick or sign stands."""
    boxes = []
    for label in labels:
        x, y = axes.transData.transform((label.x, label.y))
        boxes.append((float(x) - 4.0, float(y) - 4.0, float(x) + 4.0, float(y) + 4.0))
    return boxes


def _across(axes: Axes, x: float, y: float, h: float, half: float, colour: str, wide: float, order: float) -> None:
    dx, dy = half * math.sin(h), half * math.cos(h)
    axes.plot([x - dx, x + dx], [y + dy, y - dy], color=colour, linewidth=wide, zorder=order)


def _sign(axes: Axes, x: float, y: float, shape: str, big: float, fill: str, edge: str) -> None:
    axes.plot(
        [x], [y], marker=shape, markersize=big, color=fill, markeredgecolor=edge, markeredgewidth=1.4, zorder=8
    )  # fmt: skip
