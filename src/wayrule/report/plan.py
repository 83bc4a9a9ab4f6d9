"""The plan: the line from above, in equal axes, with its colours, its uncertainty and its signs."""

import math
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from wayrule.model import Fault, Mark, Stations
from wayrule.model.arrays import Array
from wayrule.report.canvas import BAND1, SOFT, Size, dress, new_figure, place_axes
from wayrule.report.lengths import Lengths
from wayrule.report.plancolour import colour_bar, colour_scale, draw_line
from wayrule.report.planlabels import place_labels
from wayrule.report.plansigns import Line, chainage_ticks, named_places, nice_step, scale_bar, sign_boxes, start_sign

LEFT_PX: Final = 46.0
RIGHT_PX: Final = 12.0
TOP_PX: Final = 8.0
BELOW_PX: Final = 92.0
AROUND_PX: Final = 44.0
SCALE_PX: Final = 14.0
"""Room [px] below the line for the scale bar."""

TALLEST: Final = 1.15
"""A plan is at most this many times as high as it is wide."""

SHOWN_PX: Final = 14.0
"""The uncertainty is enlarged until its largest sigma takes at most this many pixels."""


class Exaggeration(NamedTuple):
    """By how much the uncertainty is drawn enlarged, and the largest sd across the line [mm]; `times` 0: not drawn."""

    times: int
    largest_sd_mm: float


def plan_figure(
    stations: Stations,
    faults: Sequence[Fault],
    marks: Sequence[tuple[float, Mark]],
    lengths: Lengths,
    size: Size,
    *,
    colour_by: Literal["curvature", "gradient"] = "curvature",
) -> Figure | None:
    """The line from above in metres, x to the right and y upwards; None with fewer than two known places.

    Notes
    -----
    The pale band is one sigma across the line (`across_sd_mm`), enlarged `plan_exaggeration` times.
    """
    line = Line(stations)
    if len(line.s_mm) < 2:
        return None
    figure, axes = _paper(line, size)
    px_per_m = _px_per_m(axes)
    _uncertainty(axes, stations, px_per_m)
    x_m, y_m = line.outline()
    value, sd, factor = (
        (stations.curvature_1_mm, stations.curvature_sd_1_mm, 1000.0)
        if colour_by == "curvature"
        else (stations.gradient, stations.gradient_sd, 100.0)
    )
    shown = value[line.held] * factor
    scale = colour_scale(shown, sd[line.held] * factor)
    draw_line(axes, x_m, y_m, shown, scale)
    if scale is not None:
        colour_bar(figure, scale, colour_by, lengths, size)
    labels = chainage_ticks(axes, line, px_per_m, size) + named_places(axes, line, faults, marks, size)
    start, arrow = start_sign(axes, line, px_per_m)
    labels += start
    taken = [scale_bar(axes, px_per_m, size), arrow, *sign_boxes(axes, labels)]
    place_labels(axes, x_m, y_m, labels, size.font, taken=taken)
    return figure


def plan_exaggeration(stations: Stations, size: Size) -> Exaggeration:
    """What `plan_figure` draws at this size, for its caption."""
    line = Line(stations)
    return exaggeration(stations, _px_per_m(_paper(line, size)[1])) if len(line.s_mm) > 1 else Exaggeration(0, 0.0)


def exaggeration(stations: Stations, px_per_m: float) -> Exaggeration:
    """The step of 1, 2, 5, 10 ... that brings the largest sd across the line to at most `SHOWN_PX` on the paper.

    1 where it is larger than that by itself; 0 where no station has an sd.
    """
    sd = across_sd_mm(stations)
    held = sd[np.isfinite(sd)]
    largest = float(held.max()) if len(held) else 0.0
    if largest <= 0:
        return Exaggeration(0, 0.0)
    room = SHOWN_PX / (largest / 1000.0 * px_per_m)
    if room < 2:
        return Exaggeration(1, largest)
    decade = 10 ** math.floor(math.log10(room))
    return Exaggeration(round(max(n * decade for n in (1, 2, 5) if n * decade <= room)), largest)


def across_sd_mm(stations: Stations) -> Array:
    """(n,) one sigma of place across the line [mm]; NaN where it is not known.

    sqrt((sin h sx)^2 + (cos h sy)^2) with heading h: a station does not keep the correlation of x and y, taken as 0.
    """
    h = stations.heading_rad
    return np.hypot(np.sin(h) * stations.x_sd_mm, np.cos(h) * stations.y_sd_mm)


def _paper(line: Line, size: Size) -> tuple[Figure, Axes]:
    """Axes of equal scale with room for labels around the line; the height follows the line's own shape."""
    width = size.width - LEFT_PX - RIGHT_PX
    across, up = (max(float(np.ptp(v)), 1e-6) for v in (line.x_m, line.y_m))
    px_per_m = min((width - 2 * AROUND_PX) / across, (TALLEST * size.width - 2 * AROUND_PX) / up)
    height = max(150.0, up * px_per_m + 2 * AROUND_PX + SCALE_PX)
    figure = new_figure(size, height + TOP_PX + BELOW_PX)
    axes = place_axes(figure, LEFT_PX, RIGHT_PX, TOP_PX, BELOW_PX)
    dress(axes, size.font)
    axes.set_xlim(*_around(line.x_m, width / px_per_m))
    bottom, top = _around(line.y_m, height / px_per_m)
    axes.set_ylim(bottom - 0.5 * SCALE_PX / px_per_m, top - 0.5 * SCALE_PX / px_per_m)
    axes.set_aspect("equal", adjustable="box")
    axes.tick_params(labelcolor=SOFT, labelsize=size.font - 1)
    step = nice_step(max(across, up), 8 if size.width > 500 else 5)
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.yaxis.set_major_locator(MultipleLocator(step))
    return figure, axes


def _around(values: Array, span: float) -> tuple[float, float]:
    middle = 0.5 * (float(values.min()) + float(values.max()))
    return middle - 0.5 * span, middle + 0.5 * span


def _px_per_m(axes: Axes) -> float:
    low, high = axes.get_xlim()
    return float(axes.get_window_extent().width / (high - low))


def _uncertainty(axes: Axes, stations: Stations, px_per_m: float) -> None:
    """One sigma across the line as a band, enlarged."""
    times, _ = exaggeration(stations, px_per_m)
    sd = across_sd_mm(stations)
    held = np.flatnonzero(np.isfinite(sd) & np.isfinite(stations.x_mm) & np.isfinite(stations.y_mm))
    if not times or len(held) < 2:
        return
    index = held[:: max(1, len(held) // 400)]
    index = np.r_[index, index[:1] if stations.closed else held[-1:]]
    h, half = stations.heading_rad[index], times * sd[index] / 1000.0
    x, y = stations.x_mm[index] / 1000.0, stations.y_mm[index] / 1000.0
    left = np.c_[x - half * np.sin(h), y + half * np.cos(h)]
    right = np.c_[x + half * np.sin(h), y - half * np.cos(h)]
    outline = np.r_[left, right[::-1]]
    axes.fill(outline[:, 0], outline[:, 1], color=BAND1, alpha=0.55, linewidth=0.0, zorder=2)
