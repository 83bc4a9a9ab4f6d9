"""Views of a wagon on pages at 1:1: both on one page where they fit, each on its own, or in tiles to be joined."""

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple

from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle

from wayrule.report.canvas import GRID, INK, LINE, MARK, REST, SOFT
from wayrule.report.paper import MARGIN_MM, Page, line_mm, lines_of, paragraph, write
from wayrule.report.rules import FINE, along, helper, line
from wayrule.report.views import Piece, View

HEAD_MM: Final = 26.0
"""Kept free at the top of a page for its title [mm]."""

FOOT_MM: Final = 16.0
"""And at its foot for the bar [mm]."""

OVERLAP_MM: Final = 10.0
"""How far tiles overlap, so that they can be glued on each other [mm]."""

TAGS_MM: Final = 13.0
"""Above a view, for the letters of its places [mm]."""

HEIGHTS_MM: Final = 26.0
"""Kept free beside a view for its dimensioned heights [mm]."""

TITLE_MM: Final = 6.0
LIST_PT: Final = 7.5

_DASH: Final[Any] = (0, (8, 2, 1.5, 2))
_STYLES: Final[dict[str, dict[str, Any]]] = {
    "rail": {"color": INK, "linewidth": 1.6},
    "body": {"edgecolor": SOFT, "facecolor": "none", "linewidth": 0.8},
    "floor": {"edgecolor": SOFT, "facecolor": REST, "linewidth": 0.4},
    "iron": {"edgecolor": INK, "facecolor": GRID, "linewidth": 0.5, "hatch": "//////"},
    "part": {"edgecolor": LINE, "facecolor": "none", "linewidth": 0.8, "linestyle": (0, (5, 1.5))},
    "wheel": {"edgecolor": INK, "facecolor": "none", "linewidth": 0.8},
    "magnet": {"edgecolor": INK, "facecolor": "white", "linewidth": 0.6},
    "axle": {"edgecolor": INK, "facecolor": GRID, "linewidth": 0.5},
    "sweep": {"edgecolor": MARK, "facecolor": "none", "linewidth": 0.5, "linestyle": (0, (2, 1.5))},
    "centre": {"color": SOFT, "linewidth": 0.4, "linestyle": _DASH},
    "sensor": {"edgecolor": MARK, "facecolor": "none", "linewidth": 0.9},
}
_ORDER: Final = list(_STYLES)


class Window(NamedTuple):
    """The part of a page that shows a part of a view [mm of paper], and where the view's origin lies on the paper."""

    left: float
    low: float
    right: float
    high: float
    x: float
    y: float


class Sheet(NamedTuple):
    """One page still to be drawn: upright or not, its title, and what draws it."""

    landscape: bool
    title: str
    draw: Callable[[Page], object]


def view_sheets(side: View, plan: View, width_mm: float, height_mm: float) -> list[Sheet]:
    """Pages for both views on paper of this size (upright) [mm]."""
    for landscape in (False, True):
        room, tall = _room(width_mm, height_mm, landscape=landscape)
        needed = _height(side, room) + _height(plan, room) + 4
        if max(_across(side), _across(plan)) <= room and needed <= tall:
            return [Sheet(landscape, "Side and plan", lambda page: _draw_both(page, side, plan))]
    return [sheet for view in (side, plan) for sheet in _own_sheets(view, width_mm, height_mm)]


def _own_sheets(view: View, width_mm: float, height_mm: float) -> list[Sheet]:
    for landscape in (False, True):
        room, tall = _room(width_mm, height_mm, landscape=landscape)
        if _across(view) <= room and _height(view, room) <= tall:
            return [Sheet(landscape, view.title, lambda page: _draw_one(page, view, page.height_mm - HEAD_MM - 6))]
    return _tiles(view, width_mm, height_mm)


def _room(width_mm: float, height_mm: float, *, landscape: bool) -> tuple[float, float]:
    """Width and height for views on a page [mm]."""
    w, h = (height_mm, width_mm) if landscape else (width_mm, height_mm)
    return w - 2 * MARGIN_MM, h - HEAD_MM - FOOT_MM - MARGIN_MM


def _across(view: View) -> float:
    return view.high[0] - view.low[0] + (HEIGHTS_MM if view.heights else 0.0)


def _list_mm(view: View, room: float) -> float:
    count = sum(len(lines_of(tag.text, room - 6, LIST_PT)) for tag in view.tags)
    return count * line_mm(LIST_PT) + 5


def _height(view: View, room: float) -> float:
    return TITLE_MM + TAGS_MM + (view.high[1] - view.low[1]) + _list_mm(view, room)


def _draw_both(page: Page, side: View, plan: View) -> None:
    room = page.right - page.left
    wide = max(_across(side), _across(plan))
    x = page.right - (room - wide) / 2 - max(side.high[0], plan.high[0])  # one above the other, axle above axle
    down = _draw_one(page, side, page.height_mm - HEAD_MM - 6, x)
    _draw_one(page, plan, down - 4, x)


