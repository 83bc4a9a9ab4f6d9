"""Finding the outline that the data need: exact cut first, then blur and continuity, then only what pays its price.

1. `segmentation.best_partition` cuts the blocks with pieces that are free of each other: the global optimum of that
   problem, so that no start value is needed.
2. `piecewise.fit` refits with ramps continuous and under the blur; breaks move freely, not from block to block.
3. Moves (drop, merge, straighten, turn a step into a ramp or back, put a gap back in) are tried one after another on
   the few pieces round about, and kept when chi-square plus prices falls. It ends when no move pays.

The score is -2 log likelihood plus prices that grow with the log of the number of independent values: a Bayesian
information criterion in which a break counts twice, as its place is searched for (Zhang and Siegmund 2007).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.maths.piecewise import Blocks, Fit, Kind, Outline, fit, in_gaps, level_index
from wayrule.maths.segmentation import ZERO, Shape, best_partition

_MAX_SWEEPS: Final = 8
_LOCAL_STEPS: Final = 8

_HOPELESS: Final = 30.0
"""A candidate this much behind in chi-square, and not halving it, is not fitted to the end."""


@dataclass(frozen=True, slots=True)
class Prices:
    """What complexity costs, in units of chi-square; shortest piece and longest gap in units of x.

    brk            one more break
    level          one more free level
    gap            one more gap
    gap_per_block  each block in a gap, instead of its residual
    """

    brk: float
    level: float
    gap: float
    gap_per_block: float
    shortest: float
    longest_gap: float


def prices(independent: float, *, gap_per_block: float, shortest: float, longest_gap: float) -> Prices:
    """Prices for data worth so many independent values: level log n, break 2 log n, gap (place and size) 3 log n.

    >>> prices(100.0, gap_per_block=2.0, shortest=30.0, longest_gap=90.0).brk
    9.21
    """
    unit = float(np.log(max(independent, 8.0)))  # below eight values the logarithm says nothing; its price stays
    return Prices(round(2 * unit, 2), round(unit, 2), round(3 * unit, 2), gap_per_block, shortest, longest_gap)


def price_of(outline: Outline, blocks: Blocks, price: Prices) -> float:
    """What an outline costs over the given blocks, misfit apart."""
    _, _, levels = level_index(outline.kinds, outline.tied)
    lost = int(np.count_nonzero(in_gaps(blocks.edge, outline.gaps) & (blocks.weight > 0)))
    return (
        price.brk * (len(outline.kinds) - 1)
        + price.level * levels
        + price.gap * len(outline.gaps)
        + price.gap_per_block * lost
    )


def best_outline(blocks: Blocks, blur: float, price: Prices, *, tied: bool = False) -> Fit:
    """The outline that the data need, fitted.

    Parameters
    ----------
    blocks : (n,) means, n >= 1
    blur : length of the moving mean under which the data saw the outline
    price : see `prices`
    tied : the line is a ring, cut open in the middle of a flat or zero piece

    Returns
    -------
    Fit   with the least score that the moves could reach
    """
    fitted = first_outline(blocks, blur, price, tied=tied)
    outline, fresh = fitted.outline, [(float(blocks.edge[0]), float(blocks.edge[-1]))]
    for _ in range(_MAX_SWEEPS):
        outline, fresh = _sweep(blocks, outline, blur, price, fresh)
        if not fresh:
            break
        outline = fit(blocks, outline, blur, shortest=price.shortest, steps=4, sds=False).outline
    return fit(blocks, outline, blur, shortest=price.shortest)


def first_outline(blocks: Blocks, blur: float, price: Prices, *, tied: bool = False) -> Fit:
    """The exact cut, refitted with blur and continuity, before any move; arguments as for `best_outline`."""
    cut = _settled(blocks, _first_cut(blocks, price), blur, price)
    return fit(blocks, _tie(cut, tied), blur, shortest=price.shortest, sds=False)


def _settled(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Ramps of the cut that do not meet their neighbours turned into flats.

    The cut leaves the ends of its ramps free, so a flat with a little slope may come out as one; tied to its
    neighbours it would be far off, and every other move round it would be judged beside a wrong piece.
    """
    for i, kind in enumerate(outline.kinds):
        if kind != "ramp":
            continue
        first = max(i - 1, 0)
        part, window = _window(blocks, outline, first, i + 2, blur)
        if len(part.y) < 2 or not np.any(part.weight > 0):
            continue
        # the neighbours stand for what they are: flats, so that two ramps side by side do not hide each other's fault
        kinds: list[Kind] = ["flat" if k == "ramp" else k for k in window.kinds]
        scores: dict[Kind, float] = {}
        tries: tuple[Kind, Kind] = ("ramp", "flat")
        for tried in tries:
            kinds[i - first] = tried
            scores[tried] = _score(part, replace(window, kinds=tuple(kinds)), blur, price)[0]
        if scores["flat"] < scores["ramp"]:
            outline = replace(outline, kinds=(*outline.kinds[:i], "flat", *outline.kinds[i + 1 :]))
    return outline


