"""The bench's answer on paper and screen: the field over a turn as a figure, the error budget as a table."""

import io
import math
from typing import Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from wayrule.model import Bench, BudgetLine
from wayrule.model.arrays import Array
from wayrule.report.canvas import (
    INK,
    LINE,
    MARK,
    PAPER,
    PX_PER_INCH,
    SECOND,
    SOFT,
    VARIABLES,
    WIDE,
    Size,
    dress,
    new_figure,
    place_axes,
    plain_text,
    to_svg,
)  # fmt: skip
from wayrule.report.numbers import significant
from wayrule.report.tables import Table

HEIGHT_PX: Final = 300.0
SHARP: Final = 2.0
"""Pixels of the PNG for each CSS pixel."""

AXES: Final = (("forward", LINE, "-"), ("left", SECOND, (0, (1.5, 1.5))), ("up", MARK, (0, (6, 2))))
"""Name, ink and line of each axis: told apart without colour as well."""

DARK: Final[dict[str, str]] = {
    "--ink": "#e9e6dc", "--soft": "#a5aeb3", "--paper": "#12191e", "--grid": "#2b353c", "--line": "#8fc7e6",
    "--band1": "#355c72", "--band2": "#203845", "--mark": "#f08a6c", "--rest": "#2b2f2c", "--second": "#d9b65a",
}  # fmt: skip
"""The page's inks on dark paper (templates/sheet.css)."""

NEAR_FULL: Final = 0.35
"""The range is drawn from where the field takes this share of it; below, it would press the curves flat."""


def field_figure(bench: Bench, size: Size = WIDE) -> Figure:
    """Field at the sensor over one turn of the wheel, three axes, each named at its end."""
    figure = new_figure(size, HEIGHT_PX)
    axes = place_axes(figure, 52.0, 74.0, 34.0, 44.0)
    dress(axes, size.font)
    degrees = np.degrees(np.append(bench.phi_rad, 2 * math.pi))
    field = np.concatenate([bench.field_mt, bench.field_mt[:1]])
    for column, (_, ink, line) in enumerate(AXES):
        axes.plot(degrees, field[:, column], color=ink, linewidth=1.8, linestyle=line, zorder=3)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2.5)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks(np.arange(0.0, 361.0, 45.0))
    _limits(axes, bench, field)
    _names(axes, field[-1], size)
    axes.set_xlabel("Axle angle, ° (grows as the wagon rolls forward)")
    axes.annotate(
        f"Field at the sensor, mT: {plain_text(bench.wagon.name, 60)}", (0.0, 1.0), xytext=(-48.0, 12.0),
        xycoords="axes fraction", textcoords="offset points", ha="left", va="bottom", fontsize=size.font, color=INK,
    )  # fmt: skip
    return figure


def field_svg(bench: Bench) -> str:
    """The figure as an SVG file of its own, that follows light and dark."""
    drawn = to_svg(field_figure(bench), "field", field_words(bench))
    light = "".join(f"{name}:{ink};" for ink, name in VARIABLES.items())
    dark = "".join(f"{name}:{ink};" for name, ink in DARK.items())
    style = f"<style>svg{{{light}}}@media screen and (prefers-color-scheme:dark){{svg{{{dark}}}}}</style>"
    head = drawn.index(">") + 1
    paper = f'<rect width="100%" height="100%" fill="var(--paper,{PAPER})"/>'
    return drawn[:head] + style + paper + drawn[head:] + "\n"


def field_png(bench: Bench) -> bytes:
    """The figure as a PNG on light paper, two pixels for each of the page's."""
    figure = field_figure(bench)
    figure.patch.set_visible(True)
    figure.patch.set_facecolor(PAPER)
    out = io.BytesIO()
    with matplotlib.rc_context({"font.family": ["DejaVu Sans"], "axes.unicode_minus": True}):
        FigureCanvasAgg(figure).print_figure(out, format="png", dpi=SHARP * PX_PER_INCH, metadata={"Software": None})
    return out.getvalue()


