"""Drawings of change: each difference along the line with the limit of what is significant; movement over surveys."""

from typing import Final, Literal

import numpy as np
from matplotlib.figure import Figure

from wayrule.model import Difference, Series
from wayrule.report.canvas import BAND2, LINE, MARK, SECOND, SOFT, Size, dress, new_figure, place_axes
from wayrule.report.pictures import Picture, picture
from wayrule.report.thin import thin_band, thin_line
from wayrule.report.trace import axis_width, name_axes, ticks

TITLES: Final[dict[str, tuple[str, str, float]]] = {
    "curvature": ("Change of curvature", "1/m (left +)", 1000.0),
    "gradient": ("Change of gradient", "% (climbing +)", 100.0),
    "cant": ("Change of cant", "mm (left rail higher +)", 1.0),
    "plan": ("Moved sideways", "mm (left +)", 1.0),
    "height": ("Change of height", "mm (higher +)", 1.0),
}
"""Quantity -> title, axis, factor from its inner unit."""

KEY: Final = "Pale band: what chance and error bars explain; red: significant."
STYLES: Final = ("-", "--", "-.", ":")


def difference_picture(difference: Difference, number: int) -> Picture:
    """One quantity's difference along the line."""
    title, unit, factor = TITLES[difference.quantity]
    known = difference.change[np.isfinite(difference.change)]
    rms = factor * float(np.sqrt(np.mean(known**2))) if len(known) else float("nan")
    reading = f"The two surveys differ by {rms:.2g} {unit.split(' ')[0]} rms along the common line."
    return picture(
        f"difference{number}-{difference.quantity}", title, reading, KEY, lambda size: _difference(difference, size)
    )


def _difference(difference: Difference, size: Size) -> Figure | None:
    if np.count_nonzero(np.isfinite(difference.change)) < 2:
        return None
    title, unit, factor = TITLES[difference.quantity]
    figure = new_figure(size, 190.0)
    axes = place_axes(figure, 52.0, 12.0, 26.0, 40.0)
    dress(axes, size.font)
    s, value = difference.s_mm / 1000.0, factor * difference.change
    limit = factor * difference.limit * difference.scatter * difference.sd
    pixels = axis_width(axes)
    axes.fill_between(*thin_band(s, -limit, limit, round(pixels / 2)), color=BAND2, linewidth=0.0, zorder=1)
    axes.plot(*thin_line(s, value, round(pixels)), color=LINE, linewidth=1.2, zorder=3)
    with np.errstate(invalid="ignore"):
        beyond = np.where(np.abs(value) > limit, value, np.nan)
    axes.plot(s, beyond, color=MARK, linewidth=2.4, zorder=4)
    axes.axhline(0.0, color=SOFT, linewidth=0.8, zorder=2)
    top = 1.15 * max(float(np.nanmax(np.abs(value))), 1.05 * float(np.nanmedian(limit)))
    axes.set_ylim(-top, top)
    axes.set_xlim(float(s[0]), float(s[-1]))
    ticks(axes, size)
    name_axes(axes, size, f"{title}, {unit}", "Chainage, m")
    return figure


def movement_picture(series: Series, what: Literal["plan", "height"]) -> Picture:
    """Movement of all places, a line for each survey."""
    title = "Sideways, every survey against the first" if what == "plan" else "Height, every survey against the first"
    moved = series.plan_moved if what == "plan" else series.height_moved
    count = sum(moved)
    reading = f"{count} of {len(moved)} places moved significantly." if count else "No place moved significantly."
    names = "; ".join(f"{_ink(k)[1]}: {name}" for k, name in enumerate(series.names[1:]))
    key = f"Bars: one sigma. {names}."
    return picture(f"movement-{what}", title, reading, key, lambda size: _moved(series, what, size))


def _ink(k: int) -> tuple[str, str]:
    """(colour, its name with the line's style) of the k-th later survey; told apart in grey by the style."""
    colour, word = ((LINE, "blue"), (MARK, "red"), (SECOND, "ochre"))[k % 3]
    return colour, f"{word}, {('full', 'dashed', 'dash-dotted', 'dotted')[(k // 3 + k) % 4]}"


def _moved(series: Series, what: str, size: Size) -> Figure:
    figure = new_figure(size, 220.0)
    axes = place_axes(figure, 52.0, 12.0, 26.0, 40.0)
    dress(axes, size.font)
    value, sd = (series.plan_mm, series.plan_sd_mm) if what == "plan" else (series.height_mm, series.height_sd_mm)
    for k in range(1, len(series.names)):
        axes.errorbar(
            series.places_mm / 1000.0, value[k], sd[k], color=_ink(k - 1)[0],
            linestyle=STYLES[((k - 1) // 3 + k - 1) % 4],
            linewidth=1.4, elinewidth=0.8, marker="o", markersize=3, zorder=3,
        )  # fmt: skip
    axes.axhline(0.0, color=SOFT, linewidth=0.8)
    ticks(axes, size)
    name_axes(axes, size, "Sideways, mm (left +)" if what == "plan" else "Height, mm (higher +)", "Chainage, m")
    return figure
