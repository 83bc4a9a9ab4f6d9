"""Moves from one outline to a better one, each judged on the few pieces round about."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from typing import Final

import numpy as np

from wayrule.maths.hidden import Stretch, explained
from wayrule.maths.judge import Prices, best_of, put_back, score_of, usable, window_of
from wayrule.maths.piecewise import Blocks, Kind, Outline, touched, unexplained

_SHORT: Final = 4.0
"""A piece of less than so many shortest lengths may be there because of something local."""

_MOST_HERE: Final = 4
"""So many moves in a row at one place; windows differ a little, and what pays in one may not in the next."""

_ILL: Final = 5.0
"""Sds by which the chi-square of a piece's blocks may exceed their number before it is split on trial."""

_RUN: Final = 2.5
"""Range of the running sum of a piece's residuals, over the root of their number, beyond which it is split on trial;
pure noise passes 1.75 in one of twenty (Kuiper's statistic)."""


def sweep(
    blocks: Blocks, outline: Outline, blur: float, price: Prices, fresh: list[Stretch]
) -> tuple[Outline, list[Stretch]]:
    """One pass over the stretches that are new since the last, each move that pays kept at once.

    Returns the outline and the stretches that changed, with some pieces on either side.
    """
    changed: list[Stretch] = []
    i, most, here = 0, 2 * len(outline.kinds) + 10, 0
    while i < len(outline.kinds) and len(changed) < most:
        a, b = float(outline.at[i]), float(outline.at[i + 1])
        better = None
        if here < _MOST_HERE and any(start < b and stop > a for start, stop in fresh):
            better = _best_move(blocks, outline, i, blur, price)
        if better is None:
            i, here = i + 1, 0
            continue
        outline, here = better, here + 1
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
    out += [(s.at, s.at) for s in outline.spikes] + [(b.at, b.at) for b in outline.bumps]
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
    tries = _moves(window, i - first, price.shortest)
    if _ill_fitted(part, window, i - first, blur, price):
        tries = chain(tries, _splits(window, i - first, price.shortest))
    new = best_of(part, window, tries, blur, price)
    return None if new is None else put_back(outline, window, new, first, last)


def _ill_fitted(part: Blocks, w: Outline, i: int, blur: float, price: Prices) -> bool:
    """Whether a piece leaves more than noise would, in its blocks or in the sum over any run of them."""
    residual = score_of(part, w, blur, price)[1].residual
    inside = touched(part.edge, float(w.at[i]), float(w.at[i + 1])) & (part.weight > 0)
    inside &= ~unexplained(part.edge, w, blur)
    z = (residual * np.sqrt(part.weight))[inside]
    n = len(z)
    if n < 4:
        return False
    run = np.cumsum(z - z.mean()) / np.sqrt(n)
    return bool(z @ z > n + _ILL * np.sqrt(2.0 * n) or np.ptp(run) > _RUN)


def _splits(w: Outline, i: int, shortest: float) -> Iterator[Outline]:
    """Outlines in which piece i is two, or three."""
    kinds, at = w.kinds, w.at
    a, b = float(at[i]), float(at[i + 1])

    def made(new: tuple[Kind, ...], inner: tuple[float, ...]) -> Outline:
        return replace(
            w, kinds=(*kinds[:i], *new, *kinds[i + 1 :]), at=np.concatenate([at[: i + 1], inner, at[i + 1 :]])
        )

    pairs: tuple[tuple[Kind, Kind], ...] = (("flat", "flat"), ("flat", "ramp"), ("ramp", "flat"), ("ramp", "ramp"))
    for share in (0.25, 0.5, 0.75):
        place = a + share * (b - a)
        if min(place - a, b - place) < shortest:
            continue
        for pair in (*pairs, ("zero", "ramp"), ("ramp", "zero"), ("zero", "flat"), ("flat", "zero")):
            yield made(pair, (place,))
    third = (b - a) / 3.0
    if third >= shortest:
        threes: tuple[tuple[Kind, Kind], ...] = (("flat", "ramp"), ("ramp", "flat"), ("flat", "flat"), ("flat", "zero"))
        for middle, outer in threes:
            yield made((outer, middle, outer), (a + third, b - third))


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
    if i > 0 and kind == kinds[i - 1] == "ramp":  # a flat between two ramps
        half = 0.3 * min(a - float(at[i - 1]), b - a)
        yield made((*kinds[:i], "flat", *kinds[i:]), [*at[:i], a - half, a + half, *at[i + 1 :]])
    if kind == "ramp" and i in (0, m - 1):  # the line begins or ends before the ramp does
        for share in (0.3, 0.6):
            for end in ("zero", "flat"):
                if i == 0:
                    yield made((end, *kinds), [a, a + share * (b - a), *at[1:]])
                if i == m - 1:
                    yield made((*kinds, end), [*at[:-1], b - share * (b - a), b])
