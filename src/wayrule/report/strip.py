"""The strip chart, in the manner of track recording: bands above each other against chainage, to a stated scale.

On A4 or Letter page after page, or endless on one long sheet. Left, climbing and a high left rail point upwards.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, MultipleLocator
from scipy.ndimage import uniform_filter1d

from wayrule.errors import UsageError
from wayrule.model import Element, Fault, Surveyed
from wayrule.model.arrays import Array
from wayrule.report.canvas import BAND2, GRID, INK, LINE, MARK, SOFT
from wayrule.report.numbers import with_sd
from wayrule.report.paper import MARGIN_MM, Page, Paper, new_page, paper_named, pdf_bytes, shortened, width_mm, write
from wayrule.report.rules import FINE, line
from wayrule.report.thin import thin_band, thin_line

SCALES: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
FEW_PAGES: Final = 8
LABELS_MM: Final = 24.0
HEAD_MM: Final = 15.0
FOOT_MM: Final = 12.0
SIGNS_MM: Final = 24.0
"""Room above the bands for pieces, marks and faults."""

ENDLESS_HEIGHT_MM: Final = 260.0
LONGEST_MM: Final = 5000.0
"""One sheet is at most this long: a PDF page ends at 14 400 points (ISO 32000-1, annex C.2)."""

WAVES_BASES: Final = 5.0
"""Level and alignment show what is shorter than so many wheelbases; own choice, about the wavelengths up to 25 m of
full-size recording (EN 13848-1, from memory) in scale."""


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """One quantity along the line, in the unit of its name; `sd` NaN where there is none."""

    name: str
    value: Array
    sd: Array


def strip_pdf(survey: Surveyed, *, paper: str = "A4", scale: int | None = None, endless: bool = False) -> bytes:
    """The strip chart as PDF.

    Parameters
    ----------
    paper : A4 or Letter
    scale : mm of line for one mm of paper; None: the largest that needs at most eight pages
    endless : one long sheet (several where the line is longer than a sheet may be) instead of pages

    Raises
    ------
    UsageError   another paper, a scale below 1, or a survey without stations
    """
    stations = survey.stations
    if len(stations.s_mm) < 3:
        raise UsageError(
            expected="a survey of at least three stations",
            came=str(len(stations.s_mm)),
            where="strip chart",
            next_step="survey a longer line",
        )
    sheet = paper_named(paper)
    length = stations.length_mm
    wide = sheet.height_mm - 2 * MARGIN_MM - LABELS_MM
    if scale is None:
        scale = next((n for n in SCALES if length / n <= (FEW_PAGES if not endless else 3) * wide), SCALES[-1])
    if scale < 1:
        raise UsageError(
            expected="a scale of 1 or more", came=str(scale), where="strip chart", next_step="give 10 for 1:10"
        )
    each = (LONGEST_MM - 2 * MARGIN_MM - LABELS_MM if endless else wide) * scale
    count = max(1, int(np.ceil(length / each - 1e-9)))
    found = bands(survey)
    pages = []
    for number in range(count):
        first, last = number * each, min((number + 1) * each, length)
        if endless:
            one = Paper("endless", ENDLESS_HEIGHT_MM, (last - first) / scale + 2 * MARGIN_MM + LABELS_MM)
        else:
            one = sheet
        full = last - first if endless else each
        pages.append(_page(survey, found, one, (first, last), full, scale, (number + 1, count)))
    return pdf_bytes(pages, f"Strip chart: {survey.name}")


def bands(survey: Surveyed) -> tuple[Band, ...]:
    """Curvature, cant, twist, gradient, level and alignment, those that are known."""
    st = survey.stations
    step = float(np.median(np.diff(st.s_mm)))
    nan = np.full(len(st.s_mm), np.nan)
    shift = max(1, round(0.5 * st.wheelbase_mm / step))
    twist = _shifted(st.cant_mm, shift, closed=st.closed) - _shifted(st.cant_mm, -shift, closed=st.closed)
    found = (
        Band("Curvature\n1/m, left +", 1000.0 * st.curvature_1_mm, 1000.0 * st.curvature_sd_1_mm),
        Band("Cant, mm\nleft rail +", st.cant_mm, st.cant_sd_mm),
        Band(f"Twist, mm\nover {st.wheelbase_mm:g} mm", twist, nan),
        Band("Gradient\n%, climbing +", 100.0 * st.gradient, 100.0 * st.gradient_sd),
        Band("Level, mm\nup +", _short(st.z_mm, st.wheelbase_mm / step, closed=st.closed), nan),
        Band("Alignment\nmm, left +", alignment_mm(survey), nan),
    )
    return tuple(band for band in found if np.count_nonzero(np.isfinite(band.value)) > 2)


def alignment_mm(survey: Surveyed) -> Array:
    """(n,) sideways waves shorter than five wheelbases [mm], left > 0: heading's short waves, summed along the line."""
    st = survey.stations
    step = float(np.median(np.diff(st.s_mm)))
    heading = np.where(np.isfinite(st.heading_rad), st.heading_rad, np.nan)
    if st.closed and len(heading) > 1:  # without the turn of a lap, so that the seam is smooth
        turn = (
            2 * np.pi * round((heading[-1] - heading[0]) / (2 * np.pi)) if np.isfinite(heading[[0, -1]]).all() else 0.0
        )
        heading = heading - turn * st.s_mm / st.length_mm
    waves = _short(heading, st.wheelbase_mm / step, closed=st.closed)
    return _short(np.cumsum(np.nan_to_num(waves)) * step, st.wheelbase_mm / step, closed=st.closed) + 0.0 * waves


