"""The map to lay on the baseboard: any scale, 1:1 among them, tiled with overlap marks and check bars; and one SVG.

Map coordinates are mm of paper: those of the world over the scale. The tiles overlap; both tiles of a joint carry the
same crosses, so that a sheet laid cross on cross lies true.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np
from matplotlib.transforms import Bbox

from wayrule.errors import UsageError
from wayrule.model import Surveyed
from wayrule.model.arrays import Array
from wayrule.report.canvas import FONTS, GRID, INK, LINE, MARK, SOFT, plain_text
from wayrule.report.paper import MARGIN_MM, Page, new_page, paper_named, pdf_bytes, shortened, write
from wayrule.report.rules import FINE, bar_mm, bar_upright, line

OVERLAP_MM: Final = 12.0
HEAD_MM: Final = 12.0
FOOT_MM: Final = 14.0
MOST_TILES: Final = 400
FEW_TILES: Final = 60
SCALES: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
AROUND_MM: Final = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The line on the map, mm of paper from its lower left corner; every array (n,)."""

    s_mm: Array
    x: Array
    y: Array
    heading: Array
    gauge: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet: column and row, and its lower left corner on the map."""

    column: int
    row: int
    x: float
    y: float

    @property
    def name(self) -> str:
        """As B3: columns are letters, rows numbers from below."""
        letters = ""
        column = self.column
        while column >= 0:
            letters = chr(65 + column % 26) + letters
            column = column // 26 - 1
        return f"{letters}{self.row + 1}"


def drawn(survey: Surveyed, scale: float) -> Drawn:
    """The line at a scale, closed where the line is."""
    st = survey.stations
    held = np.isfinite(st.x_mm) & np.isfinite(st.y_mm) & np.isfinite(st.heading_rad)
    if np.count_nonzero(held) < 2:
        raise UsageError(
            expected="a survey with places", came="fewer than two", where="map", next_step="survey with a gyro"
        )
    s, x, y, heading = (getattr(st, name)[held] for name in ("s_mm", "x_mm", "y_mm", "heading_rad"))
    if st.closed:
        s, x, y = np.r_[s, s[0] + st.length_mm], np.r_[x, x[0]], np.r_[y, y[0]]
        heading = np.r_[heading, heading[0]]
    x, y = x / scale, y / scale
    low_x, low_y = x.min() - AROUND_MM, y.min() - AROUND_MM
    return Drawn(
        s, x - low_x, y - low_y, heading, st.gauge_mm / scale,
        float(np.ptp(x)) + 2 * AROUND_MM, float(np.ptp(y)) + 2 * AROUND_MM,
    )  # fmt: skip


def map_pdf(survey: Surveyed, *, paper: str = "A4", scale: int | None = None) -> tuple[bytes, int]:
    """The map on sheets to be joined, an overview first; (PDF, scale).

    Parameters
    ----------
    scale : mm of line for one mm of paper; None: 1:1, or the largest that needs at most 60 sheets

    Raises
    ------
    UsageError   another paper, a scale below 1, more than 400 sheets, or no places
    """
    sheet = paper_named(paper)
    wide, high = sheet.width_mm - 2 * MARGIN_MM, sheet.height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM
    if scale is not None and scale < 1:
        raise UsageError(
            expected="a map scale of 1 or more", came=str(scale), where="map", next_step="give 10 for 1:10"
        )
    for chosen in SCALES if scale is None else (scale,):
        shape = drawn(survey, chosen)
        tiles = tiles_of(shape, wide, high)
        if len(tiles) <= FEW_TILES:
            break
    if len(tiles) > MOST_TILES:
        raise UsageError(
            expected=f"a map of at most {MOST_TILES} sheets",
            came=f"{len(tiles)} at 1:{chosen}",
            where="map",
            next_step="give a larger --map-scale",
        )
    pages = [_overview(survey, shape, tiles, sheet.name, (wide, high), chosen)]
    pages += [_tile(survey, shape, tile, tiles, sheet.name, (wide, high), chosen) for tile in tiles]
    return pdf_bytes(pages, f"Map: {survey.name}"), chosen


def tiles_of(shape: Drawn, wide: float, high: float) -> list[Tile]:
    """The sheets that the track touches, row by row from above."""
    step_x, step_y = wide - OVERLAP_MM, high - OVERLAP_MM
    columns = max(1, int(np.ceil((shape.width - OVERLAP_MM) / step_x)))
    rows = max(1, int(np.ceil((shape.height - OVERLAP_MM) / step_y)))
    # middle the line on its sheets
    x0, y0 = 0.5 * (shape.width - columns * step_x - OVERLAP_MM), 0.5 * (shape.height - rows * step_y - OVERLAP_MM)
    half = 0.5 * shape.gauge + 2.0
    out = []
    for row in range(rows - 1, -1, -1):
        for column in range(columns):
            tile = Tile(column, row, x0 + column * step_x, y0 + row * step_y)
            inside = (shape.x > tile.x - half) & (shape.x < tile.x + wide + half)
            inside &= (shape.y > tile.y - half) & (shape.y < tile.y + high + half)
            if inside.any():
                out.append(tile)
    return out


def _tile(
    survey: Surveyed, shape: Drawn, tile: Tile, tiles: Sequence[Tile], paper: str, size: tuple[float, float], scale: int
) -> Page:
    page = new_page(paper_named(paper))
    wide, high = size
    left, low = MARGIN_MM, MARGIN_MM + FOOT_MM
    names = {(t.column, t.row): t.name for t in tiles}
    _head(page, survey, f"sheet {tile.name}", scale)
    _track(page, survey, shape, (tile.x, tile.y), (left, low, wide, high), scale)
    for x, y, text in _crosses(tile, names, wide, high):
        _cross(page, left + x, low + y, text, right=x > 0.9 * wide)
    for x0, y0, x1, y1 in ((0, 0, wide, 0), (wide, 0, wide, high), (wide, high, 0, high), (0, high, 0, 0)):
        line(page, left + x0, low + y0, left + x1, low + y1, FINE, color=SOFT, linestyle=(0, (4, 3)))
    return page


def _crosses(tile: Tile, names: dict[tuple[int, int], str], wide: float, high: float) -> list[tuple[float, float, str]]:
    """Joint crosses on this sheet: two on each side that has a neighbour, in the middle of the overlap."""
    half = 0.5 * OVERLAP_MM
    sides = (
        ((-1, 0), [(half, 0.25 * high), (half, 0.75 * high)]),
        ((1, 0), [(wide - half, 0.25 * high), (wide - half, 0.75 * high)]),
        ((0, -1), [(0.25 * wide, half), (0.75 * wide, half)]),
        ((0, 1), [(0.25 * wide, high - half), (0.75 * wide, high - half)]),
    )
    out = []
    for (dx, dy), at in sides:
        other = names.get((tile.column + dx, tile.row + dy))
        if other is not None:
            pair = "/".join(sorted((tile.name, other)))
            out += [(x, y, f"{pair} {k}") for k, (x, y) in enumerate(at, 1)]
    return out


def _cross(page: Page, x: float, y: float, text: str, *, right: bool) -> None:
    line(page, x - 4, y, x + 4, y, FINE)
    line(page, x, y - 4, x, y + 4, FINE)
    write(page, x - 1 if right else x + 1, y + 1, text, 5.0, soft=True, align="right" if right else "left")


def _track(
    page: Page,
    survey: Surveyed,
    shape: Drawn,
    corner: tuple[float, float],
    frame: tuple[float, float, float, float],
    scale: int,
) -> None:
    """Both rails, the centreline, chainage, marks and faults, cut to the frame."""
    left, low, wide, high = frame
    dx, dy = left - corner[0], low - corner[1]
    box = Bbox(page.axes.transData.transform([(left, low), (left + wide, low + high)]))
    nx, ny = -np.sin(shape.heading), np.cos(shape.heading)
    near = np.abs(shape.x - corner[0] - wide / 2) < wide / 2 + 20
    near &= np.abs(shape.y - corner[1] - high / 2) < high / 2 + 20
    for off, width, colour, style in ((0.5, 0.8, INK, "-"), (-0.5, 0.8, INK, "-"), (0.0, 0.3, LINE, (0, (6, 3, 1, 3)))):
        if off and shape.gauge < 1.0:
            continue  # rails closer than a line is wide
        x = np.where(near, shape.x + off * shape.gauge * nx + dx, np.nan)
        y = np.where(near, shape.y + off * shape.gauge * ny + dy, np.nan)
        [drawn_line] = page.axes.plot(x, y, color=colour, linewidth=width, linestyle=style, scalex=False, scaley=False)
        drawn_line.set_clip_box(box)
    for s_mm, text, colour, long in _signs(survey, scale):
        px, py, ux, uy = _at(shape, s_mm)
        if not (corner[0] <= px <= corner[0] + wide and corner[1] <= py <= corner[1] + high):
            continue
        reach, px, py = max(0.5 * shape.gauge, 1.0) + long, px + dx, py + dy
        line(page, px - reach * ux, py - reach * uy, px + reach * ux, py + reach * uy, 0.5, color=colour)
        if text:
            at = (px + (reach + 1.5) * ux, py + (reach + 1.5) * uy)
            align = "left" if ux > 0.3 else "right" if ux < -0.3 else "center"
            write(page, *at, text, 6.0, align=align, va="center", color=colour, clip_on=True, clip_box=box)


def _at(shape: Drawn, s_mm: float) -> tuple[float, float, float, float]:
    """Place on the map, and the unit vector to the left."""
    x, y, h = (float(np.interp(s_mm, shape.s_mm, v)) for v in (shape.x, shape.y, np.unwrap(shape.heading)))
    return x, y, float(-np.sin(h)), float(np.cos(h))


def _signs(survey: Surveyed, scale: int) -> list[tuple[float, str, str, float]]:
    """(chainage, text, colour, length of its tick [mm of paper]) of chainage ticks, marks and faults."""
    step = next(n for n in (10, 50, 100, 500, 1000, 5000, 10000, 50000) if n >= 20 * scale)
    ticks = np.arange(0.0, survey.stations.length_mm, step)
    named = 5 if step in (10, 100, 1000, 10000) else 2
    out = [(float(s), f"{s / 1000:g}" if k % named == 0 else "", SOFT, 1.5) for k, s in enumerate(ticks)]
    out += [(s, mark.name, INK, 4.0) for s, mark in survey.marks if np.isfinite(s)]
    out += [(f.s_mm, f"{n} {f.kind.replace('_', ' ')}", MARK, 4.0) for n, f in enumerate(survey.faults, 1)]
    return out


def _head(page: Page, survey: Surveyed, what: str, scale: int) -> None:
    top = page.height_mm - MARGIN_MM
    title = shortened(f"Map: {survey.name}", page.right - page.left - 45, 11.0)
    write(page, page.left, top - 4, title, 11.0, bold=True)
    about = f"1:{scale} of the track   ·   chainage in metres   ·   crosses: lay the sheets on each other there"
    write(page, page.left, top - 9, about, 7.0, soft=True)
    write(page, page.right, top - 4, what, 9.0, align="right", bold=True)
    bar_mm(page, page.left, MARGIN_MM)
    words = "Print at 100 %, never fitted to the page; lay a rule on the bars."
    write(page, page.left + 112, MARGIN_MM + 1, words, 6.0, soft=True)


def _overview(
    survey: Surveyed, shape: Drawn, tiles: Sequence[Tile], paper: str, size: tuple[float, float], scale: int
) -> Page:
    """All of the line with the sheets drawn over it; and the upright check bar."""
    page = new_page(paper_named(paper))
    _head(page, survey, f"{len(tiles)} sheet{'s' if len(tiles) > 1 else ''}", scale)
    bar_upright(page, page.left + 8, MARGIN_MM + FOOT_MM + 4)
    left, low = page.left + 14, MARGIN_MM + FOOT_MM + 4
    wide, high = size
    x0, x1 = min(t.x for t in tiles), max(t.x for t in tiles) + wide
    y0, y1 = min(t.y for t in tiles), max(t.y for t in tiles) + high
    small = min((wide - 16) / (x1 - x0), (high - 8) / (y1 - y0), 1.0)
    for tile in tiles:
        a, b = left + small * (tile.x - x0), low + small * (tile.y - y0)
        c, d = a + small * wide, b + small * high
        for p in ((a, b, c, b), (c, b, c, d), (c, d, a, d), (a, d, a, b)):
            line(page, *p, FINE, color=GRID)
        write(page, 0.5 * (a + c), 0.5 * (b + d), tile.name, 6.0, soft=True, align="center")
    x, y = left + small * (shape.x - x0), low + small * (shape.y - y0)
    page.axes.plot(x, y, color=LINE, linewidth=1.0, scalex=False, scaley=False)
    return page


def map_svg(survey: Surveyed, scale: int = 1) -> str:
    """The whole map as one SVG whose size is in mm: rails, centreline, marks, faults and a check bar of 100 mm."""
    shape = drawn(survey, scale)
    width, height = max(shape.width, 130.0), shape.height + 14.0
    nx, ny = -np.sin(shape.heading), np.cos(shape.heading)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="0 0 {width:.3f} {height:.3f}" font-family="{escape(FONTS)}" font-size="4">',
        f"<title>{escape(plain_text(survey.name))}, 1:{scale}</title>",
    ]
    lines = (("left-rail", 0.5, INK, 0.3), ("right-rail", -0.5, INK, 0.3), ("centre", 0.0, LINE, 0.15))
    for name, off, ink, stroke in lines:
        x, y = shape.x + off * shape.gauge * nx, shape.height - (shape.y + off * shape.gauge * ny)
        points = " ".join(f"{a:.4f},{b:.4f}" for a, b in zip(x, y, strict=True))
        parts.append(f'<polyline id="{name}" fill="none" stroke="{ink}" stroke-width="{stroke}" points="{points}"/>')
    for s_mm, text, colour, long in _signs(survey, scale):
        px, py, ux, uy = _at(shape, s_mm)
        reach, py = 0.5 * shape.gauge + long, shape.height - py
        parts.append(
            f'<line x1="{px - reach * ux:.3f}" y1="{py + reach * uy:.3f}" x2="{px + reach * ux:.3f}" '
            f'y2="{py - reach * uy:.3f}" stroke="{colour}" stroke-width="0.2"/>'
        )
        if text:
            at = f'x="{px + (reach + 1) * ux:.3f}" y="{py - (reach + 1) * uy:.3f}"'
            parts.append(f'<text {at} fill="{colour}">{escape(plain_text(text))}</text>')
    foot = shape.height + 6.0
    parts.append(f'<line id="bar-100-mm" x1="10" y1="{foot}" x2="110" y2="{foot}" stroke="{INK}" stroke-width="0.4"/>')
    parts.append(f'<text x="112" y="{foot + 1}" fill="{INK}">100 mm</text></svg>')
    return "\n".join(parts) + "\n"
