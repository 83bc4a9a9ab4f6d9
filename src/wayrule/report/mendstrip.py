"""Strips to lay beside the track: chainage at 1:1, at every worked sleeper what to do."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.patches import Rectangle

from wayrule.model import MendPlan
from wayrule.model.arrays import Array
from wayrule.report.canvas import GRID, INK
from wayrule.report.paper import Page, write
from wayrule.report.rules import FINE, line

LENGTH_MM: Final = 240.0
"""Of one strip; fits A4 and Letter laid sideways."""

OVERLAP_MM: Final = 10.0
BEFORE_MM: Final = 20.0
"""Of good track on either side of what is worked."""

ROWS: Final = ("left", "right", "slew")
ROW_MM: Final = 8.5
TALL_MM: Final = 3 * ROW_MM + 15.0
LEAST_TEXT_MM: Final = 4.2
"""From one number to the next: sleepers that lie nearer show every second or third."""


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """Part of a stretch from a to b; values by row at sleepers s (n,)."""

    a: float
    b: float
    s: Array
    values: dict[str, Array]
    label: tuple[str, ...]
    number: int
    count: int
    tall_mm: float = TALL_MM


def strips_of(plan: MendPlan) -> list[Strip]:
    """Strips for every stretch that is worked, cut to the paper with 10 mm of overlap."""
    sheet = plan.sheet
    worked = np.flatnonzero((sheet.left_mm != 0) | (sheet.right_mm != 0) | (sheet.slew_mm != 0))
    cuts: list[tuple[float, float]] = []
    for i in worked:
        a, b = float(sheet.s_mm[i]) - BEFORE_MM, float(sheet.s_mm[i]) + BEFORE_MM
        if cuts and a <= cuts[-1][1]:
            cuts[-1] = (cuts[-1][0], b)
        else:
            cuts.append((a, b))
    pieces: list[tuple[float, float]] = []
    for a, b in cuts:
        while b - a > LENGTH_MM:
            pieces.append((a, a + LENGTH_MM))
            a += LENGTH_MM - OVERLAP_MM
        pieces.append((a, b))
    return [_strip(plan, a, b, n, len(pieces)) for n, (a, b) in enumerate(pieces, 1)]


def _strip(plan: MendPlan, a: float, b: float, number: int, count: int) -> Strip:
    sheet = plan.sheet
    on = (sheet.s_mm >= a) & (sheet.s_mm <= b)
    values = {"left": sheet.left_mm[on], "right": sheet.right_mm[on], "slew": sheet.slew_mm[on]}
    label = tuple(name for name, inside in zip(sheet.label, on, strict=True) if inside)
    return Strip(a, b, sheet.s_mm[on], values, label, number, count)


def draw_strip(page: Page, strip: Strip, x: float, top: float) -> None:
    """The strip with its upper left corner at (x + 20, top); words left of it."""
    left, low = x + 20.0, top - strip.tall_mm
    high = top - 6.0
    page.axes.add_patch(
        Rectangle((left, low), strip.b - strip.a, strip.tall_mm, fill=False, edgecolor=INK, linewidth=0.5)
    )
    title = f"strip {strip.number} of {strip.count}: {strip.a / 1000:.3f} to {strip.b / 1000:.3f} m"
    write(page, left + 1, top - 4, f"{title}, chainage grows this way →", 6.5, soft=True)
    names = {"left": "left rail,", "right": "right rail,", "slew": "slew,"}
    for k, row in enumerate(ROWS):
        y = high - (k + 1) * ROW_MM
        if k % 2 == 0:
            box = Rectangle(
                (left, y), strip.b - strip.a, ROW_MM, facecolor=GRID, edgecolor="none", alpha=0.5, zorder=-5
            )
            page.axes.add_patch(box)
        write(page, left - 2, y + 4.2, names[row], 7, align="right")
        write(page, left - 2, y + 1.2, "mm, left > 0" if row == "slew" else "0.1 mm", 6, soft=True, align="right")
        _numbers(page, strip, row, left, y)
    _ruler(page, strip, left, low)


def _numbers(page: Page, strip: Strip, row: str, left: float, y: float) -> None:
    """Amounts, lifts in tenths, slews in mm; upright so that they stand at their sleeper."""
    values, last = strip.values[row], -np.inf
    peak = int(np.argmax(np.abs(values))) if len(values) else -1
    for i, (s, value) in enumerate(zip(strip.s.tolist(), values.tolist(), strict=True)):
        if not value:
            continue
        at = left + s - strip.a
        line(page, at, y + ROW_MM - 1.2, at, y + ROW_MM, FINE)
        if s - last >= LEAST_TEXT_MM:
            text = f"{value:+.2f}" if row == "slew" else f"{10 * value:+.0f}"
            write(page, at, y + 1.0, text, 6, rotation=90, align="center", bold=i == peak)
            last = s


def _ruler(page: Page, strip: Strip, left: float, low: float) -> None:
    """Ticks every 10 mm of chainage, sleepers below, marks by name."""
    for s in range(int(np.ceil(strip.a / 10)) * 10, int(strip.b) + 1, 10):
        long = s % 50 == 0
        line(page, left + s - strip.a, low, left + s - strip.a, low + (3.0 if long else 1.6), FINE)
        if long:
            write(page, left + s - strip.a, low + 3.6, f"{s / 1000:.2f}", 6, align="center")
    for at, name in _marks(strip):
        line(page, left + at - strip.a, low, left + at - strip.a, low + 5.8, 0.9)
        write(page, left + at - strip.a, low + 6.3, name, 6, bold=True, align="center")


def _marks(strip: Strip) -> Sequence[tuple[float, str]]:
    return [(s, name) for s, name in zip(strip.s.tolist(), strip.label, strict=True) if name]
