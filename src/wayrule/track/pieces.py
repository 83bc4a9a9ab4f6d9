"""What one quantity along a line (curvature, or gradient) is made of: zero, constant and linear pieces.

Noise, as correlated as it is: the increments of heading (of height) over disjoint lengths are taken as independent,
with a density d such that a mean over a length l has variance d / l. The claimed sd of a mean over one wheelbase w
gives d = sd^2 w, so w is worth one independent value, however dense the stations. What the line itself does
(roughness) is measured from the data on lengths of 1 to 16 w. What drifts too slowly to be seen so, a survey's error of
height above all, is taken from the claimed sd of the integral; the largest density counts. What every value shares (a
tilt) neither makes nor hides a piece, and comes into the sigmas alone (`errorbars`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.maths.judge import Prices, prices, window_of
from wayrule.maths.outline import best_outline, first_outline
from wayrule.maths.outlinefit import Fit, fit
from wayrule.maths.piecewise import Blocks, Outline, level_index, unexplained
from wayrule.model.arrays import Array
from wayrule.track.errorbars import taken_apart

BLOCKS_PER_WHEELBASE: Final = 4
"""Finer blocks than a quarter of the wheelbase show nothing that the wagon saw."""

MOST_BLOCKS: Final = 3000
"""Longer lines are cut into longer blocks; keeps the search, which grows with the square, below a second or two."""

SHORTEST_WHEELBASES: Final = 0.6
"""A shorter piece than that is not told from a fault by a wagon of this wheelbase."""

JOINT_WHEELBASES: Final = 0.03
"""No joint is placed better than this (2 mm in H0): what a wagon with play does where a curve begins is not undone to
the last. As measured on simulated sectional track, passed over one way."""

LONGEST_GAP_WHEELBASES: Final = 4.5
"""A fault may hide a stretch of up to this length from the search for elements."""

GAP_PER_BLOCK: Final = 4.0
"""Chi-square that a block in a gap pays; 1 is what pure noise pays, so that noise is never worth a gap."""

MOST_ROUNDS: Final = 3
WORTH_ANOTHER_ROUND: Final = 1.5
"""The search is run again while the noise that it leaves turns out smaller by this factor than was taken for it."""

BLURS: Final = (0.2, 1.0, 0.8, 0.6, 0.45, 0.3, 0.1, 0.0, 1.2, 1.4)
"""Lengths of the moving mean, in wheelbases, that are tried; the first stands unless another is clearly better."""


CLEAR_BLUR: Final = 0.7
"""Another blur than the usual one is believed when what it leaves at the steps, all together, is half as much."""

FEWEST_STEPS: Final = 2
MOST_STEPS: Final = 12
"""So many steps of a line are needed, and are enough, to tell its blur."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One quantity along the line, as block means.

    edge     (n + 1,) chainage of the block edges [mm]
    y        (n,) mean of the quantity over each block; 0 where missing
    known    (n,) whether there is a value
    density  (n,) claimed noise density d: a mean over l has variance d / l
    slow     the same for means over long lengths, beyond that
    shared   sd of a constant that all of it shares
    closed   the last edge is the first one again
    base_mm  wheelbase
    """

    edge: Array
    y: Array
    known: np.ndarray
    density: Array
    slow: float
    shared: float
    closed: bool
    base_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces in rising chainage; on a closed line the last may end beyond the length.

    start, stop, left, right, mean_sd, start_sd, stop_sd, length_sd, area_sd, misfit: one entry for each of `kinds`;
    the area is the integral along the piece, heading turned or height risen
    density : the noise density that was used; blur_mm : the moving mean that fitted best
    """

    kinds: tuple[str, ...]
    start: Array
    stop: Array
    left: Array
    right: Array
    mean_sd: Array
    start_sd: Array
    stop_sd: Array
    length_sd: Array
    area_sd: Array
    misfit: Array
    density: float
    blur_mm: float


