"""What a spin has taught of an axle, on paper and screen: error by angle as a figure, error by order as a table."""

import math
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wayrule.model import AxleLearned
from wayrule.report.canvas import (
    BAND2,
    INK,
    LINE,
    MARK,
    SOFT,
    WIDE,
    Size,
    dress,
    new_figure,
    place_axes,
    to_svg,
)  # fmt: skip
from wayrule.report.numbers import significant
from wayrule.report.pictures import Picture, picture
from wayrule.report.tables import Table

HEIGHT_PX: Final = 400.0
MIDDLE_PX: Final = 212.0
"""From the top to the foot of the upper diagram."""
LOST: Final = "lost"


def axle_figure(learnt: AxleLearned, diameter_mm: float, size: Size = WIDE) -> Figure:
    """Error of the axle angle over a turn: of the ring's reading above, of what is left once learnt below."""
    figure = new_figure(size, HEIGHT_PX)
    upper = place_axes(figure, 62.0, 30.0, 34.0, HEIGHT_PX - MIDDLE_PX)
    lower = place_axes(figure, 62.0, 30.0, MIDDLE_PX + 46.0, 44.0)
    at, um = np.degrees(learnt.at_rad), 500.0 * diameter_mm
    upper.plot(at, np.degrees(learnt.ring_error_rad), color=LINE, linewidth=1.8, zorder=3)
    seen = np.isfinite(learnt.left_sd_rad)
    left, sd = np.degrees(learnt.left_rad[seen]), np.degrees(learnt.left_sd_rad[seen])
    lower.fill_between(at[seen], left - sd, left + sd, color=BAND2, linewidth=0, zorder=1, step="mid")
    lower.plot(at[seen], left, color=MARK, linewidth=1.2, marker="o", markersize=2.5, zorder=3)
    degree = math.radians(1.0) * um
    titles = (
        f"Read on the ring, ° too much (1° is {significant(degree)} µm of travel)",
        "Left once learnt, ° (means of 5°, band one sigma)",
    )
    for axes, title in zip((upper, lower), titles, strict=True):
        _round(axes, title, size)
    upper.tick_params(labelbottom=False)
    lower.set_xlabel("Axle angle, ° (grows as the wagon rolls forward)")
    return figure


def _round(axes: Axes, title: str, size: Size) -> None:
    """The house style over one turn, zero drawn and in the middle."""
    dress(axes, size.font)
    most = 1.1 * float(np.abs(axes.get_ylim()).max())
    axes.set_ylim(-most, most)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(np.arange(0.0, 361.0, 45.0))
    axes.annotate(
        title, (0.0, 1.0), xytext=(-56.0, 8.0), xycoords="axes fraction", textcoords="offset points", ha="left",
        va="bottom", fontsize=size.font, color=INK,
    )  # fmt: skip


def axle_svg(learnt: AxleLearned, diameter_mm: float, size: Size = WIDE) -> str:
    """The same as an inline SVG."""
    return to_svg(axle_figure(learnt, diameter_mm, size), "axle-error", axle_words(learnt, diameter_mm))


def axle_picture(learnt: AxleLearned, diameter_mm: float) -> Picture:
    """For the page of a calibration."""
    key = "Above: what is taken out. Below: what is left of it, on a scale of its own."
    words = axle_words(learnt, diameter_mm)
    return picture("axle", "Error by angle", words, key, lambda size: axle_figure(learnt, diameter_mm, size))


def axle_words(learnt: AxleLearned, diameter_mm: float) -> str:
    """What was learnt, in two sentences: what remains as travel, and the range in which it holds."""
    ring, reference, um = learnt.reference.semi_axes_mt, learnt.reference, 500.0 * diameter_mm
    warm = "" if math.isnan(reference.temperature_c) else f" at {reference.temperature_c:.0f} °C"
    whole, left = (significant(um * sd, 2) for sd in (learnt.sd_rad, learnt.ripple_sd_rad))
    fast = learnt.limit_turns_s * math.pi * diameter_mm
    return (
        f"From {reference.turns:.0f} turns{warm}, ring {ring[0]:.2f} × {ring[1]:.2f} mT: one reading of the axle's "
        f"angle is good to {math.degrees(learnt.sd_rad):.2f}°, {whole} µm of travel; its harmonics leave {left} µm of "
        f"that. No turn is lost up to {learnt.limit_turns_s:.0f} turns/s ({fast:.0f} mm/s), and through gaps up to "
        f"{learnt.limit_gap_s:.2f} s."
    )


def orders_table(learnt: AxleLearned, diameter_mm: float) -> Table:
    """Error by order: as a plain arctangent has it, what makes it, on the ring, and what is left."""
    um = 500.0 * diameter_mm
    rows = tuple(
        (
            f"{o.order}× a turn: {o.cause}",
            LOST if math.isnan(o.raw_rad) else _degrees(o.raw_rad),
            LOST if math.isnan(o.offset_rad) else _degrees(o.offset_rad),
            _degrees(o.axes_rad),
            _degrees(o.shape_rad),
            _degrees(o.ring_rad),
            _degrees(o.left_sd_rad),
            significant(um * o.left_sd_rad, 2),
        )
        for o in learnt.orders
    )
    note = (
        "A plain arctangent would lose or gain turns here: the field's offset is larger than its ring."
        if learnt.loses_turns
        else ""
    )
    return Table(
        ident="axle-orders",
        caption="Periodic error of the axle's angle by order, ° (amplitudes)",
        heads=(
            "Order",
            "Plain arctangent",
            "Offset makes",
            "Gain and phase make",
            "Shape makes",
            "On the ring",
            "Left, one sigma",
            "Left, µm",
        ),
        numeric=(False, *(True,) * 7),
        rows=rows,
        note=note,
    )


def _degrees(angle_rad: float) -> str:
    return f"{math.degrees(angle_rad):.2f}"
