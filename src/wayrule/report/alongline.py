"""Diagrams against chainage: curvature, gradient, height and cant, each with its one- and two-sigma bands.

Every function takes the stations and gives a matplotlib figure, or None where the runs could not give the quantity.
Chainage is in metres; left curves, climbing track and a high left rail point upwards. `truth`, where it is known (a
simulated line), is drawn dashed over the measured line.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wayrule.model import Element, Fault, Stations
from wayrule.model.arrays import Array
from wayrule.report.canvas import BAND1, INK, SECOND, SOFT, Size, dress, new_figure, place_axes
from wayrule.report.lengths import Lengths
from wayrule.report.numbers import significant
from wayrule.report.scalewords import radius_words, slope_words
from wayrule.report.thin import thin_line
from wayrule.report.trace import (
    axis_height,
    axis_width,
    draw_trace,
    limits,
    name_axes,
    number_faults,
    second_axis,
    ticks,
)

STRIP_PX = 34.0
TRANSVERSE = ("kink", "lateral")
VERTICAL = ("dip", "hump")
ACROSS = ("twist", "one_rail_dip")


def drawable(*columns: Array) -> bool:
    """Whether there are at least two stations at which every one of these columns is known."""
    return bool(len(columns[0]) > 1 and np.count_nonzero(np.all(np.isfinite(columns), axis=0)) > 1)


def curvature_unit(curvature_1_mm: Array) -> tuple[str, float]:
    """Unit for curvature and the factor from 1/mm: 1/m on a model, 1/km on lines without a curve under 20 m."""
    top = float(np.nanmax(np.abs(curvature_1_mm)))
    return ("1/m", 1e3) if top > 5e-5 else ("1/km", 1e6)


def curvature_figure(
    stations: Stations,
    elements: Sequence[Element],
    faults: Sequence[Fault],
    lengths: Lengths,
    size: Size,
    truth: Stations | None = None,
) -> Figure | None:
    """Curvature, left upwards, with the radius on the right and on every arc."""
    if not drawable(stations.curvature_1_mm):
        return None
    unit, factor = curvature_unit(stations.curvature_1_mm)
    figure = new_figure(size, 250.0)
    axes = _frame(figure, size, bottom=40.0)
    value, sd = stations.curvature_1_mm * factor, stations.curvature_sd_1_mm * factor
    _fill(axes, stations, value, sd, zero=True)
    _known(axes, truth, "curvature_1_mm", factor)
    _room_for_labels(axes, elements, size)
    second_axis(axes, size, lambda k: radius_words(k / factor, lengths, "∞"))
    name_axes(axes, size, f"Curvature, {unit} (left +)", "Chainage, m", f"Radius, {lengths.metric}")
    _arc_labels(axes, elements, lengths, factor, size)
    _faults(axes, faults, TRANSVERSE, size)
    return figure


def gradient_figure(
    stations: Stations, elements: Sequence[Element], faults: Sequence[Fault], size: Size, truth: Stations | None = None
) -> Figure | None:
    """Gradient in per cent, climbing upwards, with 1:n on the right."""
    if not drawable(stations.gradient):
        return None
    figure, axes = _with_strip(stations, elements, size)
    _fill(axes, stations, stations.gradient * 100, stations.gradient_sd * 100, zero=True)
    _known(axes, truth, "gradient", 100.0)
    second_axis(axes, size, lambda g: slope_words(g / 100))
    name_axes(axes, size, "Gradient, % (climbing +)", "", "1 in n")
    _faults(axes, faults, VERTICAL, size)
    return figure


def height_figure(
    stations: Stations,
    elements: Sequence[Element],
    faults: Sequence[Fault],
    lengths: Lengths,
    size: Size,
    truth: Stations | None = None,
) -> Figure | None:
    """Height profile, in the lengths' metric unit."""
    if not drawable(stations.z_mm):
        return None
    figure, axes = _with_strip(stations, elements, size)
    _fill(axes, stations, stations.z_mm / lengths.metric_mm, stations.z_sd_mm / lengths.metric_mm)
    _known(axes, truth, "z_mm", 1.0 / lengths.metric_mm)
    name_axes(axes, size, f"Height, {lengths.metric}", "")
    _faults(axes, faults, VERTICAL, size)
    return figure


def cant_figure(
    stations: Stations, elements: Sequence[Element], faults: Sequence[Fault], size: Size, truth: Stations | None = None
) -> Figure | None:
    """Cant in mm: above zero the left rail is the higher one, below zero the right."""
    if not drawable(stations.cant_mm):
        return None
    figure, axes = _with_strip(stations, elements, size)
    _fill(axes, stations, stations.cant_mm, stations.cant_sd_mm, zero=True)
    _known(axes, truth, "cant_mm", 1.0)
    name_axes(axes, size, "Cant, mm (left rail high +)", "")
    _faults(axes, faults, ACROSS, size)
    return figure


def _margins(size: Size) -> tuple[float, float]:
    return (54.0, 52.0) if size.width > 500 else (48.0, 46.0)


def _frame(figure: Figure, size: Size, bottom: float) -> Axes:
    left, right = _margins(size)
    axes = place_axes(figure, left, right, 28.0, bottom)
    dress(axes, size.font)
    return axes