def block_line(
    s_mm: Array,
    integral: Array,
    rate_sd: Array,
    integral_sd: Array,
    base_mm: float,
    closing: tuple[float, float] | None,
) -> Line:
    """Block means from an integral at stations (heading for curvature, height for gradient).

    rate_sd     claimed sd of a mean of the rate over one wheelbase
    integral_sd claimed sd of the integral, less its mean
    closing     (length_mm, integral at the length) of a closed line
    """
    length = (closing[0] if closing is not None else float(s_mm[-1])) - float(s_mm[0])
    bars = taken_apart(rate_sd, integral_sd, length, base_mm, closed=closing is not None)
    local = bars.local
    if closing is not None:
        s_mm, integral = np.append(s_mm, closing[0]), np.append(integral, closing[1])
        local = np.append(local, local[0])
    width = max(base_mm / BLOCKS_PER_WHEELBASE, length / MOST_BLOCKS)
    every = max(1, round(width / float(np.median(np.diff(s_mm)))))
    at = np.unique(np.append(np.arange(0, len(s_mm) - max(1, every // 2), every), len(s_mm) - 1))
    edge = s_mm[at]
    y = np.diff(integral[at]) / np.diff(edge)
    known = np.isfinite(y)
    return Line(
        edge,
        np.where(known, y, 0.0),
        known,
        np.maximum(local[at[1:]], local[at[:-1]]),
        bars.slow,
        bars.shared,
        closing is not None,
        base_mm,
    )


def _weights(line: Line, density: float) -> Blocks:
    width = np.diff(line.edge)
    weight = np.where(line.known, width / np.maximum(line.density, max(density, line.slow)), 0.0)
    return Blocks(line.edge, line.y, weight)


def _first_density(line: Line, floor: float) -> float:
    """Noise density before anything is fitted: second differences of means over w, a low quantile.

    A low one and not the median, because where pieces are short most second differences see a break.
    """
    k = max(1, round(line.base_mm / float(np.median(np.diff(line.edge)))))
    run = np.concatenate([[0.0], np.cumsum(line.y * np.diff(line.edge))])
    mean = (run[k:] - run[:-k]) / (line.edge[k:] - line.edge[:-k])
    if len(mean) < 4 * k + 1:
        return floor
    second = np.abs(mean[: -2 * k] - 2 * mean[k:-k] + mean[2 * k :])
    sd = float(np.quantile(second, 0.15)) / 0.1891 / np.sqrt(6.0)  # that quantile of |normal| is 0.1891 sd; 1 + 4 + 1
    return float(max(floor, sd**2 * line.base_mm))


def _residual_density(line: Line, fitted: Fit, blur: float, floor: float) -> float:
    """Noise density from what a fit leaves, on lengths of 1, 2, 4, 8 and 16 w; the largest counts.

    Divided by the share of degrees of freedom that the fit has left of one value per wheelbase.
    """
    width = np.diff(line.edge)
    good = line.known & ~unexplained(line.edge, fitted.outline, blur)
    run = np.concatenate([[0.0], np.cumsum(np.where(good, fitted.residual * width, 0.0))])
    worst = floor
    for scale in (1, 2, 4, 8, 16):
        k = max(1, round(scale * line.base_mm / float(np.median(width))))
        if len(run) < 10 * k:
            break
        length = line.edge[k:] - line.edge[:-k]
        sd = 1.4826 * float(np.median(np.abs(run[k:] - run[:-k]) / np.sqrt(length)))
        worst = max(worst, sd**2 / _left_free(fitted.outline, line))
    return worst


def _left_free(outline: Outline, line: Line) -> float:
    """Share of the independent values that an outline's unknowns leave, half of them at least."""
    unknowns = level_index(outline.kinds, outline.tied)[2] + len(outline.kinds) - 1
    unknowns += 2 * len(outline.spikes) + 3 * len(outline.bumps)
    return max(0.5, 1.0 - unknowns * line.base_mm / float(line.edge[-1] - line.edge[0]))


def _rolled(line: Line, first: int) -> Line:
    """A closed line cut open at block `first`."""
    width = np.roll(np.diff(line.edge), -first)
    edge = line.edge[first] + np.concatenate([[0.0], np.cumsum(width)])
    return replace(
        line,
        edge=edge,
        y=np.roll(line.y, -first),
        known=np.roll(line.known, -first),
        density=np.roll(line.density, -first),
    )


def _seam(fitted: Fit, line: Line) -> int:
    """Block in the middle of the longest piece that is no ramp."""
    length = np.diff(fitted.outline.at) * np.array([k != "ramp" for k in fitted.outline.kinds])
    i = int(np.argmax(length))
    return int(np.argmin(np.abs(line.edge[:-1] - 0.5 * (fitted.outline.at[i] + fitted.outline.at[i + 1]))))


def find_pieces(line: Line, floor_density: float, *, steps: bool) -> Pieces:
    """The pieces of a quantity along a line.

    Parameters
    ----------
    line : block means
    floor_density : noise density below which no line is believed to be
    steps : whether the integral may step (a kink of the heading does, the height does not)

    Returns
    -------
    Pieces   one at least, for a line of at least one block
    """
    extent = float(line.edge[-1] - line.edge[0])
    price = prices(
        extent / line.base_mm,
        gap_per_block=GAP_PER_BLOCK,
        shortest=SHORTEST_WHEELBASES * line.base_mm,
        longest_gap=LONGEST_GAP_WHEELBASES * line.base_mm,
        spikes=steps,
    )
    blur = BLURS[0] * line.base_mm
    density = _first_density(line, floor_density)
    fitted = first_outline(_weights(line, density), blur, price)
    tied = line.closed and len(fitted.outline.kinds) > 1
    density = _residual_density(line, fitted, blur, floor_density)
    blur = _best_blur(_weights(line, density), fitted.outline, line.base_mm, price)
    if tied:
        line = _rolled(line, _seam(fitted, line))
    start = None
    for _ in range(MOST_ROUNDS):
        fitted = best_outline(_weights(line, density), blur, price, tied=tied, start=start)
        start = fitted.outline
        before, density = density, _residual_density(line, fitted, blur, floor_density)
        if density > before / WORTH_ANOTHER_ROUND:
            break
    return _ordered(fitted, line, density, blur)


def _with(sd: Array, more: float) -> Array:
    """The sd of places with what is added to each; an end of the line is no joint, and is known."""
    return np.asarray(np.where(sd > 0, np.hypot(sd, more), 0.0))


def _best_blur(blocks: Blocks, outline: Outline, base_mm: float, price: Prices) -> float:
    """The moving mean that explains the steps best; ramps not much longer than it are taken for steps.

    Judged on a few pieces round each step that has no gap near it, and by the logarithm of each one's chi-square, so
    that one step which is none does not decide. Without such steps the usual blur stands, and little hangs on it.
    """
    stepped = _stepped(outline, base_mm)
    odd = unexplained(blocks.edge, stepped, base_mm)
    middles = 0.5 * (blocks.edge[1:] + blocks.edge[:-1])
    logs: list[Array] = []
    for i in range(1, len(stepped.kinds)):
        clear = not np.any(odd & (np.abs(middles - stepped.at[i]) < base_mm))
        if len(logs) < MOST_STEPS and clear and "ramp" not in stepped.kinds[i - 1 : i + 1]:
            logs.append(np.log(_left_by_blurs(blocks, stepped, i, base_mm, price)))
    return agreed_blur(np.array(logs), BLURS) * base_mm


def agreed_blur(logs: Array, blurs: Sequence[float]) -> float:
    """The blur that most steps agree on, or else the first of `blurs`.

    logs : (steps, blurs) log of what each blur leaves at each step

    A step that is none (a transition not seen, a kink beside it) can ask for any blur; so two of three must be better
    off with it, and all together by a factor of two.
    """
    if len(logs) < FEWEST_STEPS:
        return blurs[0]
    best = int(np.argmin(logs.sum(axis=0)))
    gain = logs[:, 0] - logs[:, best]
    return blurs[best] if gain.sum() > CLEAR_BLUR and np.mean(gain > 0) >= 2.0 / 3.0 else blurs[0]


def _stepped(outline: Outline, base_mm: float) -> Outline:
    """The outline with its short ramps between flats as steps, and without the spikes beside breaks."""
    kinds, at = list(outline.kinds), list(outline.at)
    for i in range(len(kinds) - 2, 0, -1):
        if kinds[i] == "ramp" and at[i + 1] - at[i] < 1.6 * base_mm and "ramp" not in (kinds[i - 1], kinds[i + 1]):
            middle = 0.5 * (at[i] + at[i + 1])
            kinds[i : i + 1], at[i : i + 2] = [], [middle]
    # a spike beside a step is what a wrong blur looks like
    far = tuple(s for s in outline.spikes if np.min(np.abs(np.array(at) - s.at)) > base_mm)
    return replace(outline, kinds=tuple(kinds), at=np.array(at), spikes=far)


def _left_by_blurs(blocks: Blocks, stepped: Outline, i: int, base_mm: float, price: Prices) -> Array:
    """Chi-square within a wheelbase of the step before piece i under each of `BLURS`, each plus half its blocks."""
    part, window = window_of(blocks, stepped, i - 2, i + 2, base_mm)
    near = np.abs(0.5 * (part.edge[1:] + part.edge[:-1]) - stepped.at[i]) < base_mm
    out = []
    for factor in BLURS:
        fitted = fit(part, window, factor * base_mm, shortest=price.shortest, steps=5, sds=False)
        out.append(float(np.sum((part.weight * fitted.residual**2)[near])))
    return np.array(out) + 0.5 * float(np.count_nonzero(near)) + 1e-9


def _ordered(fitted: Fit, line: Line, density: float, blur: float) -> Pieces:
    """Pieces in rising chainage from the first that starts at or after 0; the two halves of a tied piece joined."""
    outline = fitted.outline
    kinds, at = list(outline.kinds), outline.at
    left, right = fitted.left, fitted.right
    local = float(max(np.median(line.density), density))
    both = math.sqrt((local + line.slow) / max(local, line.slow))  # a mean over a long piece sees either noise
    mean_sd = np.hypot(both * fitted.mean_sd, line.shared)
    start, stop, start_sd, stop_sd = at[:-1].copy(), at[1:].copy(), fitted.at_sd[:-1].copy(), fitted.at_sd[1:].copy()
    length_sd, area_sd = fitted.length_sd, fitted.area_sd
    weight = np.where(unexplained(line.edge, outline, blur) | ~line.known, 0.0, np.diff(line.edge))
    middle = 0.5 * (line.edge[1:] + line.edge[:-1])
    piece = np.clip(np.searchsorted(at, middle, side="right") - 1, 0, len(kinds) - 1)
    if outline.tied and len(kinds) > 1:
        stop[-1], stop_sd[-1] = stop[0] + (at[-1] - at[0]), stop_sd[0]
        piece[piece == 0] = len(kinds) - 1
        piece -= 1
        kinds, start, stop, left, right = kinds[1:], start[1:], stop[1:], left[1:], right[1:]
        mean_sd, start_sd, stop_sd = mean_sd[1:], start_sd[1:], stop_sd[1:]
        length_sd, area_sd = length_sd[1:], area_sd[1:]
    n = len(kinds)
    total = np.bincount(piece, weight, n)
    square = np.bincount(piece, weight * fitted.residual**2, n)
    misfit = np.sqrt(np.divide(square, total, out=np.full(n, np.nan), where=total > 0))
    if line.closed:
        turns = np.floor(start / (at[-1] - at[0]) + 1e-9) * (at[-1] - at[0])
        start, stop = start - turns, stop - turns
    area_sd = np.hypot(area_sd, line.shared * (stop - start))
    placed = JOINT_WHEELBASES * line.base_mm
    start_sd, stop_sd, length_sd = (_with(sd, placed) for sd in (start_sd, stop_sd, length_sd))
    order = np.argsort(start, kind="stable")
    return Pieces(
        kinds=tuple(kinds[i] for i in order),
        start=start[order],
        stop=stop[order],
        left=left[order],
        right=right[order],
        mean_sd=mean_sd[order],
        start_sd=start_sd[order],
        stop_sd=stop_sd[order],
        length_sd=length_sd[order],
        area_sd=area_sd[order],
        misfit=misfit[order],
        density=local + line.slow,
        blur_mm=blur,
    )
