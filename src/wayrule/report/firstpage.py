"""The first page of a sheet to work from: is the print 1:1, strips to wrap, the flats, and what was reckoned."""

import math
from typing import Final

from matplotlib.patches import Circle, Polygon, Rectangle

from wayrule.model import Flat, Strip, Worksheet
from wayrule.report.canvas import GRID, INK, SOFT
from wayrule.report.numbers import inches
from wayrule.report.paper import Page, line_mm, paragraph, write
from wayrule.report.rules import FINE, across, along, bar_inch, bar_mm, bar_upright, helper, line

STRIP_MM: Final = 7.0
"""Height of a strip [mm]."""

ENLARGED: Final = (1, 2, 3, 4, 5, 8, 10, 15, 20, 25, 30, 40, 50)


def first_page(page: Page, sheet: Worksheet, top: float) -> float:
    """Fill the page downwards from `top`; returns where it ended [mm]."""
    y = _check(page, top)
    y = _strips(page, sheet.strips, y - 5)
    return _flats(page, sheet, y - 5)


def _heading(page: Page, y: float, text: str, right: float) -> float:
    """A section's title with a rule above; returns the foot of what follows [mm]."""
    line(page, page.left, y + 5.2, right, y + 5.2, FINE)
    write(page, page.left, y, text, 10, bold=True)
    return y - 5.5


def _check(page: Page, y: float) -> float:
    write(page, page.left, y, "1  Is this print 1:1?", 10, bold=True)
    y -= 6
    low = y - 97.0
    bar_upright(page, page.right, low)
    write(
        page,
        page.right - 12,
        low + 50,
        "100 mm along the paper",
        6.5,
        soft=True,
        rotation=90,
        va="center",
        align="center",
    )
    bar_mm(page, page.left, y - 4)
    bar_inch(page, page.left, y - 14)
    words = (
        "Print at 100 % (“actual size”), never “fit to page”. Lay a steel rule on both bars of 100 mm, across and "
        "along the paper: printers stretch either way on their own. Right to 0.3 mm: go on. Else print again; a "
        "bar that measures L mm makes every length on these pages L/100 of what it should be."
    )
    width = page.right - page.left - 22
    y = paragraph(page, page.left, y - 21, words, width, 8)
    write(page, page.left, y - 1.5, "Measured:   across ________ mm      along ________ mm", 8)
    return y - 7.5


def _strips(page: Page, strips: tuple[Strip, ...], y: float) -> float:
    y = _heading(page, y, "2  Two marks half a turn apart", page.right - 20)
    width = page.right - page.left - 22
    for strip in strips:
        y = _strip(page, strip, y, width)
    paper = strips[0].paper_mm if strips else 0.1
    words = (
        "Cut out, wrap tightly, tab underneath: the two end lines (A) must meet. Mark the wheel or axle at A and "
        f"at B: they are 180° apart. Length = π × (diameter + paper), reckoned for paper of {paper:g} mm. If the "
        "ends gap or overlap, the paper is thinner or thicker or the diameter is another: then mark the overlap, "
        "cut there, and fold the strip in two: the fold is half a turn, whatever the paper."
        if strips
        else "No diameter is stated: add wheel.diameter_mm and axle.diameter_mm to the wagon file."
    )
    return paragraph(page, page.left, y, words, width, 8)


def _strip(page: Page, strip: Strip, y: float, width: float) -> float:
    """One strip, its marks and its words; a wheel too large for the paper is told instead."""
    told = (
        f"{strip.what.capitalize()}, {strip.diameter_mm:g} mm: strip of {strip.length_mm:.2f} mm "
        f"({inches(strip.length_mm)}). Paper 0.1 mm thicker: ends {strip.error_mm_per_0_1:.2f} mm apart, B off by "
        f"{strip.error_deg_per_0_1:.1f}°."
    )
    y = paragraph(page, page.left, y, told, width, 8)
    if strip.length_mm + strip.tab_mm > width:
        words = (
            "Too long for this paper: cut a strip of that length from a roll, mark it at both ends and in the middle."
        )
        return paragraph(page, page.left, y, words, width, 8, soft=True) - 2
    x, low = page.left, y - STRIP_MM + 0.8
    box = Rectangle((x, low), strip.length_mm, STRIP_MM, facecolor="none", edgecolor=INK, linewidth=0.6)
    box.set_gid(f"strip-{strip.what.split(',')[0]}")
    page.axes.add_patch(box)
    tab = Polygon(
        [
            (x + strip.length_mm, low),
            (x + strip.length_mm + strip.tab_mm, low + 1),
            (x + strip.length_mm + strip.tab_mm, low + STRIP_MM - 1),
            (x + strip.length_mm, low + STRIP_MM),
        ],
        facecolor=GRID, edgecolor=SOFT, linewidth=FINE,
    )  # fmt: skip
    page.axes.add_patch(tab)
    for share, name in ((0.0, "A"), (0.5, "B"), (1.0, "A")):
        at = x + share * strip.length_mm
        line(page, at, low - 1.2, at, low + STRIP_MM + 1.2, 0.6)
        down = 6.8 if name == "B" and strip.length_mm < 9 else 4.2
        write(page, at, low - down, name, 7, bold=True, align="center")
    if strip.tab_mm >= 5:
        write(page, x + strip.length_mm + strip.tab_mm / 2, low + STRIP_MM / 2, "tab", 6, align="center", va="center")
    return low - (11.5 if strip.length_mm < 9 else 9.0)


