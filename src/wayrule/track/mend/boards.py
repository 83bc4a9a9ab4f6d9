"""Boards before rails: which end of which board to raise, and by how much."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Baseboard, BoardMove, Stations, WorkSheet
from wayrule.model.arrays import Array
from wayrule.track.mend.pieces import reach
from wayrule.track.mend.target import Target


def checked(boards: Sequence[Baseboard], stations: Stations) -> tuple[Baseboard, ...]:
    """Boards by chainage.

    Raises
    ------
    UsageError   one that leaves the line, is shorter than a wheelbase, or overlaps another
    """
    start, stop = reach(stations)
    ordered = sorted(boards, key=lambda b: b.s0_mm)
    for board in ordered:
        if not (
            start - 1 <= board.s0_mm and board.s1_mm <= stop + 1 and board.s1_mm - board.s0_mm > stations.wheelbase_mm
        ):
            raise UsageError(
                expected=f"a board on the line ({start:.0f} to {stop:.0f} mm) that is longer than a wheelbase",
                came=f"{board.name} from {board.s0_mm:g} to {board.s1_mm:g} mm",
                where="--board",
                next_step="give NAME=FROM:TO in mm of chainage",
            )
    for a, b in pairwise(ordered):
        if b.s0_mm < a.s1_mm - 1e-6:
            raise UsageError(
                expected="boards that do not overlap",
                came=f"{a.name} to {a.s1_mm:g} mm and {b.name} from {b.s0_mm:g} mm",
                where="--board",
                next_step="let one end where the next begins",
            )
    return tuple(ordered)


def rounded(found: Target, shim_mm: float, leave_mm: float) -> Array:
    """(m, 3) moves in whole shims; what is below what is left alone stays 0."""
    moves = np.round(found.boards / shim_mm) * shim_mm
    return np.asarray(np.where(np.abs(found.boards) >= leave_mm, moves, 0.0) + 0.0)


def board_moves(found: Target, sheet: WorkSheet, stations: Stations) -> tuple[BoardMove, ...]:
    """Boards that are to be set, by chainage."""
    out = []
    for board, (start, end, left) in zip(found.named, found.boards.tolist(), strict=True):
        if not (start or end or left):
            continue
        on = (sheet.s_mm >= board.s0_mm) & (sheet.s_mm <= board.s1_mm)
        sd = float(np.hypot(np.nanmedian(sheet.left_sd_mm[on]), np.nanmedian(sheet.right_sd_mm[on])))
        words = _words(board, start, end, left, stations.gauge_mm)
        out.append(BoardMove(board, start, end, left, sd, words))
    return tuple(out)


def _words(board: Baseboard, start: float, end: float, left: float, gauge_mm: float) -> str:
    """Which end of which board, in one sentence."""

    def ways(amount: float) -> str:
        return f"{'raise' if amount > 0 else 'lower'} {{}} by {abs(amount):.1f} mm"

    parts = []
    if start and start == end:
        parts.append(ways(start).format("both ends"))
    else:
        for amount, place in ((start, board.s0_mm), (end, board.s1_mm)):
            if amount:
                parts.append(ways(amount).format(f"its end at {place / 1000:.2f} m"))
    if left:
        side = "left" if left > 0 else "right"
        parts.append(f"pack up its {side} side, {abs(left):.1f} mm over the gauge of {gauge_mm:g} mm")
    return f"Board {board.name}: {'; '.join(parts)}."
