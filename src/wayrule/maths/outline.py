"""Finding the outline that the data need: exact cut first, then blur and continuity, then only what pays its price.

1. `segmentation.best_partition` cuts the blocks with pieces that are free of each other: the global optimum of that
   problem, so that no start value is needed. Stretches that no piece explains become gaps.
2. `outlinefit.fit` refits with ramps continuous and under the blur; breaks move freely, not from block to block.
3. Moves (`moves`) are tried one after another on the few pieces round about, and kept when chi-square plus prices
   falls. It ends when no move pays.

The score is -2 log likelihood plus prices that grow with the log of the number of independent values: a Bayesian
information criterion in which a break counts twice, as its place is searched for (Zhang and Siegmund 2007).
"""

from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.maths.hidden import explain_gaps
from wayrule.maths.judge import Prices, price_of
from wayrule.maths.moves import settle_ramps, sweep
from wayrule.maths.outlinefit import Fit, fit
from wayrule.maths.piecewise import Blocks, Gap, Kind, Outline
from wayrule.maths.segmentation import ZERO, Shape, best_partition

_MAX_SWEEPS: Final = 8


def best_outline(
    blocks: Blocks, blur: float, price: Prices, *, tied: bool = False, start: Outline | None = None
) -> Fit:
    """The outline that the data need, fitted.

    Parameters
    ----------
    blocks : (n,) means, n >= 1
    blur : length of the moving mean under which the data saw the outline
    price : see `judge.prices`
    tied : the line is a ring, cut open in the middle of a flat or zero piece
    start : an outline to begin with, instead of the exact cut

    Returns
    -------
    Fit   with the least score that the moves could reach
    """
    outline = start or first_outline(blocks, blur, price, tied=tied).outline
    best, least = outline, np.inf
    fresh = [(float(blocks.edge[0]), float(blocks.edge[-1]))]
    for _ in range(_MAX_SWEEPS):
        outline, fresh = sweep(blocks, outline, blur, price, fresh)
        fitted = fit(blocks, outline, blur, shortest=price.shortest, steps=4, sds=False)
        outline, score = fitted.outline, fitted.chi2 + price_of(fitted.outline, blocks, price, blur)
        if score < least:
            best, least = outline, score
        elif fresh:  # moves that pay in their windows only
            break
        if not fresh:
            break
    return fit(blocks, best, blur, shortest=price.shortest)


def first_outline(blocks: Blocks, blur: float, price: Prices, *, tied: bool = False) -> Fit:
    """The exact cut, refitted with blur and continuity, before any move; arguments as for `best_outline`."""
    cut = settle_ramps(blocks, _first_cut(blocks, price), blur, price)
    cut = explain_gaps(blocks, _tie(cut, tied), blur, price)
    return fit(blocks, cut, blur, shortest=price.shortest, sds=False)


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
        Shape("gap", 0, 0.1 * price.spike, 1, max(1, round(price.longest_gap / width)), price.gap_per_block, True),
    )
    middle = 0.5 * (blocks.edge[1:] + blocks.edge[:-1])
    pieces, _ = best_partition(middle, blocks.y, blocks.weight, shapes)
    solid = [p for p in pieces if p.name != "gap"]
    if not solid:
        return Outline(("flat",), blocks.edge[[0, -1]])
    at = [blocks.edge[0]]
    at += [0.5 * (blocks.edge[a.stop] + blocks.edge[b.start]) for a, b in pairwise(solid)]
    at.append(blocks.edge[-1])
    gaps = tuple(Gap(float(blocks.edge[p.start]), float(blocks.edge[p.stop])) for p in pieces if p.name == "gap")
    kinds: tuple[Kind, ...] = tuple(p.name for p in solid)  # type: ignore[misc]
    return Outline(kinds, np.array(at), gaps)
