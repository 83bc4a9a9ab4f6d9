"""Diagrams of one run: speed and scale speed against time and against place, and distance against time."""

import operator
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wayrule.model import State, Travel
from wayrule.model.arrays import Array
from wayrule.report.canvas import INK, LINE, MARK, PAPER, REST, SOFT, Size, dress, new_figure, place_axes
from wayrule.report.thin import thin_index
from wayrule.report.trace import axis_width, draw_trace, limits, name_axes, ticks
from wayrule.report.travelfacts import Stop, speed_unit, stops
from wayrule.units import scale_km_h, scale_mph

HEIGHT_PX = 235.0
FULL_SIZE_RATIO = 2.0
JUMP_M = 0.05


def speed_time_figure(travel: Travel, ratio: float, size: Size) -> Figure | None:
    """Speed against time with its bands, standstills shaded; scale speed on the right."""
    held = np.isfinite(travel.speed_mm_s)
    if np.count_nonzero(held) < 2:
        return None
    unit, factor = speed_unit(travel.speed_mm_s)
    figure, axes = _frame(size)
    value, sd = travel.speed_mm_s / factor, travel.speed_sd_mm_s / factor
    _shade_states(axes, travel, size)
    draw_trace(axes, travel.t_s, value, sd, axis_width(axes))
    axes.set_xlim(float(travel.t_s[0]), float(travel.t_s[-1]))
    axes.set_ylim(*limits(value, sd, zero=True))
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2.5)
    ticks(axes, size)
    _scale_axes(axes, ratio, factor, size)
    name_axes(axes, size, f"Speed, {unit}", "Time, s", _right_name(ratio))
    return figure


def speed_place_figure(
    travel: Travel, ratio: float, size: Size, *, length_mm: float = float("nan"), closed: bool = False
) -> Figure | None:
    """Speed against chainage, every lap over the last; against distance rolled while the run has no chainage.

    Standstills are triangles on the zero line. With more than one pass the bands are left to the diagram against time.
    """
    place, words = place_of(travel, length_mm if closed else float("nan"))
    held = np.isfinite(place) & np.isfinite(travel.speed_mm_s)
    if np.count_nonzero(held) < 2 or float(np.ptp(place[held])) == 0.0:
        return None
    unit, factor = speed_unit(travel.speed_mm_s)
    figure, axes = _frame(size)
    value = np.where(held, travel.speed_mm_s / factor, np.nan)
    index = thin_index(travel.t_s, value, round(3 * axis_width(axes)))
    x, y = _broken_at_jumps(place[index] / 1000.0, value[index], travel.distance_mm[index] / 1000.0)
    axes.plot(x, y, color=LINE, linewidth=1.1, zorder=3)
    axes.set_xlim(min(0.0, float(np.nanmin(x))), length_mm / 1000.0 if closed else float(np.nanmax(x)))
    axes.set_ylim(*limits(value, travel.speed_sd_mm_s / factor, zero=True))
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2.5)
    ticks(axes, size)
    _stop_signs(axes, stops(travel), place, travel.t_s)
    _scale_axes(axes, ratio, factor, size)
    name_axes(axes, size, f"Speed, {unit}", words, _right_name(ratio))
    return figure


def distance_time_figure(travel: Travel, size: Size) -> Figure | None:
    """Distance rolled against time [m], standstills shaded."""
    if np.count_nonzero(np.isfinite(travel.distance_mm)) < 2:
        return None
    figure, axes = _frame(size)
    value, sd = travel.distance_mm / 1000.0, travel.distance_sd_mm / 1000.0
    _shade_states(axes, travel, size)
    draw_trace(axes, travel.t_s, value, sd, axis_width(axes))
    axes.set_xlim(float(travel.t_s[0]), float(travel.t_s[-1]))
    axes.set_ylim(*limits(value, sd, zero=True))
    ticks(axes, size)
    name_axes(axes, size, "Distance rolled, m", "Time, s")
    return figure


