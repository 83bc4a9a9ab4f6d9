"""Moves from one outline to a better one, each judged on the few pieces round about."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from wayrule.maths.hidden import Stretch, explained
from wayrule.maths.judge import Prices, best_of, put_back, score_of, usable, window_of
from wayrule.maths.piecewise import Blocks, Kind, Outline

_SHORT: Final = 4.0
"""A piece of less than so many shortest lengths may be there because of something local."""


def sweep(
    blocks: Blocks, outline: Outline, blur: float, price: Prices, fresh: list[Stretch]
) -> tuple[Outline, list[Stretch]]:
    """One pass over the stretches that are new since the last, each move that pays kept at once.

    Returns the outline and the stretches that changed, with some pieces on either side.
    """
    changed: list[Stretch] = []
    i, most = 0, 3 * len(outline.kinds) + 10
    while i < len(outline.kinds) and len(changed) < most:
        a, b = float(outline.at[i]), float(outline.at[i + 1])
        better = None
        if any(start < b and stop > a for start, stop in fresh):
            better = _best_move(blocks, outline, i, blur, price)
        if better is None:
            i += 1
            continue
        outline = better
        changed.append(_round_about(outline, i))
        i = max(0, i - 1)
    for place in _doubtful(outline, price):
        if any(start <= place[1] and stop >= place[0] for start, stop in fresh):
            better = explained(blocks, outline, place, blur, price)
            if better is not None:
                outline = better
                changed.append(_round_about(outline, int(np.searchsorted(outline.at, place[0])) - 1))
    return outline, changed


def _doubtful(outline: Outline, price: Prices) -> list[Stretch]:
    """Where something may be hidden: gaps, spikes, bumps, and pieces so short that a local shape may be the reason."""
    out = [(g.start, g.stop) for g in outline.gaps]
    out += [(shape.at, shape.at) for shape in (*outline.spikes, *outline.bumps)]
    length = np.diff(outline.at)
    for i in range(1, len(outline.kinds) - 1):
        if length[i] < _SHORT * price.shortest:
            out.append((float(outline.at[i]), float(outline.at[i + 1])))
    return out


def settle_ramps(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Ramps of the cut that do not meet their neighbours turned into flats.

    The cut leaves the ends of its ramps free, so a flat with a little slope may come out as one; tied to its
    neighbours it would be far off, and every other move round it would be judged beside a wrong piece.
    """
    for i, kind in enumerate(outline.kinds):
        if kind != "ramp":
            continue
        first = max(i - 1, 0)
        part, window = window_of(blocks, outline, first, i + 2, blur)
        if not usable(part):
            continue
        # the neighbours stand for what they are: flats, so that two ramps side by side do not hide each other's fault
        kinds: list[Kind] = ["flat" if k == "ramp" else k for k in window.kinds]
        scores: dict[Kind, float] = {}
        tries: tuple[Kind, Kind] = ("ramp", "flat")
        for tried in tries:
            kinds[i - first] = tried
            scores[tried] = score_of(part, replace(window, kinds=tuple(kinds)), blur, price)[0]
        if scores["flat"] < scores["ramp"]:
            outline = replace(outline, kinds=(*outline.kinds[:i], "flat", *outline.kinds[i + 1 :]))
    return outline


def _round_about(outline: Outline, i: int) -> Stretch:
    return float(outline.at[max(i - 3, 0)]), float(outline.at[min(i + 4, len(outline.kinds))])


def _best_move(blocks: Blocks, outline: Outline, i: int, blur: float, price: Prices) -> Outline | None:
    """The move at piece i (or at the break before it) that lowers the score most; None if none does."""
    first, last = max(i - 2, 0), min(i + 3, len(outline.kinds))
    part, window = window_of(blocks, outline, first, last, blur)
    if not usable(part):
        return None
    new = best_of(part, window, _moves(window, i - first, price.shortest), blur, price)
    return None if new is None else put_back(outline, window, new, first, last)


def _moves(w: Outline, i: int, shortest: float) -> Iterator[Outline]:
    """Outlines that differ from w at piece i or at the break before it."""
    kinds, at, m = w.kinds, w.at, len(w.kinds)
    kind = kinds[i]

    def made(new_kinds: tuple[Kind, ...], new_at: list[float]) -> Outline:
        return replace(w, kinds=new_kinds, at=np.array(new_at))

    a, b = float(at[i]), float(at[i + 1])
    if 0 < i < m - 1:  # drop: the neighbours meet in its middle
        yield made(kinds[:i] + kinds[i + 1 :], [*at[:i], 0.5 * (a + b), *at[i + 2 :]])
    if m > 1:  # merge with a neighbour
        for j in (i - 1, i):
            if 0 <= j < m - 1:
                for merged in dict.fromkeys((kinds[j], kinds[j + 1], "flat")):
                    yield made((*kinds[:j], merged, *kinds[j + 2 :]), [*at[: j + 1], *at[j + 2 :]])
    for other in ("zero", "flat", "ramp"):
        if other != kind:
            yield made((*kinds[:i], other, *kinds[i + 1 :]), list(at))
    if i > 0 and kind != "ramp" and kinds[i - 1] != "ramp":  # a step becomes a ramp
        room = min(a - float(at[i - 1]), b - a)
        for half in dict.fromkeys((0.3 * room, min(1.5 * shortest, 0.3 * room))):
            yield made((*kinds[:i], "ramp", *kinds[i:]), [*at[:i], a - half, a + half, *at[i + 1 :]])
    if 0 < i < m - 1 and kinds[i - 1] == kinds[i + 1] == "ramp":  # ramp, flat, ramp becomes one ramp
        yield made((*kinds[: i - 1], "ramp", *kinds[i + 2 :]), [*at[:i], *at[i + 2 :]])