def _with_strip(stations: Stations, elements: Sequence[Element], size: Size) -> tuple[Figure, Axes]:
    """A frame with the curves of the line beneath it, so that the eye can tell where on the plan it is."""
    if not drawable(stations.curvature_1_mm):
        figure = new_figure(size, 230.0)
        axes = _frame(figure, size, bottom=40.0)
        axes.set_xlabel("Chainage, m", loc="right", labelpad=3)
        return figure, axes
    figure = new_figure(size, 270.0)
    axes = _frame(figure, size, bottom=40.0 + STRIP_PX + 8.0)
    left, right = _margins(size)
    strip = place_axes(figure, left, right, 270.0 - 40.0 - STRIP_PX, 40.0)
    dress(strip, size.font)
    strip.grid(False)
    strip.sharex(axes)
    s_m, curve = _curves(stations, elements)
    strip.fill_between(s_m, 0.0, curve, color=BAND1, linewidth=0.0)
    strip.axhline(0.0, color=SOFT, linewidth=0.8)
    strip.set_ylim(-1.25, 1.25)
    strip.set_yticks([-0.75, 0.75], ["right", "left"], fontsize=size.font - 1.0)
    strip.tick_params(axis="y", length=0, labelcolor=SOFT)
    strip.spines["left"].set_visible(False)
    strip.set_xlabel("Chainage, m", loc="right", labelpad=3)
    axes.tick_params(labelbottom=False)
    return figure, axes


def _curves(stations: Stations, elements: Sequence[Element]) -> tuple[Array, Array]:
    """Chainage [m] and curvature as a share of the sharpest, from the pieces of the plan or else the stations.

    A piece of a closed line that runs past its end is there twice, once from the end and once into the start.
    """
    plan = sorted((e for e in elements if e.plane == "plan"), key=lambda e: e.s0_mm)
    if plan:
        shifts = (-stations.length_mm, 0.0) if stations.closed else (0.0,)
        ends = [(e, shift) for shift in shifts for e in plan if e.s1_mm + shift > 0]
        s = np.array([s + shift for e, shift in ends for s in (e.s0_mm, e.s1_mm)])
        k = np.array([k for e, _ in ends for k in (e.curvature0_1_mm, e.curvature1_1_mm)])
    else:
        s, k = thin_line(stations.s_mm, stations.curvature_1_mm, 300)
    top = float(np.nanmax(np.abs(k))) or 1.0
    return s / 1000.0, k / top


def _fill(axes: Axes, stations: Stations, value: Array, sd: Array, *, zero: bool = False) -> None:
    s_m = stations.s_mm / 1000.0
    draw_trace(axes, s_m, value, sd, axis_width(axes))
    axes.set_xlim(min(0.0, float(s_m[0])), max(stations.length_mm / 1000.0, float(s_m[-1])))
    axes.set_ylim(*limits(value, sd, zero=zero))
    if zero:
        axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2.5)
    ticks(axes, Size("", axis_width(axes) + 100.0, 0.0))


def _known(axes: Axes, truth: Stations | None, name: str, factor: float) -> None:
    if truth is not None and drawable(getattr(truth, name)):
        x, y = thin_line(truth.s_mm / 1000.0, getattr(truth, name) * factor, round(axis_width(axes) / 2))
        axes.plot(x, y, color=SECOND, linewidth=1.1, linestyle=(0, (4, 2.5)), zorder=3.5)


def _faults(axes: Axes, faults: Sequence[Fault], kinds: tuple[str, ...], size: Size) -> None:
    number_faults(axes, size, [(f.s_mm / 1000.0, i + 1) for i, f in enumerate(faults) if f.kind in kinds])


def _room_for_labels(axes: Axes, elements: Sequence[Element], size: Size) -> None:
    low, high = axes.get_ylim()
    room = (high - low) * 1.4 * size.font / axis_height(axes)
    bends = [e.curvature0_1_mm + e.curvature1_1_mm for e in elements if e.kind == "arc"]
    axes.set_ylim(low - room * any(b < 0 for b in bends), high + room * any(b > 0 for b in bends))


def _arc_labels(axes: Axes, elements: Sequence[Element], lengths: Lengths, factor: float, size: Size) -> None:
    """ "R 358" over every arc that is long enough on the paper to carry it."""
    low, high = axes.get_xlim()
    px_per_m = axis_width(axes) / (high - low)
    y_per_px = (axes.get_ylim()[1] - axes.get_ylim()[0]) / axis_height(axes)
    for arc in (e for e in elements if e.kind == "arc"):
        mean = 0.5 * (arc.curvature0_1_mm + arc.curvature1_1_mm) * factor
        text = f"R {significant(abs(arc.radius_mm) / lengths.metric_mm, 3)}"
        if arc.length_mm / 1000.0 * px_per_m < 0.62 * size.font * len(text) or not np.isfinite(mean):
            continue
        side = 1.0 if mean > 0 else -1.0
        middle = 0.5 * (arc.s0_mm + arc.s1_mm) / 1000.0
        axes.text(
            middle if middle < high else middle - high, mean + side * 7.0 * y_per_px, text, ha="center",
            va="bottom" if side > 0 else "top", fontsize=size.font, color=INK, clip_on=True, zorder=5,
        )  # fmt: skip
