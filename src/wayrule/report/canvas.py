"""Drawing: a figure measured in CSS pixels, turned into an inline SVG whose ink follows the page's light and dark.

Every colour used in a figure is one of the inks below. On the way out each becomes a CSS variable with the light
colour as its fallback, so that the same SVG stands alone in a notebook, follows the page in light and dark, and
prints dark on white. The colours of the two colour scales stay as they are.
"""

import io
import re
from html import escape
from typing import Any, Final, NamedTuple

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager, get_font

PX_PER_INCH: Final = 72.0
"""One typographic point of the drawing is one CSS pixel of the page."""

INK: Final = "#17242e"
SOFT: Final = "#55636d"
PAPER: Final = "#fdfcf8"
GRID: Final = "#dedad0"
LINE: Final = "#1d4e6b"
BAND1: Final = "#9dbdcf"
BAND2: Final = "#d3e2ea"
MARK: Final = "#b0371b"
REST: Final = "#e6e0cf"
SECOND: Final = "#8a6a14"

VARIABLES: Final[dict[str, str]] = {
    INK: "--ink",
    SOFT: "--soft",
    PAPER: "--paper",
    GRID: "--grid",
    LINE: "--line",
    BAND1: "--band1",
    BAND2: "--band2",
    MARK: "--mark",
    REST: "--rest",
    SECOND: "--second",
}

LONGEST_LABEL: Final = 600
FONTS: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, 'Liberation Sans', sans-serif"

_settings: Final[dict[Any, Any]] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "wayrule",
    "font.family": ["DejaVu Sans"],
    "path.simplify": True,
    "path.simplify_threshold": 0.15,
    "axes.unicode_minus": True,
}


class Size(NamedTuple):
    """Width of a figure and size of its lettering, in CSS pixels; `name` is the class that the page shows it by."""

    name: str
    width: float
    font: float


WIDE: Final = Size("wide", 760.0, 12.0)
NARROW: Final = Size("narrow", 358.0, 11.5)


def new_figure(size: Size, height: float) -> Figure:
    """An empty figure of `size` and `height` CSS pixels, without paper of its own."""
    figure = Figure(figsize=(size.width / PX_PER_INCH, height / PX_PER_INCH), dpi=PX_PER_INCH)
    figure.patch.set_visible(False)
    return figure


def place_axes(figure: Figure, left: float, right: float, top: float, bottom: float) -> Axes:
    """Axes whose frame keeps these distances [px] from the edges of the figure."""
    width, height = figure.get_figwidth() * PX_PER_INCH, figure.get_figheight() * PX_PER_INCH
    box = (left / width, bottom / height, (width - left - right) / width, (height - top - bottom) / height)
    return figure.add_axes(box)


def dress(axes: Axes, font: float) -> None:
    """The house style of a diagram: hairline frame left and below, quiet grid, ink lettering."""
    axes.set_facecolor("none")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(SOFT)
        axes.spines[side].set_linewidth(0.8)
    axes.grid(True, color=GRID, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.tick_params(colors=SOFT, labelcolor=INK, labelsize=font, length=3.5, width=0.8)
    axes.xaxis.label.set(color=INK, fontsize=font)
    axes.yaxis.label.set(color=INK, fontsize=font)


def plain_text(text: str, longest: int = 80) -> str:
    """Text from a file made fit for a drawing: no control characters, no line ends, not longer than `longest`.

    >>> plain_text("Halt\\x00 \\n no. 3"), plain_text("Heather Vale Junction", 9)
    ('Halt no. 3', 'Heather …')
    """
    clean = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"


def to_svg(figure: Figure, ident: str, label: str) -> str:
    """The figure as one `<svg>` element for the middle of a page.

    Parameters
    ----------
    ident : str   unique on the page, letters, digits and hyphens; prefixes every id inside
    label : str   what the figure says, in a sentence, for people who do not see it

    Returns
    -------
    str   the same for the same figure: no date, no random names, no reference to anything outside

    Notes
    -----
    The drawing library keeps its settings for the whole process; they are set for this call and put back. Two threads
    must not draw at the same time.
    """
    with matplotlib.rc_context(_settings):
        stand_ins = _lend_letters(figure)
        buffer = io.StringIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        FigureCanvasSVG(figure).print_svg(buffer, metadata=nothing)  # type: ignore[no-untyped-call]
    return _inline(buffer.getvalue(), ident, plain_text(label, LONGEST_LABEL), stand_ins)


def _lend_letters(figure: Figure) -> dict[str, str]:
    """Swap texts with letters that the measuring font lacks (the browser has them) for stand-ins of the same length.

    Returns stand-in -> real text. Without it the font would warn about each missing letter and measure a box.
    """
    known = get_font(fontManager.findfont("DejaVu Sans")).get_charmap()
    stand_ins: dict[str, str] = {}
    # Tick labels are left out: they are our own numbers, and asking for them makes ticks that are never drawn.
    for artist in (text for axes in figure.axes for text in axes.texts):
        text = artist.get_text()
        if all(ord(c) in known or c == "\n" for c in text):
            continue
        name = f"Q{len(stand_ins):03d}"
        stand_in = name + "W" * max(0, round(1.4 * len(text)) - len(name))
        stand_ins[stand_in] = text
        artist.set_text(stand_in)
    return stand_ins


def _inline(svg: str, ident: str, label: str, stand_ins: dict[str, str]) -> str:
    """Strip what only a file needs, make ids unique, hand colours and lettering to the page."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", svg, flags=re.S)
    used = set(re.findall(r'(?:xlink:href="#|url\(#)([^")]+)', svg))
    svg = re.sub(r' id="([^"]*)"', lambda m: f' id="{ident}-{m[1]}"' if m[1] in used else "", svg)
    svg = re.sub(r'xlink:href="#', f'href="#{ident}-', svg)
    svg = re.sub(r"url\(#", f"url(#{ident}-", svg)
    svg = re.sub(r'"[^"]*"', lambda value: _attribute(value[0]), svg)
    svg = re.sub(r"<g>\s*</g>", "", re.sub(r">\s*\n\s*<", ">\n<", svg))
    for stand_in, text in stand_ins.items():
        svg = svg.replace(f">{stand_in}<", f">{escape(text)}<")
    view = re.search(r'viewBox="([^"]+)"', svg)
    width, height = view[1].split()[2:] if view else ("0", "0")
    head = (
        f'<svg class="chart" role="img" aria-label="{escape(label)}" xmlns="http://www.w3.org/2000/svg" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        f'style="stroke-linejoin:round;stroke-linecap:butt">\n<title>{escape(label)}</title>'
    )
    return head + svg[svg.index(">") + 1 :].rstrip()


def _attribute(value: str) -> str:
    """An attribute with 1/100 px, CSS variables for the inks, and the reader's own sans-serif; words stay as they are.

    The font that measured the words runs wider than those of the reader, so that all fits.
    """
    value = re.sub(r"(\d+\.\d{2})\d+", r"\1", value)
    for colour, variable in VARIABLES.items():
        value = value.replace(colour, f"var({variable},{colour})")
    return re.sub(r"'DejaVu Sans'[^;\"]*", FONTS, value)
