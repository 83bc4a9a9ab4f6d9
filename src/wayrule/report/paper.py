"""Pages of true size: one drawing unit is one millimetre of paper, in PDF and in SVG alike."""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import Any, Final

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager, get_font
from matplotlib.patches import Rectangle

from wayrule.errors import UsageError
from wayrule.report.canvas import FONTS, INK, SOFT, plain_text
from wayrule.units import INCH_MM

MARGIN_MM: Final = 13.0
"""No printer of the trade needs a wider edge [mm]; common practice, no source."""

POINT_MM: Final = INCH_MM / 72
"""One point of a PDF [mm]: 1/72 in (ISO 32000-1, 8.3.2.3)."""

_SETTINGS: Final[dict[Any, Any]] = {
    "pdf.fonttype": 42,
    "svg.fonttype": "none",
    "svg.hashsalt": "wayrule",
    "font.family": ["DejaVu Sans"],
    "path.simplify": False,
    "axes.unicode_minus": True,
    "hatch.linewidth": 0.4,
}


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper, upright [mm]."""

    name: str
    width_mm: float
    height_mm: float


PAPERS: Final = (
    Paper("A4", 210.0, 297.0),  # ISO 216
    Paper("Letter", 8.5 * INCH_MM, 11 * INCH_MM),  # ASME Y14.1, size A
)


@dataclass(frozen=True, slots=True)
class Page:
    """One page: a figure, and axes over all of it whose unit is 1 mm, origin at the lower left corner."""

    figure: Figure
    axes: Axes
    width_mm: float
    height_mm: float

    @property
    def left(self) -> float:
        """Where text and drawings begin [mm]."""
        return MARGIN_MM

    @property
    def right(self) -> float:
        """Where they end [mm]."""
        return self.width_mm - MARGIN_MM


def paper_named(name: str) -> Paper:
    """A4 or Letter, however written.

    >>> round(paper_named("letter").width_mm, 3)
    215.9
    """
    for paper in PAPERS:
        if paper.name.lower() == name.strip().lower():
            return paper
    raise UsageError(
        expected=f"a paper: {' or '.join(p.name for p in PAPERS)}",
        came=repr(name),
        where="sheet to work from",
        next_step="the drawing is 1:1 on either; take what your printer holds",
    )


def new_page(paper: Paper, *, landscape: bool = False) -> Page:
    """An empty white page."""
    width, height = (paper.height_mm, paper.width_mm) if landscape else (paper.width_mm, paper.height_mm)
    figure = Figure(figsize=(width / INCH_MM, height / INCH_MM), dpi=72, facecolor="white")
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0.0, width), ylim=(0.0, height))
    axes.set_axis_off()
    axes.add_patch(Rectangle((0, 0), width, height, facecolor="white", edgecolor="none", zorder=-10))
    return Page(figure, axes, width, height)


def pdf_bytes(pages: Sequence[Page], title: str) -> bytes:
    """The pages as one PDF; the same pages give the same bytes (no date)."""
    buffer = io.BytesIO()
    about = {"Title": plain_text(title), "Creator": "Wayrule", "Producer": None, "CreationDate": None}
    with matplotlib.rc_context(_SETTINGS), PdfPages(buffer, metadata=about) as file:
        for page in pages:
            FigureCanvasPdf(page.figure)
            file.savefig(page.figure)
    return buffer.getvalue()


def svg_text(page: Page, label: str) -> str:
    """One page as an SVG file whose width and height are in mm."""
    with matplotlib.rc_context(_SETTINGS):
        buffer = io.StringIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        FigureCanvasSVG(page.figure).print_svg(buffer, metadata=nothing)  # type: ignore[no-untyped-call]
    svg = re.sub(r"<metadata>.*?</metadata>", "", buffer.getvalue(), flags=re.S)
    svg = re.sub(r"'DejaVu Sans'[^;\"]*", FONTS, svg)
    size = f'<svg width="{page.width_mm:g}mm" height="{page.height_mm:g}mm" role="img"'
    svg = re.sub(r'<svg ([^>]*?)width="[^"]*"([^>]*?)height="[^"]*"', rf"{size} \1\2", svg, count=1)
    svg = re.sub(r'(<svg [^>]*?) height="[\d.]+pt"', r"\1", svg, count=1)
    svg = re.sub(r'(<svg [^>]*?) width="[\d.]+pt"', r"\1", svg, count=1)
    end = svg.index(">", svg.index("<svg")) + 1
    return svg[:end] + f"\n<title>{escape(plain_text(label))}</title>" + svg[end:]


def write(
    page: Page,
    x: float,
    y: float,
    text: str,
    size: float = 8.0,
    *,
    bold: bool = False,
    soft: bool = False,
    align: str = "left",
    **more: Any,
) -> None:
    """A line of text whose foot stands at (x, y) [mm]; `size` in points."""
    options: dict[str, Any] = {"ha": align, "va": "baseline", "color": SOFT if soft else INK, "fontsize": size, **more}
    page.axes.text(x, y, letters(text), fontweight="bold" if bold else "normal", **options)


def paragraph(page: Page, x: float, y: float, text: str, width: float, size: float = 8.0, **more: Any) -> float:
    """Text broken into lines of at most `width` mm, the first one's foot at y; returns the foot of the next line."""
    for line in lines_of(text, width, size):
        write(page, x, y, line, size, **more)
        y -= line_mm(size)
    return y


def line_mm(size: float) -> float:
    """From line to line [mm]."""
    return 1.32 * size * POINT_MM


def lines_of(text: str, width: float, size: float) -> list[str]:
    """Words of a text in lines of at most `width` mm; a longer word stands alone.

    >>> lines_of("one two three", 12.0, 8.0)
    ['one two', 'three']
    """
    lines: list[str] = []
    for word in letters(text).split(" "):
        if lines and width_mm(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


@lru_cache(maxsize=4096)
def width_mm(text: str, size: float) -> float:
    """Length of a line of text [mm], in the font that the PDF carries."""
    font = get_font(fontManager.findfont(FontProperties(family="DejaVu Sans")))
    font.set_size(size, 72)
    font.set_text(text, 0.0)
    return float(font.get_width_height()[0]) / 64 * POINT_MM


def shortened(text: str, width: float, size: float) -> str:
    """A line cut to `width` mm in bold letters, with an ellipsis where something went.

    >>> shortened("Heather Vale inspection van 7", 40.0, 13.0)
    'Heather Vale…'
    """
    text = letters(text)
    if fits(text, width, size):
        return text
    while text and not fits(text + "…", width, size):
        text = text[:-1]
    return text.rstrip() + "…"


def fits(text: str, width: float, size: float) -> bool:
    """Whether a line in bold letters is at most `width` mm long; bold is up to 15 % wider than what is measured.

    >>> fits("Heather Vale inspection van 7", 100.0, 13.0)
    True
    """
    return 1.15 * width_mm(letters(text), size) <= width


def letters(text: str) -> str:
    """Text from a file made fit for the page: letters that the PDF's font lacks become "?".

    >>> letters("Wagen 7 \\u7532")
    'Wagen 7 ?'
    """
    known = get_font(fontManager.findfont(FontProperties(family="DejaVu Sans"))).get_charmap()
    return "".join(c if ord(c) in known else "?" for c in plain_text(text, 2000))