def _tie(outline: Outline, tied: bool) -> Outline:
    if not tied:
        return outline
    kinds = list(outline.kinds)
    both_zero = kinds[0] == kinds[-1] == "zero"
    kinds[0] = kinds[-1] = "zero" if both_zero else "flat"
    return replace(outline, kinds=tuple(kinds), tied=True)


def _first_cut(blocks: Blocks, price: Prices) -> Outline:
    width = float(np.median(np.diff(blocks.edge)))
    least = max(1, round(price.shortest / width))
    least = min(least, len(blocks.y))
    shapes = (
        Shape("zero", ZERO, price.brk, least),
        Shape("flat", 0, price.brk + price.level, least),
        # dearer than a flat: its two ends are free here, while the fit will tie them to the neighbours
        Shape("ramp", 1, price.brk + 2.0 * price.level, max(least, 3)),
        # the piece after a gap pays for itself, so the gap's own price is small here
        Shape("gap", 0, 0.1 * price.gap, 1, max(1, round(price.longest_gap / width)), price.gap_per_block, True),
    )
    middle = 0.5 * (blocks.edge[1:] + blocks.edge[:-1])
    pieces, _ = best_partition(middle, blocks.y, blocks.weight, shapes)
    solid = [p for p in pieces if p.name != "gap"]
    if not solid:
        return Outline(("flat",), blocks.edge[[0, -1]])
    at = [blocks.edge[0]]
    at += [0.5 * (blocks.edge[a.stop] + blocks.edge[b.start]) for a, b in pairwise(solid)]
    at.append(blocks.edge[-1])
    gaps: list[tuple[float, float]] = []
    for p in pieces:
        if p.name == "gap":
            start, stop = float(blocks.edge[p.start]), float(blocks.edge[p.stop])
            if gaps and abs(gaps[-1][1] - start) < 1e-9:
                start = gaps.pop()[0]
            gaps.append((start, stop))
    kinds: tuple[Kind, ...] = tuple(p.name for p in solid)  # type: ignore[misc]
    return Outline(kinds, np.array(at), tuple(gaps))


def _sweep(
    blocks: Blocks, outline: Outline, blur: float, price: Prices, fresh: list[tuple[float, float]]
) -> tuple[Outline, list[tuple[float, float]]]:
    """One pass over the stretches that are new since the last, each move that pays kept at once.

    Returns the outline and the stretches that changed, each with two pieces on either side.
    """
    changed: list[tuple[float, float]] = []
    i = 0
    while i < len(outline.kinds):
        a, b = float(outline.at[i]), float(outline.at[i + 1])
        better = None
        if any(start < b and stop > a for start, stop in fresh):
            better = _best_move(blocks, outline, i, blur, price)
        if better is None:
            i += 1
            continue
        outline = better
        changed.append((float(outline.at[max(i - 3, 0)]), float(outline.at[min(i + 4, len(outline.kinds))])))
        i = max(0, i - 1)
    for gap in outline.gaps:
        if not any(start < gap[1] and stop > gap[0] for start, stop in fresh):
            continue
        without = _without_gap(blocks, outline, gap, blur, price)
        if without is not None:
            outline = without
            i = int(np.searchsorted(outline.at, gap[0]))
            changed.append((float(outline.at[max(i - 3, 0)]), float(outline.at[min(i + 3, len(outline.kinds))])))
    return outline, changed