def _draw_one(page: Page, view: View, top: float, x: float | None = None) -> float:
    """A whole view below `top`, its letters above it and their list below; returns where the list ended [mm]."""
    write(page, page.left, top, view.title, 10, bold=True)
    room = page.right - page.left
    if x is None:
        x = page.right - (room - _across(view)) / 2 - view.high[0]
    y = top - TITLE_MM - TAGS_MM - view.high[1] + 4
    window = Window(page.left - 2, y + view.low[1] - 2, page.right + 2, y + view.high[1] + TAGS_MM, x, y)
    place(page, view, window)
    _heights(page, view, window)
    _letters(page, view, window)
    return _list(page, view, y + view.low[1] - 6)


def _heights(page: Page, view: View, window: Window) -> None:
    """Dimensions at the rear, the shortest nearest to the wagon."""
    for k, (low, high, text) in enumerate(view.heights):
        x = window.x + view.low[0] - 4 - 11 * k
        for level in (low, high):
            helper(page, x - 1, window.y + level, window.x + view.low[0] + 3, window.y + level)
        along(page, x, window.y + low, window.y + high, text, left=True)


def _list(page: Page, view: View, y: float) -> float:
    for tag in sorted(view.tags, key=lambda t: t.letter):
        write(page, page.left, y, tag.letter, LIST_PT, bold=True)
        y = paragraph(page, page.left + 5, y, tag.text, page.right - page.left - 6, LIST_PT)
    return y


def place(page: Page, view: View, window: Window) -> None:
    """The view's pieces at 1:1, cut at the window's edges."""
    frame = Rectangle(
        (window.left, window.low), window.right - window.left, window.high - window.low, transform=page.axes.transData
    )
    for piece in sorted(view.pieces, key=lambda p: _ORDER.index(p.kind)):
        if not _shows(piece, window):
            continue
        artist = _artist(piece, window.x, window.y)
        if piece.name:
            artist.set_gid(f"{view.title.split(',')[0].lower()}-{piece.name}")
        (page.axes.add_line if isinstance(artist, Line2D) else page.axes.add_patch)(artist)
        artist.set_clip_path(frame)
        if piece.kind == "sensor":
            _cross(page, window.x + piece.x, window.y + piece.y, frame)


def _shows(piece: Piece, window: Window) -> bool:
    """Whether any of a piece lies within the window."""
    x, y, wide, tall = window.x + piece.x, window.y + piece.y, piece.width, piece.height
    if piece.form == "circle":
        x, y = x - wide / 2, y - tall / 2
    across = min(x, x + wide) <= window.right and max(x, x + wide) >= window.left
    return across and min(y, y + tall) <= window.high and max(y, y + tall) >= window.low


def _artist(piece: Piece, x: float, y: float) -> Any:
    style = dict(_STYLES[piece.kind])
    if piece.form == "circle":
        return Circle((x + piece.x, y + piece.y), piece.width / 2, **style)
    if piece.form == "box":
        return Rectangle((x + piece.x, y + piece.y), piece.width, piece.height, **style)
    if "edgecolor" in style:
        style = {"color": style["edgecolor"], "linewidth": 2 * style["linewidth"]}
    return Line2D([x + piece.x, x + piece.x + piece.width], [y + piece.y, y + piece.y + piece.height], **style)


def _cross(page: Page, x: float, y: float, frame: Rectangle) -> None:
    """The hair cross of the field sensor."""
    for dx, dy in ((2.2, 0.0), (0.0, 2.2)):
        hair = Line2D([x - dx, x + dx], [y - dy, y + dy], color=MARK, linewidth=0.6)
        page.axes.add_line(hair)
        hair.set_clip_path(frame)


def _letters(page: Page, view: View, window: Window) -> None:
    """Letters in a row above the view, spread so that none touches another, each with a line to its place."""
    shown = [t for t in view.tags if window.left <= window.x + t.x <= window.right]
    shown.sort(key=lambda t: t.x)
    if not shown:
        return
    row = window.y + view.high[1] + 5.0
    spots = spread([window.x + t.x for t in shown], 6.0, window.left + 4, window.right - 4)
    for tag, spot in zip(shown, spots, strict=True):
        line(page, spot, row - 0.6, window.x + tag.x, window.y + tag.y, 0.3, color=SOFT, linestyle=(0, (1, 1.5)))
        page.axes.add_patch(Circle((window.x + tag.x, window.y + tag.y), 0.35, facecolor=INK, edgecolor="none"))
        write(page, spot, row, tag.letter, 8, bold=True, align="center")


def spread(wanted: list[float], apart: float, low: float, high: float) -> list[float]:
    """Places in the same order, at least `apart` from each other and as near to the wanted ones as a sweep gets them.

    >>> spread([0.0, 1.0, 20.0], 6.0, -10.0, 30.0)
    [0.0, 6.0, 20.0]
    >>> spread([29.0, 30.0], 6.0, 0.0, 30.0)
    [24.0, 30.0]
    """
    spots: list[float] = []
    for at in wanted:
        spots.append(max(at, low, spots[-1] + apart if spots else low))
    limit = high
    for k in reversed(range(len(spots))):
        spots[k] = min(spots[k], limit)
        limit = spots[k] - apart
    return spots


