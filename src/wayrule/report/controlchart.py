"""The control chart of a wagon's wheel: every calibration of its circumference, within limits."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from wayrule.maths.controlchart import Chart
from wayrule.model.arrays import Array
from wayrule.report.canvas import INK, LINE, MARK, NARROW, PAPER, SOFT, Size, dress, new_figure, place_axes, plain_text
from wayrule.report.numbers import pair
from wayrule.report.pictures import Picture, picture

HEIGHT_PX: Final = 250.0
MOST_DATES: Final = 8
"""More dates than this below the axis run into each other."""


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """One way of rolling through time.

    words         "on straights"
    dates         (n,) of each calibration, "2026-08-01", or "" where nobody said
    values, sds   (n,) and what each promises, the day's part included; in `unit`
    unit          "mm", or "" for a share
    found         its chart; None with a single calibration
    """

    words: str
    dates: tuple[str, ...]
    values: Array
    sds: Array
    unit: str
    found: Chart | None


def chart_picture(history: History) -> Picture:
    """The chart with its reading; without a drawing while there is one calibration only."""
    ident = "chart-" + history.words.replace(" ", "-").replace(",", "")
    title = f"Circumference {history.words}, every calibration"
    if history.found is None:
        number, spread = pair(float(history.values[-1]), float(history.sds[-1]))
        return Picture(
            ident,
            title,
            f"The first calibration {history.words}: {number} ± {spread} {history.unit}; the next ones will show wear "
            "and dirt.",
        )
    return picture(ident, title, _reading(history, history.found), KEY, lambda size: chart_figure(history, size))


KEY: Final = (
    "Bars: two sigmas of each calibration, the day's part (dirt, grease) included. Line: centre; dashed: three sigmas. "
    "Filled red: what chance would hardly do."
)


def _reading(history: History, found: Chart) -> str:
    """What the chart says, in a sentence."""
    how = "their own scatter from one to the next" if found.from_ranges else "what each promises"
    number, spread = pair(found.centre, found.sd)
    told = f"{len(history.values)} calibrations about {number} {history.unit}, one scatters by {spread} by {how}"
    if not found.signals:
        return f"{told}; all in control."
    last = found.signals[-1]
    when = history.dates[last[0]] or f"no. {last[0] + 1}"
    return f"{told}. Out of control: {when}, {last[1]}; clean wheels and rails, and look for wear."


def chart_figure(history: History, size: Size) -> Figure | None:
    """Values in their order with bars, centre and limits."""
    found = history.found
    if found is None:
        return None
    figure = new_figure(size, HEIGHT_PX)
    axes = place_axes(figure, 66.0, 14.0, 30.0, 44.0)
    dress(axes, size.font)
    x = np.arange(1, len(history.values) + 1)
    axes.axhline(found.centre, color=SOFT, linewidth=1.0, zorder=2)
    for limit in found.limits:
        axes.axhline(limit, color=SOFT, linewidth=1.0, linestyle=(0, (5, 3)), zorder=2)
    axes.errorbar(
        x,
        history.values,
        yerr=2 * history.sds,
        fmt="none",
        ecolor=LINE,
        elinewidth=1.4,
        capsize=3,
        capthick=1.0,
        zorder=3,
    )
    axes.plot(x, history.values, color=LINE, linewidth=0.9, zorder=3)
    out = np.zeros(len(x), dtype=bool)
    out[[at for at, _ in found.signals]] = True
    axes.plot(x[~out], history.values[~out], "o", color=LINE, markersize=5.5, markeredgecolor=PAPER, zorder=4)
    axes.plot(x[out], history.values[out], "s", color=MARK, markersize=7.0, markeredgecolor=PAPER, zorder=4)
    low = min(found.limits[0], float(np.min(history.values - 2 * history.sds)))
    high = max(found.limits[1], float(np.max(history.values + 2 * history.sds)))
    axes.set_ylim(low - 0.06 * (high - low), high + 0.06 * (high - low))
    axes.set_xlim(0.5, len(x) + 0.5)
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.ticklabel_format(axis="y", useOffset=False)
    _dates(axes, history, size)
    name = f"Circumference {history.words}, {history.unit}" if history.unit else f"Scale {history.words}, less one"
    axes.annotate(
        plain_text(name, 60), (0.0, 1.0), xytext=(-58.0, 10.0), xycoords="axes fraction", textcoords="offset points",
        ha="left", va="bottom", fontsize=size.font, color=INK,
    )  # fmt: skip
    return figure


def _dates(axes: Axes, history: History, size: Size) -> None:
    """Dates below the axis, as many as there is room for; numbers where there are none."""
    count = len(history.values)
    room = MOST_DATES // 2 if size is NARROW else MOST_DATES
    step = -(-count // room)
    shown = np.arange(count - 1, -1, -step)[::-1]
    axes.set_xticks(shown + 1, [history.dates[i][2:] or str(i + 1) for i in shown])
    axes.set_xlabel("Calibration, by date" if all(history.dates) else "Calibration, in order")
