"""Moves from one outline to a better one, each judged on the few pieces round about."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.maths.outlinefit import Fit, fit
from wayrule.maths.piecewise import Blocks, Gap, Kind, Outline, Spike, level_index, softened, touched, unexplained

_LOCAL_STEPS: Final = 8

_HOPELESS: Final = 30.0
"""A candidate this much behind in chi-square, and not halving it, is not fitted to the end."""

_LEAST_GAIN: Final = 0.5
"""A move must lower the score by this; far below the price of anything, and no two moves undo each other for ever."""

_STEP_MISFIT: Final = 0.08
"""The same for a step, where it is asked whether there is a spike beside it: a blur a little off looks like one."""

_SPIKE_MISFIT: Final = 0.2
"""A spike is taken to be blurred as the model has it to within this part of its height."""

Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Prices:
    """What complexity costs, in units of chi-square; shortest piece and longest gap in units of x.

    brk            one more break
    level          one more free level
    gap            one more gap
    gap_per_block  each block in a gap, instead of its residual
    spikes         whether the integral may step
    """

    brk: float
    level: float
    gap: float
    gap_per_block: float
    shortest: float
    longest_gap: float
    spikes: bool


def prices(
    independent: float, *, gap_per_block: float, shortest: float, longest_gap: float, spikes: bool = True
) -> Prices:
    """Prices for data worth so many independent values: level log n, break 2 log n, gap or spike 3 log n.

    >>> prices(100.0, gap_per_block=2.0, shortest=30.0, longest_gap=90.0).brk
    9.21
    """
    unit = float(np.log(max(independent, 8.0)))  # below eight values the logarithm says nothing; its price stays
    return Prices(round(2 * unit, 2), round(unit, 2), round(3 * unit, 2), gap_per_block, shortest, longest_gap, spikes)


def price_of(outline: Outline, blocks: Blocks, price: Prices, blur: float) -> float:
    """What an outline costs over the given blocks, misfit apart.

    A block in a gap pays `gap_per_block`, one that sees a spike 1; an open gap hides a step of the integral, and pays
    for it like a level.
    """
    _, _, levels = level_index(outline.kinds, outline.tied)
    used = blocks.weight > 0
    lost = sum(int(np.count_nonzero(touched(blocks.edge, g.start, g.stop) & used)) for g in outline.gaps)
    every = int(np.count_nonzero(unexplained(blocks.edge, outline, blur) & used)) if outline.spikes else lost
    return (
        price.brk * (len(outline.kinds) - 1)
        + price.level * (levels + sum(not g.whole for g in outline.gaps))
        + price.gap * (len(outline.gaps) + len(outline.spikes))
        + price.gap_per_block * lost
        + max(every - lost, 0)
    )


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
    for place in [(g.start, g.stop) for g in outline.gaps] + [(s.at, s.at) for s in outline.spikes]:
        if any(start <= place[1] and stop >= place[0] for start, stop in fresh):
            better = _explained(blocks, outline, place, blur, price)
            if better is not None:
                outline = better
                changed.append(_round_about(outline, int(np.searchsorted(outline.at, place[0])) - 1))
    return outline, changed


def settle_ramps(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Ramps of the cut that do not meet their neighbours turned into flats.

    The cut leaves the ends of its ramps free, so a flat with a little slope may come out as one; tied to its
    neighbours it would be far off, and every other move round it would be judged beside a wrong piece.
    """
    for i, kind in enumerate(outline.kinds):
        if kind != "ramp":
            continue
        first = max(i - 1, 0)
        part, window = _window(blocks, outline, first, i + 2, blur)
        if not _usable(part):
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