def _flats(page: Page, sheet: Worksheet, y: float) -> float:
    y = _heading(page, y, "3  The flats", page.right - 20)
    if sheet.flat is None:
        missing = any(m.startswith("flats") for m in sheet.missing)
        words = "Nothing is filed: a ring goes over the axle, discs may be glued on a round one."
        if missing:
            words = "Not enough is stated to draw them (see what is missing)."
        return paragraph(page, page.left, y, words, page.right - page.left, 8)
    flat = sheet.flat
    size = max(k for k in ENLARGED if k * flat.diameter_mm <= 34 or k == 1)
    radius = size * flat.diameter_mm / 2
    middle = (page.left + 26 + radius, y - 9 - radius)
    _section(page, flat, middle, size)
    x = middle[0] + radius + 24
    down = y
    for told in _told(flat):
        down = paragraph(page, x, down, told, page.right - x, 8)
    down = _true_size(page, sheet, x, down - 2)
    for caution in (c for c in sheet.cautions if c.step == "file"):
        down = paragraph(page, x, down - 0.8, f"{caution.title}: {caution.text}", page.right - x, 7, soft=True)
    return min(middle[1] - radius - 6, down + 2)


def _told(flat: Flat) -> tuple[str, ...]:
    """The flats in words."""
    return (
        f"Axle {flat.diameter_mm:g} mm ({inches(flat.diameter_mm)})",
        f"File {flat.depth_mm:.2f} mm ({inches(flat.depth_mm)}) deep on both sides:",
        f"across the flats {flat.across_mm:.2f} mm ({inches(flat.across_mm)}), each flat {flat.width_mm:.2f} mm "
        f"({inches(flat.width_mm)}) wide.",
        f"The width tells the depth: 0.01 mm deeper makes it {flat.width_per_0_01:.3f} mm wider.",
        "Both flats parallel, exactly opposite: the printed jig does that.",
    )


def _section(page: Page, flat: Flat, middle: tuple[float, float], size: int) -> None:
    """The axle's section, enlarged, with its dimensions."""
    x, y = middle
    r, f, w = size * flat.diameter_mm / 2, size * flat.flat_radius_mm, size * flat.width_mm / 2
    angle = math.asin(f / r)
    steps = [angle * (2 * k / 60 - 1) for k in range(61)]
    outline = [(x + r * math.cos(a), y + r * math.sin(a)) for a in steps]
    outline += [(x - r * math.cos(a), y - r * math.sin(a)) for a in steps]
    page.axes.add_patch(Circle(middle, r, facecolor="none", edgecolor=SOFT, linewidth=0.5, linestyle=(0, (4, 2))))
    page.axes.add_patch(Polygon(outline, facecolor=GRID, edgecolor=INK, linewidth=0.8))
    line(page, x - r - 2, y, x + r + 2, y, FINE, linestyle=(0, (8, 2, 1.5, 2)), color=SOFT)
    line(page, x, y - r - 2, x, y + r + 2, FINE, linestyle=(0, (8, 2, 1.5, 2)), color=SOFT)
    for side in (-1, 1):
        helper(page, x + side * w, y + f, x + side * w, y + r + 4)
        helper(page, x + w, y + side * f, x + r + 7, y + side * f)
    across(page, x - w, x + w, y + r + 3.2, f"{flat.width_mm:.2f}")
    along(page, x + r + 6, y - f, y + f, f"{flat.across_mm:.2f}")
    helper(page, x - w, y + f, x - r - 7, y + f)
    helper(page, x, y + r, x - r - 7, y + r)
    along(page, x - r - 6, y + f, y + r, f"{flat.depth_mm:.2f}", left=True)
    write(page, x, y - r - 5.5, f"section, enlarged {size}:1, sizes in mm", 7, soft=True, align="center")


def _true_size(page: Page, sheet: Worksheet, x: float, y: float) -> float:
    """Axle and magnets end on, and the flat from above, all at 1:1."""
    flat, magnets = sheet.flat, sheet.wagon.magnets
    if flat is None or magnets is None:
        return y
    r, t = flat.diameter_mm / 2, magnets.thickness_mm or 0.0
    wide = magnets.diameter_mm or magnets.length_mm or 0.0
    tall = max(r, flat.flat_radius_mm + t)
    middle = (x + max(r, wide / 2) + 0.5, y - tall)
    page.axes.add_patch(Circle(middle, r, facecolor=GRID, edgecolor=INK, linewidth=0.4))
    sides = (1, -1) if magnets.kind == "disc_pair" else (1,)
    for side in sides:
        low = middle[1] + (flat.flat_radius_mm if side > 0 else -flat.flat_radius_mm - t)
        page.axes.add_patch(
            Rectangle((middle[0] - wide / 2, low), wide, t, facecolor="white", edgecolor=INK, linewidth=0.4)
        )
    at = middle[0] + max(r, wide / 2) + 4
    top = Rectangle(
        (at, middle[1] - flat.width_mm / 2), wide + 0.5, flat.width_mm, facecolor="none", edgecolor=INK, linewidth=0.4
    )
    top.set_gid("flat-true-size")
    page.axes.add_patch(top)
    write(page, at + wide + 3, middle[1] - 1, "true size: end on; one flat from above", 7, soft=True)
    return middle[1] - tall - line_mm(8) - 1
