"""What an outline costs, and judging a few pieces of it by themselves."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.maths.outlinefit import Fit, fit
from wayrule.maths.piecewise import Blocks, Outline, level_index, local_shapes, softened, touched

LOCAL_STEPS: Final = 8

_HOPELESS: Final = 30.0
"""A candidate this much behind in chi-square, and not halving it, is not fitted to the end."""

_LEAST_GAIN: Final = 0.5
"""A move must lower the score by this, far below the price of anything; spares moves that change nothing."""


@dataclass(frozen=True, slots=True)
class Prices:
    """What complexity costs, in units of chi-square; shortest piece and longest gap in units of x.

    brk            one more break
    level          one more free level
    gap            one more gap
    gap_per_block  each block in a gap, instead of its residual
    spikes         whether the integral may step: the data are a curvature; else a gradient
    """

    brk: float
    level: float
    gap: float
    gap_per_block: float
    shortest: float
    longest_gap: float
    spikes: bool

    @property
    def spike(self) -> float:
        """A place and a size."""
        return self.brk + self.level

    @property
    def bump(self) -> float:
        """A place, a size and a width."""
        return self.brk + 2.0 * self.level


def prices(
    independent: float, *, gap_per_block: float, shortest: float, longest_gap: float, spikes: bool = True
) -> Prices:
    """Prices for data worth so many independent values: level log n, break 2 log n, gap (two ends, course) 5 log n.

    >>> prices(100.0, gap_per_block=2.0, shortest=30.0, longest_gap=90.0).brk
    9.21
    """
    unit = float(np.log(max(independent, 8.0)))  # below eight values the logarithm says nothing; its price stays
    return Prices(round(2 * unit, 2), round(unit, 2), round(5 * unit, 2), gap_per_block, shortest, longest_gap, spikes)


def price_of(outline: Outline, blocks: Blocks, price: Prices, blur: float) -> float:
    """What an outline costs over the given blocks, misfit apart.

    A block in a gap pays `gap_per_block`; an open gap hides a step of the integral, and pays for it like a level. A
    bump has a width beside its place and size. A block that sees a spike or a bump weighs less, so its chi-square is
    less than 1 by as much, which is paid back. Two ramps in a row pay a level more: lines are seldom laid so.
    A step of a gradient costs as much as the ramp that it stands for, since rails do not bend at a point.
    """
    _, _, levels = level_index(outline.kinds, outline.tied)
    used = blocks.weight > 0
    lost = sum(int(np.count_nonzero(touched(blocks.edge, g.start, g.stop) & used)) for g in outline.gaps)
    relieved = 0.0
    if outline.spikes or outline.bumps:
        eased = softened(blocks, local_shapes(outline, blur)).weight
        relieved = float(np.sum(1.0 - eased[used] / blocks.weight[used]))
    return (
        price.brk * (len(outline.kinds) - 1 + (0 if price.spikes else _steps(outline)))
        + price.level * (levels + sum(not g.whole for g in outline.gaps) + sum(map(_ramps, pairwise(outline.kinds))))
        + price.gap * len(outline.gaps)
        + price.spike * len(outline.spikes)
        + price.bump * len(outline.bumps)
        + price.gap_per_block * lost
        + relieved
    )


def _ramps(pair: tuple[str, str]) -> bool:
    return pair == ("ramp", "ramp")


def _steps(outline: Outline) -> int:
    return sum("ramp" not in pair for pair in pairwise(outline.kinds))


def usable(part: Blocks) -> bool:
    """Whether there is anything in a window to judge by."""
    return len(part.y) >= 2 and bool(np.any(part.weight > 0))


def window_of(blocks: Blocks, outline: Outline, first: int, last: int, blur: float) -> tuple[Blocks, Outline]:
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
    bumps = tuple(b for b in outline.bumps if lo - b.reach < b.at < hi + b.reach)
    at = outline.at[first : last + 1].copy()
    return replace(part, weight=weight), Outline(outline.kinds[first:last], at, gaps, spikes, bumps)


def put_back(outline: Outline, window: Outline, new: Outline, first: int, last: int) -> Outline | None:
    """The whole outline with pieces first .. last - 1 replaced; None where that would break a ring's seam."""
    kinds = outline.kinds[:first] + new.kinds + outline.kinds[last:]
    if outline.tied and (kinds[0] == "ramp" or kinds[-1] == "ramp" or (kinds[0] == "zero") != (kinds[-1] == "zero")):
        return None
    at = np.concatenate([outline.at[:first], new.at, outline.at[last + 1 :]])
    gaps = tuple(g for g in outline.gaps if g not in window.gaps) + new.gaps
    spikes = tuple(s for s in outline.spikes if s not in window.spikes) + new.spikes
    bumps = tuple(b for b in outline.bumps if b not in window.bumps) + new.bumps
    return Outline(kinds, at, gaps, spikes, bumps, outline.tied)


def score_of(blocks: Blocks, outline: Outline, blur: float, price: Prices, beat: float = np.inf) -> tuple[float, Fit]:
    """Chi-square after fitting plus prices, and the fit; `beat` is the score that makes it worth fitting to the end."""
    cost = price_of(outline, blocks, price, blur)
    hopeless = max(beat - cost, 0.0) + _HOPELESS
    fitted = fit(blocks, outline, blur, shortest=price.shortest, steps=LOCAL_STEPS, hopeless=hopeless, sds=False)
    return fitted.chi2 + cost, fitted


def best_of(
    blocks: Blocks,
    window: Outline,
    candidates: Iterator[Outline],
    blur: float,
    price: Prices,
    *,
    patient: bool = False,
) -> Outline | None:
    """The candidate that scores best, fitted, if it beats the window as it is; `patient`: fit each one to the end."""
    best, winner = score_of(blocks, window, blur, price)[0] - _LEAST_GAIN, None
    for candidate in candidates:
        score, fitted = score_of(blocks, candidate, blur, price, np.inf if patient else best)
        if score < best:
            best, winner = score, fitted.outline
    return winner