def _tiles(view: View, width_mm: float, height_mm: float) -> list[Sheet]:
    """Columns and rows of a view too large for one page, in the orientation that takes fewer pages."""
    extra = TITLE_MM + TAGS_MM

    def count(landscape: bool) -> tuple[int, int]:
        room, tall = _room(width_mm, height_mm, landscape=landscape)
        columns = math.ceil((view.high[0] - view.low[0] - OVERLAP_MM) / (room - OVERLAP_MM))
        rows = math.ceil((view.high[1] - view.low[1] - OVERLAP_MM) / (tall - extra - OVERLAP_MM))
        return max(columns, 1), max(rows, 1)

    landscape = math.prod(count(True)) < math.prod(count(False))
    columns, rows = count(landscape)
    sheets = []
    for row in range(rows):
        for column in range(columns):
            name = f"{'ABCDEFGHIJKLMNOP'[row % 16]}{column + 1}"
            title = f"{view.title}: tile {name} of {columns} × {rows}"
            sheets.append(Sheet(landscape, title, _tile(view, column, row, (columns, rows), name)))
    room, tall = _room(width_mm, height_mm, landscape=landscape)
    if rows == 1 and _height(view, room) <= tall:
        sheets[0] = sheets[0]._replace(draw=_with_list(sheets[0].draw, view))
        return sheets
    return [*sheets, Sheet(False, f"{view.title}: places", lambda page: _places(page, view))]


def _with_list(draw: Callable[[Page], object], view: View) -> Callable[[Page], object]:
    """A tile with the list of places under it, where a single row leaves room."""

    def both(page: Page) -> None:
        draw(page)
        _list(page, view, page.height_mm - HEAD_MM - TITLE_MM - TAGS_MM - (view.high[1] - view.low[1]) - 5)

    return both


def _places(page: Page, view: View) -> None:
    y = page.height_mm - HEAD_MM - 6
    write(page, page.left, y, view.title, 10, bold=True)
    _list(page, view, y - 7)


def _tile(view: View, column: int, row: int, grid: tuple[int, int], name: str) -> Callable[[Page], None]:
    def draw(page: Page) -> None:
        room = page.right - page.left
        top = page.height_mm - HEAD_MM - TITLE_MM - TAGS_MM
        tall = top - FOOT_MM - MARGIN_MM
        start = view.low[0] + column * (room - OVERLAP_MM)
        upper = view.high[1] - row * (tall - OVERLAP_MM)
        window = Window(page.left, top - tall, page.right, top, page.left - start, top - upper)
        write(page, page.left, page.height_mm - HEAD_MM - 4, f"Tile {name}", 10, bold=True)
        place(page, view, window)
        _letters_of_tile(page, view, window)
        _register(page, view, window, column, row, grid)

    return draw


def _letters_of_tile(page: Page, view: View, window: Window) -> None:
    """Letters beside their places: a tile has no row of its own above each part of a view."""
    for tag in view.tags:
        x, y = window.x + tag.x, window.y + tag.y
        if window.left + 1 <= x <= window.right - 1 and window.low + 1 <= y <= window.high - 1:
            page.axes.add_patch(Circle((x, y), 0.35, facecolor=INK, edgecolor="none"))
            write(page, x + 1.0, y + 1.0, tag.letter, 8, bold=True)


def _register(page: Page, view: View, window: Window, column: int, row: int, grid: tuple[int, int]) -> None:
    """Crosses that two neighbours share: laid on each other they put the tiles in line; and a line to cut along."""
    columns, rows = grid
    lows = max(window.low, window.y + view.low[1])
    highs = min(window.high, window.y + view.high[1])
    heights = (lows + 4, (lows + highs) / 2 + 1.5, highs - 4)
    for edge, there in ((window.left, column > 0), (window.right - OVERLAP_MM, column < columns - 1)):
        if there:
            for y in heights:
                _mark(page, edge + OVERLAP_MM / 2, y)
    if column > 0:
        line(page, window.left, lows, window.left, highs, FINE, color=SOFT)
        words = f"glue on tile {'ABCDEFGHIJKLMNOP'[row % 16]}{column}, cross on cross"
        write(
            page, window.left - 1.5, (lows + highs) / 2, words, 6.5, soft=True, rotation=90, va="center", align="right"
        )
    middle = (window.left + window.right) / 2
    for edge, there in ((window.high - OVERLAP_MM, row > 0), (window.low, row < rows - 1)):
        if there:
            for x in (window.left + 20, middle, window.right - 20):
                _mark(page, x, edge + OVERLAP_MM / 2)


def _mark(page: Page, x: float, y: float) -> None:
    line(page, x - 3, y, x + 3, y, 0.4, gid=f"register-{x:.2f}-{y:.2f}")
    line(page, x, y - 3, x, y + 3, 0.4)
    page.axes.add_patch(Circle((x, y), 1.4, facecolor="none", edgecolor=INK, linewidth=0.4))
