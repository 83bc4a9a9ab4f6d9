"""The pages of words: what was reckoned, and the cautions in the order of the work."""

from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from wayrule.model import Worksheet
from wayrule.model.worksheet import DEFER, STEPS
from wayrule.report.paper import MARGIN_MM, Page, line_mm, lines_of, paragraph, write
from wayrule.report.rules import FINE, line
from wayrule.report.viewpages import FOOT_MM, HEAD_MM, Sheet

SIZE_PT: Final = 7.8


class Block(NamedTuple):
    """What stays together on a page: a section's heading (or ""), a title in bold (or ""), and a text."""

    heading: str
    title: str
    text: str


def word_sheets(sheet: Worksheet, width_mm: float, height_mm: float, *, reckoned: bool) -> list[Sheet]:
    """As many pages as the words need on upright paper of this size [mm]; `reckoned`: with what was reckoned."""
    blocks = [*(reckoned_blocks(sheet) if reckoned else ()), *_steps(sheet)]
    room = height_mm - HEAD_MM - FOOT_MM - MARGIN_MM
    pages: list[list[Block]] = [[]]
    used = 0.0
    for block in blocks:
        tall = height_of([block], width_mm - 2 * MARGIN_MM)
        if pages[-1] and used + tall > room:
            pages.append([])
            used = 0.0
        pages[-1].append(block)
        used += tall
    title = "Cautions, in the order of the work"
    return [Sheet(False, title, _drawer(blocks)) for blocks in pages]


def reckoned_blocks(sheet: Worksheet) -> list[Block]:
    """What was reckoned from the wagon file, and what it does not say enough for."""
    words = [f"– {remark}" for remark in sheet.remarks]
    if sheet.missing:
        words.append(f"– Not stated in the wagon file, and so not reckoned: {'; '.join(sheet.missing)}.")
    return [Block("" if k else "Reckoned from the wagon file", "", text) for k, text in enumerate(words)]


def _steps(sheet: Worksheet) -> Iterator[Block]:
    for step, name in STEPS.items():
        for k, caution in enumerate(c for c in sheet.cautions if c.step == step):
            source = f" [{caution.source}]" if caution.source else ""
            yield Block("" if k else name, caution.title, caution.text + source)
    yield Block("Above all", "", DEFER)


def height_of(blocks: list[Block], width: float) -> float:
    """Height of blocks one below the other [mm]."""
    lines = sum(len(lines_of(b.text, width - 3, SIZE_PT)) + bool(b.title) for b in blocks)
    return lines * line_mm(SIZE_PT) + sum((9.0 if b.heading else 0.0) + (1.2 if b.title else 0.4) for b in blocks)


def draw_blocks(page: Page, blocks: list[Block], y: float) -> float:
    """Blocks below y; returns where they ended [mm]."""
    width = page.right - page.left
    for k, block in enumerate(blocks):
        if block.heading:
            if k or y < page.height_mm - HEAD_MM:  # the page's own title has a rule already
                line(page, page.left, y - 2.6, page.right, y - 2.6, FINE)
            write(page, page.left, y - 7.6, block.heading, 10, bold=True)
            y -= 9.0
        y -= 1.2 if block.title else 0.4
        if block.title:
            y -= line_mm(SIZE_PT)
            write(page, page.left + 2, y, block.title, SIZE_PT, bold=True)
        y = paragraph(page, page.left + 2, y - line_mm(SIZE_PT), block.text, width - 3, SIZE_PT) + line_mm(SIZE_PT)
    return y


def _drawer(blocks: list[Block]) -> Callable[[Page], object]:
    return lambda page: draw_blocks(page, blocks, page.height_mm - HEAD_MM + 2)