def explain_gaps(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Each gap given the explanation that scores best: none needed, a wiggle, a spike, or it stays unexplained."""
    for gap in outline.gaps:
        better = _explained(blocks, outline, (gap.start, gap.stop), blur, price)
        if better is not None:
            outline = better
    return outline


def _round_about(outline: Outline, i: int) -> Stretch:
    return float(outline.at[max(i - 3, 0)]), float(outline.at[min(i + 4, len(outline.kinds))])


def _usable(part: Blocks) -> bool:
    return len(part.y) >= 2 and bool(np.any(part.weight > 0))


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
    gaps = tuple(g for g in outline.gaps if g.stop > lo and g.start < hi)
    spikes = tuple(s for s in outline.spikes if lo - 0.5 * blur < s.at < hi + 0.5 * blur)
    at = outline.at[first : last + 1].copy()
    return Blocks(part.edge, part.y, weight), Outline(outline.kinds[first:last], at, gaps, spikes)


def _put_back(outline: Outline, window: Outline, new: Outline, first: int, last: int) -> Outline | None:
    """The whole outline with pieces first .. last - 1 replaced; None where that would break a ring's seam."""
    kinds = outline.kinds[:first] + new.kinds + outline.kinds[last:]
    if outline.tied and (kinds[0] == "ramp" or kinds[-1] == "ramp" or (kinds[0] == "zero") != (kinds[-1] == "zero")):
        return None
    at = np.concatenate([outline.at[:first], new.at, outline.at[last + 1 :]])
    gaps = tuple(g for g in outline.gaps if g not in window.gaps) + new.gaps
    spikes = tuple(s for s in outline.spikes if s not in window.spikes) + new.spikes
    return Outline(kinds, at, gaps, spikes, outline.tied)


def _score(blocks: Blocks, outline: Outline, blur: float, price: Prices, beat: float = np.inf) -> tuple[float, Fit]:
    cost = price_of(outline, blocks, price, blur)
    hopeless = max(beat - cost, 0.0) + _HOPELESS
    fitted = fit(blocks, outline, blur, shortest=price.shortest, steps=_LOCAL_STEPS, hopeless=hopeless, sds=False)
    return fitted.chi2 + cost, fitted


def _best_of(
    blocks: Blocks, window: Outline, candidates: Iterator[Outline], blur: float, price: Prices
) -> Outline | None:
    """The candidate that scores best, fitted, if it beats the window as it is."""
    best, winner = _score(blocks, window, blur, price)[0] - _LEAST_GAIN, None
    for candidate in candidates:
        score, fitted = _score(blocks, candidate, blur, price, best)
        if score < best:
            best, winner = score, fitted.outline
    return winner


def _best_move(blocks: Blocks, outline: Outline, i: int, blur: float, price: Prices) -> Outline | None:
    """The move at piece i (or at the break before it) that lowers the score most; None if none does."""
    first, last = max(i - 2, 0), min(i + 3, len(outline.kinds))
    part, window = _window(blocks, outline, first, last, blur)
    if not _usable(part):
        return None
    new = _best_of(part, window, _moves(window, i - first, price.shortest), blur, price)
    return None if new is None else _put_back(outline, window, new, first, last)


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


def _explained(blocks: Blocks, outline: Outline, place: Stretch, blur: float, price: Prices) -> Outline | None:
    """The outline with the gap or spike at a place explained otherwise, when that pays."""
    i = int(np.clip(np.searchsorted(outline.at, 0.5 * (place[0] + place[1])) - 1, 0, len(outline.kinds) - 1))
    first, last = max(i - 2, 0), min(i + 3, len(outline.kinds))
    part, window = _window(blocks, outline, first, last, blur)
    if not _usable(part):
        return None
    opened = _opened(window, place, blur)
    found = fit(part, opened, blur, shortest=price.shortest, steps=_LOCAL_STEPS, sds=False)
    jump = np.where([k == "ramp" for k in window.kinds], np.nan, 0.0)
    jump = np.nan_to_num(found.right[:-1] - found.left[1:] + jump[:-1] + jump[1:])
    part = softened(part, found.outline.at[1:-1], (_STEP_MISFIT * jump) ** 2, blur)
    new = _best_of(part, window, _explanations(part, window, found, place, blur, price), blur, price)
    return None if new is None else _put_back(outline, window, new, first, last)


def _interval(place: Stretch, blur: float) -> Stretch:
    """A gap's own ends, or a blur on either side of a spike."""
    return place if place[1] > place[0] else (place[0] - blur, place[1] + blur)


def _bare(w: Outline, place: Stretch) -> Outline:
    """The outline without the gap or spike at a place."""
    gaps = tuple(g for g in w.gaps if (g.start, g.stop) != place)
    return replace(w, gaps=gaps, spikes=tuple(s for s in w.spikes if (s.at, s.at) != place))


def _opened(w: Outline, place: Stretch, blur: float) -> Outline:
    """The outline with whatever is at a place left out of the fit."""
    bare = _bare(w, place)
    return replace(bare, gaps=(*bare.gaps, Gap(*_interval(place, blur), False)))


def _explanations(
    part: Blocks, w: Outline, found: Fit, place: Stretch, blur: float, price: Prices
) -> Iterator[Outline]:
    """Nothing there, a wiggle, a step, or a spike; each with the break inside, if any, begun at several places.

    found : fit with the place left out
    """
    bare = _bare(w, place)
    gaps, spikes = bare.gaps, bare.spikes
    start, stop = _interval(place, blur)
    inside = touched(part.edge, start, stop)
    step = float(np.sum((found.residual * np.diff(part.edge))[inside]))
    soft = (_SPIKE_MISFIT * step / max(blur, float(np.median(np.diff(part.edge))))) ** 2
    for ramp in _ramps_within(found.outline, start, stop, price.shortest):
        eased = replace(ramp, gaps=gaps)
        yield eased
        if price.spikes:
            yield replace(eased, spikes=(*spikes, Spike(0.5 * (start + stop), soft)))
    for at in _break_starts(found.outline, start, stop):
        begun = replace(bare, at=at)
        yield begun
        yield replace(begun, gaps=(*gaps, Gap(start, stop)))
        if price.spikes:
            yield replace(begun, gaps=(*gaps, Gap(start, stop, False)))
            for share in (0.5, 0.3, 0.7):
                yield replace(begun, spikes=(*spikes, Spike(start + share * (stop - start), soft)))


def _ramps_within(w: Outline, start: float, stop: float, shortest: float) -> Iterator[Outline]:
    """A step within the interval eased to a ramp as long as the interval, or most of it: gaps like to hide those."""
    within = [j for j in range(1, len(w.at) - 1) if start <= w.at[j] <= stop]
    if len(within) != 1:
        return
    j = within[0]
    if "ramp" in (w.kinds[j - 1], w.kinds[j]):
        return
    middle, half = 0.5 * (start + stop), 0.5 * (stop - start)
    for share in (1.0, 0.6):
        a, b = middle - share * half, middle + share * half
        if b - a >= shortest and w.at[j - 1] + shortest < a and b < w.at[j + 1] - shortest:
            yield Outline((*w.kinds[:j], "ramp", *w.kinds[j:]), np.array([*w.at[:j], a, b, *w.at[j + 1 :]]))


def _break_starts(w: Outline, start: float, stop: float) -> Iterator[np.ndarray]:
    """Breaks as they are; where just one lies within the interval, also with that one at its ends and middle."""
    yield w.at
    within = [j for j in range(1, len(w.at) - 1) if start <= w.at[j] <= stop]
    if len(within) == 1:
        j = within[0]
        for share in (0.1, 0.5, 0.9):
            there = start + share * (stop - start)
            if w.at[j - 1] < there < w.at[j + 1]:
                at = w.at.copy()
                at[j] = there
                yield at