def field_words(bench: Bench) -> str:
    """What the figure says, in a sentence."""
    greater, smaller = bench.budget.signal_mt
    return (
        f"Field at the sensor of {bench.wagon.name} over one turn of the wheel, three axes: an ellipse of "
        f"{significant(greater)} by {significant(smaller)} mT."
    )


def _limits(axes: Axes, bench: Bench, field: Array) -> None:
    """Room for the curves, and the sensor's range where it is near."""
    most = float(np.max(np.abs(field)))
    full = bench.budget.range_mt
    near = math.isfinite(full) and most > NEAR_FULL * full
    top = 1.12 * (max(most, full) if near else most)
    axes.set_ylim(-top, top)
    if near:
        for side in (1.0, -1.0):
            axes.axhline(side * full, color=SOFT, linewidth=1.2, linestyle=(0, (8, 3, 1.5, 3)), zorder=2.6)
        axes.annotate(
            "full range of the sensor", (0.01, full), xytext=(0.0, -3.0), xycoords=axes.get_yaxis_transform(),
            textcoords="offset points", ha="left", va="top", fontsize=9.5, color=SOFT,
        )  # fmt: skip


def _names(axes: Axes, ends: Array, size: Size) -> None:
    """Names at the right ends of the curves, moved apart where they would lie over each other."""
    low, high = axes.get_ylim()
    apart = 1.25 * size.font / (HEIGHT_PX - 78.0) * (high - low)
    order = np.argsort(ends)
    places = ends[order].astype(float)
    for _ in range(20):
        for i in range(len(places) - 1):
            short = apart - (places[i + 1] - places[i])
            if short > 0:
                places[i] -= short / 2
                places[i + 1] += short / 2
    for place, column in zip(places, order, strict=True):
        name, ink, _ = AXES[int(column)]
        axes.annotate(
            name, (1.0, place), xytext=(8.0, 0.0), xycoords=axes.get_yaxis_transform(), textcoords="offset points",
            ha="left", va="center", fontsize=size.font, color=ink, annotation_clip=False,
        )  # fmt: skip


def budget_table(bench: Bench) -> Table:
    """The error budget, one line a cause; the sums below."""
    found = bench.budget
    metre = f"{found.way_mm / 1000:g} m"
    sums = BudgetLine("all together", found.before_rad, found.after_rad, found.repeats_mm, 0.0, 0.0, "")
    rows = [
        (line.cause, *(_angle(line)), _number(line.distance_mm), _number(_adding(line, found.way_mm)), line.how)
        for line in found.lines
        if line.before_rad or line.on_mm(found.way_mm)
    ]
    rows.append(
        (sums.cause, *_angle(sums), _number(sums.distance_mm), _number(found.adds_mm), "roots of the sums of squares")
    )
    quiet = [line.cause for line in found.lines if not (line.before_rad or line.on_mm(found.way_mm))]
    nothing = f" Nothing from: {', '.join(quiet)}." if quiet else ""
    return Table(
        "budget",
        f"Error budget, one sigma: of one reading of the axle's angle, and of the distance over {metre} "
        f"({significant(found.turns, 2)} turns of the wheel)",
        ("Cause", "Angle, °, as read", "calibrated", "Distance, mm", f"adds up, mm on {metre}", "Where it comes from"),
        (False, True, True, True, True, False),
        tuple(rows),
        note="Distance: between two places of one run, the same however far apart. Adds up: grows with the way, and a "
        f"taped distance mends most of it. Calibrated: after the harmonics were learnt from the run itself.{nothing}",
    )


def _adding(line: BudgetLine, way_mm: float) -> float:
    return math.sqrt(max(line.on_mm(way_mm) ** 2 - line.distance_mm**2, 0.0))


def _angle(line: BudgetLine) -> tuple[str, str]:
    return _number(math.degrees(line.before_rad)), _number(math.degrees(line.after_rad))


def _number(value: float) -> str:
    """Two digits, none below a ten-thousandth.

    >>> _number(0.0), _number(1.2345), _number(3e-5)
    ('', '1.2', '0.0000')
    """
    if value == 0.0:
        return ""
    return significant(value, 2) if value >= 1e-4 else "0.0000"