def _window(blocks: Blocks, outline: Outline, first: int, last: int, blur: float) -> tuple[Blocks, Outline]:
    """Pieces first .. last - 1 with the blocks that they alone explain."""
    m = len(outline.kinds)
    first, last = max(first, 0), min(last, m)
    lo, hi = float(outline.at[first]), float(outline.at[last])
    edge = blocks.edge
    lo_edge = float(edge[np.searchsorted(edge, lo - 1e-9)])
    hi_edge = float(edge[np.searchsorted(edge, hi + 1e-9, side="right") - 1])
    part = blocks.part(lo_edge, max(hi_edge, lo_edge))
    weight = part.weight.copy()
    if first > 0:
        weight[part.edge[:-1] < lo + 0.5 * blur] = 0.0
    if last < m:
        weight[part.edge[1:] > hi - 0.5 * blur] = 0.0
    at = outline.at[first : last + 1].copy()
    gaps = tuple(g for g in outline.gaps if g[1] > lo and g[0] < hi)
    return Blocks(part.edge, part.y, weight), Outline(outline.kinds[first:last], at, gaps)


def _score(blocks: Blocks, outline: Outline, blur: float, price: Prices, beat: float = np.inf) -> tuple[float, Fit]:
    cost = price_of(outline, blocks, price)
    hopeless = max(beat - cost, 0.0) + _HOPELESS
    fitted = fit(blocks, outline, blur, shortest=price.shortest, steps=_LOCAL_STEPS, hopeless=hopeless, sds=False)
    return fitted.chi2 + cost, fitted


def _best_move(blocks: Blocks, outline: Outline, i: int, blur: float, price: Prices) -> Outline | None:
    """The move at piece i (or at the break before it) that lowers the score most; None if none does."""
    m = len(outline.kinds)
    first, last = max(i - 2, 0), min(i + 3, m)
    part, window = _window(blocks, outline, first, last, blur)
    if len(part.y) < 2 or not np.any(part.weight > 0):
        return None
    base, _ = _score(part, window, blur, price)
    best, best_fit = base - 1e-6, None
    for candidate in _moves(window, i - first, price.shortest):
        score, fitted = _score(part, candidate, blur, price, best)
        if score < best:
            best, best_fit = score, fitted
    if best_fit is None:
        return None
    new = best_fit.outline
    kinds = outline.kinds[:first] + new.kinds + outline.kinds[last:]
    if outline.tied and (kinds[0] == "ramp" or kinds[-1] == "ramp" or (kinds[0] == "zero") != (kinds[-1] == "zero")):
        return None  # a ring's seam stays in the middle of a piece of one kind
    at = np.concatenate([outline.at[:first], new.at, outline.at[last + 1 :]])
    return replace(outline, kinds=kinds, at=at)


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


def _without_gap(
    blocks: Blocks, outline: Outline, gap: tuple[float, float], blur: float, price: Prices
) -> Outline | None:
    """The outline with a gap filled in again, when that pays."""
    gaps = tuple(g for g in outline.gaps if g != gap)
    i = int(np.searchsorted(outline.at, 0.5 * (gap[0] + gap[1]), side="right")) - 1
    first, last = max(i - 1, 0), min(i + 3, len(outline.kinds))
    part, window = _window(blocks, outline, first, last, blur)
    if len(part.y) < 2 or not np.any(part.weight > 0):
        return None
    with_gap, _ = _score(part, window, blur, price)
    tries = [replace(window, gaps=tuple(g for g in window.gaps if g != gap))]
    score, fitted = min((_score(part, t, blur, price) for t in tries), key=lambda pair: pair[0])
    if score >= with_gap:
        return None
    at = np.concatenate([outline.at[:first], fitted.outline.at, outline.at[last + 1 :]])
    return replace(outline, at=at, gaps=gaps)
