"""The work sheet on paper: cautions, boards, faults, the table of sleepers, strips to lay beside the track at 1:1."""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model import MendPlan, Surveyed
from wayrule.report.mendstrip import Strip, draw_strip, strips_of
from wayrule.report.paper import (
    MARGIN_MM,
    Page,
    Paper,
    line_mm,
    lines_of,
    new_page,
    paper_named,
    paragraph,
    pdf_bytes,
    write,
)
from wayrule.report.rules import FINE, bar_inch, bar_mm, line

HEAD_MM: Final = 15.0
FOOT_MM: Final = 6.0
TEXT_PT: Final = 8.0
ROW_MM: Final = 4.3


def mend_pdf(plan: MendPlan, surveyed: Surveyed, cautions: Sequence[str], paper: str = "A4") -> bytes:
    """All pages as one PDF of true size.

    Parameters
    ----------
    cautions : stand on the first page, above the work
    paper : "A4" or "Letter"

    Raises
    ------
    UsageError   another paper
    """
    return pdf_bytes(mend_pages(plan, surveyed, cautions, paper), f"Work sheet: {surveyed.name}")


def mend_pages(plan: MendPlan, surveyed: Surveyed, cautions: Sequence[str], paper: str = "A4") -> list[Page]:
    """The pages as drawings: words, then the table, then the strips (landscape)."""
    size = paper_named(paper)
    titled: list[tuple[Page, str]] = []
    for page in _word_pages(plan, cautions, size):
        titled.append((page, "Cautions, boards and faults"))
    for page in _table_pages(plan, size):
        titled.append((page, "Every sleeper that is worked"))
    for page in _string_pages(plan, size):
        titled.append((page, f"String-lining, chord {plan.chord_mm:g} mm"))
    for page in _strip_pages(strips_of(plan), size):
        titled.append((page, "Strips at 1:1"))
    for number, (page, title) in enumerate(titled, 1):
        _frame(page, surveyed, title, f"page {number} of {len(titled)}, {size.name}")
    return [page for page, _ in titled]


class _Writer:
    """Text from page to page: `room` asks for so many mm below each other."""

    def __init__(self, size: Paper) -> None:
        self.size = size
        self.pages: list[Page] = []
        self.y = 0.0

    def room(self, tall: float) -> Page:
        if not self.pages or self.y - tall < MARGIN_MM + FOOT_MM:
            self.pages.append(new_page(self.size))
            self.y = self.pages[-1].height_mm - MARGIN_MM - HEAD_MM
        return self.pages[-1]

    def heading(self, text: str) -> None:
        page = self.room(22.0)
        self.y -= 6.5
        write(page, page.left, self.y, text, 10, bold=True)
        self.y -= 1.5

    def text(self, text: str, *, bullet: str = "") -> None:
        width = self.size.width_mm - 2 * MARGIN_MM - 5
        page = self.room(line_mm(TEXT_PT) * len(lines_of(text, width, TEXT_PT)) + 1.0)
        self.y -= line_mm(TEXT_PT)
        if bullet:
            write(page, page.left, self.y, bullet, TEXT_PT)
        self.y = paragraph(page, page.left + 4, self.y, text, width, TEXT_PT) + line_mm(TEXT_PT) - 1.0


def faults_after(plan: MendPlan) -> str:
    """What a survey would find after the work, in one sentence."""
    if not plan.predicted:
        return "Predicted afterwards: no fault."
    count = len(plan.predicted)
    new = "" if not plan.new else f", {len(plan.new)} of them new, at " + _at(f.s_mm for f in plan.new)
    return f"Predicted afterwards: {count} fault{'s' if count > 1 else ''}{new}."


def _at(places: Iterable[float]) -> str:
    return ", ".join(f"{s / 1000:.2f} m" for s in places)


def _word_pages(plan: MendPlan, cautions: Sequence[str], size: Paper) -> list[Page]:
    out = _Writer(size)
    out.heading("Before any tool touches the rails")
    for caution in cautions:
        out.text(caution, bullet="!")
    page = out.room(24.0)
    bar_mm(page, page.left, out.y - 14)
    write(page, page.left + 112, out.y - 13, "Lay a rule on the bars: 1:1 only if printed at 100 %.", 7, soft=True)
    bar_inch(page, page.left, out.y - 26)
    out.y -= 29
    if plan.boards:
        out.heading("First the boards")
        for move in plan.boards:
            out.text(f"{move.words} (± {move.sd_mm:.2f} mm)  done: [  ]  measured after: ______", bullet="□")
    out.heading("Then fault by fault")
    for single in plan.singles:
        left = f"{single.after_size:.1f} ± {single.after_sd:.1f} {single.fault.unit}"
        out.text(
            f"{single.words} Now: {single.before}; afterwards, predicted: {single.after} ({left} left).", bullet="□"
        )
    if not plan.singles:
        out.text("The survey shows no fault that is mended by hand.")
    worked = [int(np.count_nonzero(v)) for v in (plan.sheet.left_mm, plan.sheet.right_mm, plan.sheet.slew_mm)]
    out.heading("What it comes to")
    out.text(
        f"Left rail at {worked[0]}, right rail at {worked[1]}, slew at {worked[2]} of {len(plan.sheet.s_mm)} places; "
        f"lifts, lowerings and slews added up {plan.sheet.total_mm:.0f} mm. "
        f"{faults_after(plan)} Amounts in mm, shims in tenths; a lift with a "
        "minus is a lowering; slew to the left > 0, looking along growing chainage. Lift before you slew, and fair "
        "the rail by eye between the places."
    )
    for note in plan.notes:
        out.text(note)
    return out.pages