def place_of(travel: Travel, lap_mm: float) -> tuple[Array, str]:
    """(n,) place of each sample [mm] and what the axis is called: chainage (within one lap), or else distance."""
    if np.count_nonzero(np.isfinite(travel.chainage_mm)) < 2:
        return travel.distance_mm, "Distance rolled, m"
    place = travel.chainage_mm
    return (np.mod(place, lap_mm) if np.isfinite(lap_mm) and lap_mm > 0 else place), "Chainage, m"


def _frame(size: Size) -> tuple[Figure, Axes]:
    wide = size.width > 500
    figure = new_figure(size, HEIGHT_PX)
    axes = place_axes(figure, 52.0 if wide else 42.0, 100.0 if wide else 40.0, 28.0, 40.0)
    dress(axes, size.font)
    return figure, axes


def _right_name(ratio: float) -> str:
    scale = "" if ratio < FULL_SIZE_RATIO else "scale "
    return f"{scale}km/h"


def _scale_axes(axes: Axes, ratio: float, factor: float, size: Size) -> None:
    """Scale speed on the right: km/h, and where there is room mph beside it."""
    scales = [(1.0, scale_km_h(factor, ratio), "km/h")]
    if size.width > 500:
        scales.append((1.0 + 48.0 / axis_width(axes), scale_mph(factor, ratio), "mph"))
    for place, per_unit, name in scales:
        side = axes.secondary_yaxis(
            place, functions=(partial(operator.mul, per_unit), partial(operator.mul, 1.0 / per_unit))
        )
        side.tick_params(colors=SOFT, labelcolor=SOFT, labelsize=size.font, length=3.5, width=0.8)
        for spine in side.spines.values():
            spine.set_color(SOFT)
            spine.set_linewidth(0.8)
        if name == "mph":
            axes.annotate(
                name, (place, 1.0), xytext=(2.0, 7.0), xycoords="axes fraction", textcoords="offset points", ha="left",
                va="bottom", fontsize=size.font, color=SOFT, annotation_clip=False,
            )  # fmt: skip


def _shade_states(axes: Axes, travel: Travel, size: Size) -> None:
    """Standstills as warm bars with their length in seconds where it fits; unsure stretches hatched."""
    span = float(travel.t_s[-1] - travel.t_s[0]) or 1.0
    for stop in stops(travel):
        axes.axvspan(stop.t0_s, stop.t1_s, color=REST, linewidth=0.0, zorder=1)
        words = f"{stop.lasted_s:.0f} s"
        if stop.lasted_s / span * axis_width(axes) > 0.65 * size.font * len(words):
            axes.text(
                0.5 * (stop.t0_s + stop.t1_s), 0.97, words, transform=axes.get_xaxis_transform(), ha="center", va="top",
                fontsize=size.font - 1, color=INK, zorder=5,
            )  # fmt: skip
    unsure = travel.state == State.UNSURE
    edges = np.flatnonzero(np.diff(np.r_[False, unsure, False].astype(np.int8)))
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        axes.axvspan(
            float(travel.t_s[a]), float(travel.t_s[min(b, len(travel.t_s) - 1)]), facecolor="none", edgecolor=SOFT,
            hatch="////", linewidth=0.0, zorder=1,
        )  # fmt: skip


def _broken_at_jumps(x_m: Array, y: Array, rolled_m: Array) -> tuple[Array, Array]:
    """A NaN wherever the place changes by far more than the wagon rolled: the end of a lap, not a way it went."""
    rolled, moved = np.abs(np.diff(rolled_m)), np.abs(np.diff(x_m))
    cuts = np.flatnonzero(moved > 1.5 * rolled + JUMP_M) + 1
    return np.insert(x_m, cuts, np.nan), np.insert(y, cuts, np.nan)


def _stop_signs(axes: Axes, found: tuple[Stop, ...], place_mm: Array, t_s: Array) -> None:
    if found:
        index = np.searchsorted(t_s, [s.t0_s for s in found])
        axes.plot(
            place_mm[index] / 1000.0, np.zeros(len(found)), linestyle="none", marker="v", markersize=9.0, color=MARK,
            markeredgecolor=PAPER, markeredgewidth=1.0, zorder=6, clip_on=False,
        )  # fmt: skip
