"""The sheet to work from: 1:1 on A4 or Letter, as one PDF or as an SVG for each page."""

from wayrule.model import Worksheet
from wayrule.report.firstpage import first_page
from wayrule.report.paper import (
    MARGIN_MM,
    Page,
    Paper,
    fits,
    new_page,
    paper_named,
    pdf_bytes,
    shortened,
    svg_text,
    width_mm,
    write,
)
from wayrule.report.rules import FINE, line
from wayrule.report.stepspages import draw_blocks, height_of, reckoned_blocks, word_sheets
from wayrule.report.viewpages import FOOT_MM, HEAD_MM, Sheet, view_sheets
from wayrule.report.views import plan_view, side_view


def worksheet_pdf(sheet: Worksheet, paper: str = "A4") -> bytes:
    """All pages as one PDF of true size.

    Parameters
    ----------
    sheet : from `wagon.worksheet.worksheet`
    paper : "A4" or "Letter"; every length on the paper is the same on either

    Returns
    -------
    bytes   the same for the same sheet

    Raises
    ------
    UsageError   another paper
    """
    return pdf_bytes(worksheet_pages(sheet, paper), f"To work from: {sheet.wagon.name}")


def worksheet_svg(sheet: Worksheet, paper: str = "A4") -> tuple[str, ...]:
    """The same pages as SVG files whose width and height are stated in mm, one text for each."""
    pages = worksheet_pages(sheet, paper)
    return tuple(
        svg_text(page, f"To work from: {sheet.wagon.name}, page {number} of {len(pages)}")
        for number, page in enumerate(pages, 1)
    )


def worksheet_pages(sheet: Worksheet, paper: str = "A4") -> list[Page]:
    """The pages as drawings, before they become a file."""
    size = paper_named(paper)
    first = new_page(size)
    low = first_page(first, sheet, first.height_mm - HEAD_MM - 6)
    told, blocks = False, reckoned_blocks(sheet)
    if low - height_of(blocks, first.right - first.left) > MARGIN_MM + FOOT_MM - 4:
        draw_blocks(first, blocks, low)
        told = True
    views = view_sheets(side_view(sheet.wagon), plan_view(sheet.wagon), size.width_mm, size.height_mm)
    sheets = [*views, *word_sheets(sheet, size.width_mm, size.height_mm, reckoned=not told)]
    pages = [first, *(_drawn(size, item) for item in sheets)]
    for number, (page, title) in enumerate(zip(pages, ["True sizes", *(s.title for s in sheets)], strict=True), 1):
        _frame(page, sheet, size, title, (number, len(pages)))
    return pages


def _drawn(paper: Paper, item: Sheet) -> Page:
    page = new_page(paper, landscape=item.landscape)
    item.draw(page)
    return page


def _frame(page: Page, sheet: Worksheet, paper: Paper, title: str, number: tuple[int, int]) -> None:
    """Title above; below, the bar that each page is checked by, for pages may come from different printers."""
    wagon, top = sheet.wagon, page.height_mm - MARGIN_MM
    title_text, room = f"To work from: {wagon.name}", page.right - page.left - 38
    size = next((s for s in (13.0, 11.5, 10.0) if fits(title_text, room, s)), 10.0)
    write(page, page.left, top - 4, shortened(title_text, room, size), size, bold=True)
    about = f"{wagon.scale}, 1:{wagon.ratio:g}, gauge {wagon.gauge_mm:g} mm   ·   {title}"
    write(page, page.left, top - 9.5, about, 8, soft=True)
    write(page, page.right, top - 4, f"page {number[0]} of {number[1]}, {paper.name}", 8, soft=True, align="right")
    line(page, page.left, top - 11.5, page.right, top - 11.5, FINE)
    low = MARGIN_MM - 4
    line(page, page.left, low, page.left + 100, low, 0.9, gid="foot-100-mm")
    for k in range(11):
        line(page, page.left + 10 * k, low, page.left + 10 * k, low + (2.6 if k in (0, 5, 10) else 1.6), FINE)
    words = "100 mm: lay a rule on it. Sizes in mm (inches). 1:1 only if printed at 100 %."
    small = 7.0 if width_mm(words, 7.0) < page.right - page.left - 103 else 6.0
    write(page, page.left + 103, low + 0.3, words, small, soft=True)