def _short(value: Array, base: float, *, closed: bool) -> Array:
    """A quantity less its own mean over five wheelbases; the ends of an open line, half of that, are left out."""
    width = round(WAVES_BASES * base) | 1
    if width >= len(value):
        return np.full(len(value), np.nan)
    held = np.isfinite(value)
    if not held.all():
        return np.full(len(value), np.nan)
    waves = value - (uniform_filter1d(value, width, mode="wrap") if closed else uniform_filter1d(value, width))
    if not closed:
        waves[: width // 2] = np.nan
        waves[-(width // 2) :] = np.nan
    return np.asarray(waves)


def _shifted(value: Array, by: int, *, closed: bool) -> Array:
    out = np.roll(value, -by)
    if not closed:
        out[slice(len(out) - by, None) if by > 0 else slice(0, -by)] = np.nan
    return out


def _page(
    survey: Surveyed,
    found: Sequence[Band],
    paper: Paper,
    reach: tuple[float, float],
    full: float,
    scale: int,
    number: tuple[int, int],
) -> Page:
    """One sheet: head, pieces and signs, bands, chainage, foot."""
    page = new_page(paper, landscape=True)
    _head(page, survey, reach, scale, number)
    left, width = page.left + LABELS_MM, full / scale
    top, low = page.height_mm - MARGIN_MM - HEAD_MM - SIGNS_MM, MARGIN_MM + FOOT_MM
    _signs(page, survey, reach, left, top, scale)
    high = (top - low) / max(len(found), 1)
    s = survey.stations.s_mm
    inside = (s >= reach[0] - 1e-6) & (s <= reach[1] + 1e-6)
    for index, band in enumerate(found):
        foot = top - (index + 1) * high
        box = (left / page.width_mm, (foot + 1.5) / page.height_mm, width / page.width_mm, (high - 3) / page.height_mm)
        axes = page.figure.add_axes(box)
        _band(axes, band, s, inside, reach, full, last=index == len(found) - 1)
        for row, words in enumerate(band.name.split("\n")):
            write(page, page.left, foot + high / 2 + 1.5 - 3.2 * row, words, 7.0 if row == 0 else 6.0, soft=row > 0)
    for s_mm in _places(survey):
        if reach[0] <= s_mm <= reach[1]:
            x = left + (s_mm - reach[0]) / scale
            line(page, x, low + 1.5, x, top, 0.3, color=MARK)
    return page


def _band(
    axes: Axes, band: Band, s: Array, inside: np.ndarray, reach: tuple[float, float], full: float, *, last: bool
) -> None:
    held = band.value[np.isfinite(band.value)]
    low, high = min(0.0, float(held.min())), max(0.0, float(held.max()))
    pad = 0.08 * (high - low) or 1.0
    x, y, sd = s[inside] / 1000.0, band.value[inside], band.sd[inside]
    if np.isfinite(sd).any() and len(x) > 1:
        axes.fill_between(*thin_band(x, y - 2 * sd, y + 2 * sd, 1500), color=BAND2, linewidth=0.0, zorder=1)
    if len(x) > 1:
        axes.plot(*thin_line(x, y, 3000), color=LINE, linewidth=0.7, zorder=3)
    axes.axhline(0.0, color=SOFT, linewidth=0.5, zorder=2)
    axes.set_xlim(reach[0] / 1000.0, (reach[0] + full) / 1000.0)
    axes.set_ylim(low - pad, high + pad)
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_locator(MultipleLocator(_tick(full)))
    axes.grid(True, color=GRID, linewidth=0.4)
    axes.tick_params(labelsize=5.5, length=1.5, width=0.4, colors=SOFT, labelcolor=INK, pad=1.5, labelbottom=last)
    for side in axes.spines.values():
        side.set_linewidth(0.4)
        side.set_color(SOFT)
    axes.set_facecolor("none")


def _tick(full_mm: float) -> float:
    """Chainage between ticks [m], 8 to 20 of them."""
    raw = full_mm / 1000.0 / 12.0
    decade = 10.0 ** np.floor(np.log10(raw))
    return float(decade * min((1, 2, 5, 10), key=lambda n: abs(np.log(n * decade / raw))))


def _places(survey: Surveyed) -> list[float]:
    return [fault.s_mm for fault in survey.faults]


def _head(page: Page, survey: Surveyed, reach: tuple[float, float], scale: int, number: tuple[int, int]) -> None:
    top = page.height_mm - MARGIN_MM
    title = shortened(f"Strip chart: {survey.name}", page.right - page.left - 40, 12.0)
    write(page, page.left, top - 4, title, 12.0, bold=True)
    about = (
        f"{survey.wagon_name}, {survey.scale}   ·   1:{scale} along the line   ·   chainage {reach[0] / 1000:.2f} to "
    )
    about += f"{reach[1] / 1000:.2f} m   ·   pale: two sigmas; red: faults"
    write(page, page.left, top - 9, about, 7.0, soft=True)
    write(page, page.right, top - 4, f"sheet {number[0]} of {number[1]}", 7.0, soft=True, align="right")
    low = MARGIN_MM
    line(page, page.left, low, page.left + 100, low, 0.9, gid="foot-100-mm")
    for k in range(11):
        line(page, page.left + 10 * k, low, page.left + 10 * k, low + (2.4 if k in (0, 5, 10) else 1.4), FINE)
    write(page, page.left + 103, low, "100 mm when printed at 100 %. Chainage in metres.", 6.5, soft=True)


def _signs(page: Page, survey: Surveyed, reach: tuple[float, float], left: float, top: float, scale: int) -> None:
    """Pieces of the plan in a row; above it marks and numbered faults."""
    low = top + 2
    write(page, page.left, low + 1.5, "Pieces", 7.0)
    write(page, page.left, low + 8, "Faults", 7.0)
    write(page, page.left, low + 14, "Marks", 7.0)
    laps = (0.0, -survey.stations.length_mm) if survey.stations.closed else (0.0,)
    for element in survey.pieces["plan"]:
        for lap in laps:
            s0, s1 = max(element.s0_mm + lap, reach[0]), min(element.s1_mm + lap, reach[1])
            if s1 > s0:
                _piece(page, element, left + (s0 - reach[0]) / scale, left + (s1 - reach[0]) / scale, low)
    rows = [(f.s_mm, _fault_words(n, f), 8.0, MARK) for n, f in enumerate(survey.faults, 1)]
    rows += [(s, mark.name, 14.0, INK) for s, mark in survey.marks]
    ends: dict[float, float] = {}
    for s_mm, text, up, colour in sorted(rows):
        x = left + (s_mm - reach[0]) / scale
        if reach[0] <= s_mm <= reach[1]:
            line(page, x, low + up - 1, x, low + up + 2, 0.6, color=colour)
            raised = 2.6 if x < ends.get(up, -1e9) else 0.0
            room = width_mm(text, 5.5) + 1.0
            back = x + room > page.right
            at = x - 0.8 if back else x + 0.8
            write(page, at, low + up + raised, text, 5.5, color=colour, align="right" if back else "left")
            ends[up] = x + room


def _fault_words(number: int, fault: Fault) -> str:
    """As on the chart: number, kind, rail, size.

    >>> _fault_words(2, Fault("one_rail_dip", 0.0, 0.8, "mm", 0.1, "left")).replace(chr(160), " ")
    '2 one rail dip, left, 0.80 ± 0.10 mm'
    """
    rail = f", {fault.rail}" if fault.rail else ""
    size = with_sd(fault.size, fault.sd, "°" if fault.unit == "deg" else fault.unit)
    return f"{number} {fault.kind.replace('_', ' ')}{rail}, {size}"


def _piece(page: Page, element: Element, x0: float, x1: float, low: float) -> None:
    """A box: level for straights, raised for left-hand and lowered for right-hand arcs, slanted for transitions."""
    scale = 2.0

    def up(k: float) -> float:
        return low + 2.5 + (scale if k > 1e-9 else -scale if k < -1e-9 else 0.0)

    y0, y1 = up(element.curvature0_1_mm), up(element.curvature1_1_mm)
    line(page, x0, y0, x1, y1, 0.9)
    if element.kind == "arc" and x1 - x0 > 12:
        radius = abs(element.radius_mm)
        write(page, 0.5 * (x0 + x1), y0 + 0.8, f"R {radius:.0f}", 5.5, align="center")