def _table_pages(plan: MendPlan, size: Paper) -> list[Page]:
    """The sleepers that are worked, two columns of rows on a page."""
    sheet = plan.sheet
    worked = (sheet.left_mm != 0) | (sheet.right_mm != 0) | (sheet.slew_mm != 0)
    rows = [
        (
            f"{sheet.s_mm[i] / 1000:.3f}", _amount(sheet.left_mm[i]), _amount(sheet.right_mm[i]),
            _amount(sheet.slew_mm[i], 2), _sds(float(sheet.left_sd_mm[i]), float(sheet.slew_sd_mm[i])), sheet.label[i],
        )
        for i in np.flatnonzero(worked)
    ]  # fmt: skip
    gaps = np.concatenate([[False], np.diff(np.flatnonzero(worked)) > 1]) if len(rows) else np.zeros(0, dtype=bool)
    heads = ("at, m", "left, mm", "right, mm", "slew, mm", "± lift, slew", "mark")
    return _tables(size, heads, rows, (14.0, 26.0, 38.0, 51.0, 73.0, 76.0), gaps)


def _string_pages(plan: MendPlan, size: Paper) -> list[Page]:
    rows = [
        (
            f"{r.s_mm / 1000:.3f}",
            f"{r.versine_mm:.2f}",
            f"{r.proposed_mm:.2f}",
            f"{r.throw_mm:+.2f}",
            f"{r.versine_sd_mm:.2f}",
            "",
        )
        for r in plan.strings
    ]
    gaps = np.array(
        [i > 0 and r.s_mm - plan.strings[i - 1].s_mm > 0.75 * plan.chord_mm for i, r in enumerate(plan.strings)]
    )
    heads = ("at, m", "versine, mm", "proposed", "throw right", "±", "")
    return _tables(size, heads, rows, (14.0, 30.0, 47.0, 66.0, 76.0, 78.0), gaps)


def _tables(
    size: Paper, heads: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[float], gaps: NDArray[np.bool_]
) -> list[Page]:
    """Rows in two columns a page; `right`: where each cell ends, the last one begins [mm]; a gap has a line above."""
    per = int((size.height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM - 8) / ROW_MM)
    pages: list[Page] = []
    for start in range(0, len(rows), per):
        column = (start // per) % 2
        if column == 0:
            pages.append(new_page(size))
        page = pages[-1]
        x, y = page.left + column * 95.0, page.height_mm - MARGIN_MM - HEAD_MM - 5
        for k, head in enumerate(heads):
            write(page, x + right[k], y, head, 7, soft=True, align="left" if k == len(heads) - 1 else "right")
        line(page, x, y - 1.4, x + 88, y - 1.4, FINE)
        for n, row in enumerate(rows[start : start + per]):
            y -= ROW_MM
            if n and gaps[start + n]:
                line(page, x, y + ROW_MM - 1.2, x + 88, y + ROW_MM - 1.2, FINE)
            for k, cell in enumerate(row):
                write(page, x + right[k], y, cell, 7.5, align="left" if k == len(row) - 1 else "right")
    return pages


def _strip_pages(strips: Sequence[Strip], size: Paper) -> list[Page]:
    """Strips below each other on paper laid sideways."""
    pages: list[Page] = []
    y = 0.0
    for strip in strips:
        if not pages or y - strip.tall_mm < MARGIN_MM + FOOT_MM:
            pages.append(new_page(size, landscape=True))
            y = pages[-1].height_mm - MARGIN_MM - HEAD_MM - 2
        draw_strip(pages[-1], strip, pages[-1].left, y)
        y -= strip.tall_mm + 6.0
    return pages


def _frame(page: Page, surveyed: Surveyed, title: str, number: str) -> None:
    top = page.height_mm - MARGIN_MM
    write(page, page.left, top - 4, f"Work sheet: {surveyed.name}", 13, bold=True)
    gauge = surveyed.stations.gauge_mm
    write(page, page.left, top - 9.5, f"{surveyed.scale}, gauge {gauge:g} mm   ·   {title}", 8, soft=True)
    write(page, page.right, top - 4, number, 8, soft=True, align="right")
    line(page, page.left, top - 11.5, page.right, top - 11.5, FINE)
    low = MARGIN_MM - 4
    line(page, page.left, low, page.left + 100, low, 0.9, gid="foot-100-mm")
    for k in range(11):
        line(page, page.left + 10 * k, low, page.left + 10 * k, low + (2.6 if k in (0, 5, 10) else 1.6), FINE)
    words = "100 mm. Power off and plug out before tools touch the rails."
    write(page, page.left + 103, low + 0.3, words, 7.0, soft=True)


def _amount(value: float, digits: int = 1) -> str:
    return f"{value:+.{digits}f}" if value else "·"


def _sds(lift: float, slew: float) -> str:
    return ", ".join("–" if np.isnan(v) else f"{v:.2f}" for v in (lift, slew))
