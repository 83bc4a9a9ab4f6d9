"""Where the words go on a plan: beside the line, clear of the track and of each other, or left out."""

import math
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from wayrule.model.arrays import Array

LETTER_WIDTH: Final = 0.6
"""Mean width of a letter as a share of its size, generous."""


Box = tuple[float, float, float, float]
"""Left, bottom, right and top of a rectangle [px]."""


TURNS_DEG: Final = (90, -90, 60, -60, 120, -120, 30, -30, 150, -150)
"""Where a word may stand, seen from its place: square to the line first, along it last."""


COVERING: Final = 16.0
"""A word that would cost more than this lies on the line; only bold ones (faults, start) may."""


class Label(NamedTuple):
    """A word for a place of the line: x, y [m], the line's heading there, and how far off the word stands [px]."""

    x: float
    y: float
    heading_rad: float
    text: str
    colour: str
    weight: str
    off_px: float


def place_labels(axes: Axes, x_m: Array, y_m: Array, labels: list[Label], font: float, *, taken: list[Box]) -> None:
    """Write each label on the side of the line where it is freest; the last given win, crowded ones are left out.

    Parameters
    ----------
    x_m, y_m : (n,)   the line, which labels keep clear of
    taken             boxes that are not free [px]; the caller's list stays as it is
    """
    track = axes.transData.transform(np.c_[x_m, y_m])
    track = track[:: max(1, len(track) // 1500)]
    x0, y0, x1, y1 = axes.get_window_extent().extents
    frame = (float(x0), float(y0), float(x1), float(y1))
    full = list(taken)
    for label in reversed(labels):
        best = _best_place(axes, label, font, track, full, frame)
        if best is None:
            continue
        middle, box = best
        full.append(box)
        px, py = axes.transData.inverted().transform(middle)
        axes.text(
            px, py, label.text, ha="center", va="center", fontsize=font, color=label.colour, fontweight=label.weight,
            zorder=10, parse_math=False,
        )  # fmt: skip


def _best_place(
    axes: Axes, label: Label, font: float, track: Array, taken: list[Box], frame: Box
) -> tuple[tuple[float, float], Box] | None:
    """Middle and box of the freest place for a label [px]; None where every place is taken."""
    width, height = LETTER_WIDTH * font * max(1, len(label.text)), 1.15 * font
    x, y = axes.transData.transform((label.x, label.y))
    found = []
    for turn in TURNS_DEG:
        for far in (1.0, 1.7, 2.6):
            angle = label.heading_rad + math.radians(turn)
            ux, uy = math.cos(angle), math.sin(angle)
            off = label.off_px * far
            middle = (float(x) + ux * (off + width / 2 * abs(ux)), float(y) + uy * (off + height / 2 * abs(uy)))
            box = (middle[0] - width / 2, middle[1] - height / 2, middle[0] + width / 2, middle[1] + height / 2)
            if _free(box, taken, frame):
                found.append((_on_track(box, track) + 0.3 * far + abs(abs(turn) - 90) / 90, middle, box))
    if not found or (min(found)[0] > COVERING and label.weight != "bold"):
        return None
    return min(found)[1:]


def _free(box: Box, taken: list[Box], frame: Box) -> bool:
    """Whether a box lies inside the frame and keeps 2 px from every other."""
    x0, y0, x1, y1 = box[0] - 2, box[1] - 1, box[2] + 2, box[3] + 1
    if x0 < frame[0] or y0 < frame[1] or x1 > frame[2] or y1 > frame[3]:
        return False
    return not any(x0 < c and a < x1 and y0 < d and b < y1 for a, b, c, d in taken)


def _on_track(box: Box, track: Array) -> float:
    """A cost for points of the line under the label or within 5 px of it."""
    x0, y0, x1, y1 = box[0] - 5, box[1] - 4, box[2] + 5, box[3] + 4
    inside = (track[:, 0] > x0) & (track[:, 0] < x1) & (track[:, 1] > y0) & (track[:, 1] < y1)
    return 8.0 * min(5, int(np.count_nonzero(inside)))
