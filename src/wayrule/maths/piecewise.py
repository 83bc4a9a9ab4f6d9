"""Outlines made of zero, flat and ramp pieces, ramps continuous with what they join, seen as blurred block means.

The data are means over blocks, so that fast wiggles cost nothing and increments of an integral serve as well as
samples. A measuring base of some length blurs what it sees: the model is the outline under a moving mean.

Legend: m pieces, m + 1 breaks `at` · left, right value of a piece at its ends (m,) · q outline, Q, P its first and
second integral · b blur · n blocks with n + 1 edges.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.bumps import Bump

Floats = NDArray[np.float64]
Kind = Literal["zero", "flat", "ramp"]


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Means over blocks: edge (n + 1,) strictly rising, y (n,) means, weight (n,) one over variance, 0 = no value."""

    edge: Floats
    y: Floats
    weight: Floats

    def part(self, start: float, stop: float, margin: float = 0.0) -> "Blocks":
        """The blocks that lie wholly within start .. stop; those nearer than `margin` to either end weigh nothing."""
        inside = np.flatnonzero((self.edge[:-1] >= start - 1e-9) & (self.edge[1:] <= stop + 1e-9))
        if len(inside) == 0:
            return Blocks(self.edge[:1], self.y[:0], self.weight[:0])
        first, last = int(inside[0]), int(inside[-1]) + 1
        edge = self.edge[first : last + 1]
        near = (edge[:-1] < start + margin) | (edge[1:] > stop - margin)
        return Blocks(edge, self.y[first:last], np.where(near, 0.0, self.weight[first:last]))


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch whose course is not asked for; `whole`: its mean still is (the wiggle in it comes back to nothing)."""

    start: float
    stop: float
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Spike:
    """A step of the integral at a place.

    soft   variance that is added to the blocks that see it, as it is never blurred quite as the model has it
    reach  up to here a sixteenth of that is added: what undoes a blur rings a little beside a spike
    """

    at: float
    soft: float
    reach: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What the pieces are and where they break.

    kinds  m of "zero", "flat", "ramp"
    at     (m + 1,) breaks with both ends
    gaps, spikes, bumps   what is no piece
    tied   the first and the last piece are one and the same flat (a ring cut open in the middle of a piece)
    """

    kinds: tuple[Kind, ...]
    at: Floats
    gaps: tuple[Gap, ...] = ()
    spikes: tuple[Spike, ...] = ()
    bumps: tuple[Bump, ...] = ()
    tied: bool = False


def level_index(kinds: tuple[Kind, ...], tied: bool) -> tuple[NDArray[np.intp], NDArray[np.intp], int]:
    """Which free level stands at the left and right end of each piece (-1: it is zero), and how many there are.

    >>> level_index(("zero", "ramp", "flat", "flat"), False)
    (array([-1, -1,  0,  1]), array([-1,  0,  0,  1]), 2)
    """
    m = len(kinds)
    left, right = np.full(m, -1), np.full(m, -1)
    count = 0
    for i, kind in enumerate(kinds):
        if kind == "flat":
            if tied and i == m - 1 and m > 1 and kinds[0] == "flat":
                left[i] = right[i] = left[0]
            else:
                left[i] = right[i] = count
                count += 1
    for i, kind in enumerate(kinds):
        if kind != "ramp":
            continue
        if i > 0:
            left[i] = right[i - 1]
        else:
            left[i], count = count, count + 1
        if i + 1 < m and kinds[i + 1] != "ramp":
            right[i] = left[i + 1]
        else:
            right[i], count = count, count + 1
    return left, right, count


def picks(outline: Outline) -> tuple[Floats, Floats, int]:
    """Which level stands at the left and right end of each piece, as matrices (m, levels + 1), and how many there are.

    The last column is the level that is fixed at zero.
    """
    left_at, right_at, levels = level_index(outline.kinds, outline.tied)
    m = len(outline.kinds)
    left, right = np.zeros((2, m, levels + 1))
    left[range(m), left_at] = 1.0  # index -1 picks the fixed zero
    right[range(m), right_at] = 1.0
    return left, right, levels


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """Block means of the blurred building stones of an outline.

    fall  (n, m) 1 at the start of piece i, falling to 0 at its end, 0 elsewhere
    rise  (n, m) 0 at its start, rising to 1 at its end
    spike (n, m - 1) a unit of area at the break after piece i
    """

    fall: Floats
    rise: Floats
    spike: Floats


def basis(at: Floats, edge: Floats, blur: float) -> Basis:
    """Building stones of an outline with breaks `at`, which goes on flat beyond its ends.

    Parameters
    ----------
    at : (m + 1,) breaks, strictly rising
    edge : (n + 1,) block edges
    blur : length b of the moving mean; less than a twentieth of a block counts as that

    Notes
    -----
    With u = (x - p)+ the second integrals of a spike, step and bend at p are u, u^2/2, u^3/6, and the mean over a
    block of a blurred q is the difference of (P(x + b/2) - P(x - b/2)) / b at its edges, over its width.

    Examples
    --------
    A step from 0 to 1 at 10 under a moving mean of 4 is a ramp from 8 to 12.

    >>> stones = basis(np.array([0.0, 10, 20]), np.array([7.0, 8, 9, 10, 11, 12, 13]), 4.0)
    >>> (stones.fall + stones.rise)[:, 1].round(3).tolist()
    [0.0, 0.125, 0.375, 0.625, 0.875, 1.0]
    """
    width = np.diff(edge)[:, None]
    b = max(blur, 0.05 * float(edge[-1] - edge[0]) / len(width))
    late = np.maximum(edge[:, None] - at + b / 2, 0.0)
    early = np.maximum(edge[:, None] - at - b / 2, 0.0)
    late2, early2 = late * late, early * early
    scale = b * width
    spike = _differences(late[:, 1:-1] - early[:, 1:-1]) / scale
    step = _differences(late2 - early2) / (2.0 * scale)
    bend = _differences(late2 * late - early2 * early) / (6.0 * scale)
    slope = (bend[:, :-1] - bend[:, 1:]) / np.diff(at)
    fall, rise = step[:, :-1] - slope, slope - step[:, 1:]
    fall[:, 0] += 1.0 - step[:, 0]
    rise[:, -1] += step[:, -1]
    return Basis(fall, rise, spike)


def _differences(a: Floats) -> Floats:
    return a[1:] - a[:-1]


def spike_means(places: Floats, edge: Floats, blur: float) -> tuple[Floats, Floats]:
    """Block means of spikes of unit area, and their change per unit shift of the place; (n, places) each."""
    width = np.diff(edge)[:, None]
    b = max(blur, 0.05 * float(edge[-1] - edge[0]) / len(width))
    late, early = edge[:, None] - places + b / 2, edge[:, None] - places - b / 2
    mean = _differences(np.maximum(late, 0.0) - np.maximum(early, 0.0)) / (b * width)
    change = _differences((early > 0).astype(float) - (late > 0)) / (b * width)
    return mean, change


def touched(edge: Floats, start: float, stop: float) -> NDArray[np.bool_]:
    """Which blocks share more than an end with an interval, (n,)."""
    return np.asarray((edge[1:] > start + 1e-9) & (edge[:-1] < stop - 1e-9))


def unexplained(edge: Floats, outline: Outline, blur: float) -> NDArray[np.bool_]:
    """Which blocks lie in a gap or see a spike or a bump, (n,)."""
    out = np.zeros(len(edge) - 1, dtype=bool)
    for gap in outline.gaps:
        out |= touched(edge, gap.start, gap.stop)
    for spike in outline.spikes:
        out |= touched(edge, spike.at - 0.5 * blur, spike.at + 0.5 * blur)
    for bump in outline.bumps:
        out |= touched(edge, bump.at - bump.reach, bump.at + bump.reach)
    return out


def local_shapes(outline: Outline, blur: float) -> list[tuple[float, float, float]]:
    """(place, how far it is seen, variance that is added there) of the spikes and bumps."""
    spikes = [(s.at, 0.5 * blur, s.soft) for s in outline.spikes]
    spikes += [(s.at, s.reach, s.soft / 16.0) for s in outline.spikes if s.reach > 0.0]
    return spikes + [(b.at, b.reach + 0.5 * blur, b.soft) for b in outline.bumps]


def softened(blocks: Blocks, shapes: list[tuple[float, float, float]]) -> Blocks:
    """Blocks near local shapes (place, reach, soft) weigh less: their variance grows by `soft`, as the true shape is
    never quite the model's.
    """
    weight = blocks.weight.copy()
    for place, reach, extra in shapes:
        near = touched(blocks.edge, place - reach, place + reach)
        weight[near] /= 1.0 + extra * weight[near]
    return Blocks(blocks.edge, blocks.y, weight)


def as_seen(blocks: Blocks, outline: Outline, blur: float) -> Blocks:
    """The blocks that an outline is judged by: a whole gap is one block, an open one weighs nothing, those that see a
    spike or a bump weigh less.
    """
    shapes = local_shapes(outline, blur)
    if not outline.gaps and not shapes:
        return blocks
    blocks = softened(blocks, shapes)
    edge, y, weight = blocks.edge, blocks.y, blocks.weight.copy()
    width = np.diff(edge)
    first = np.ones(len(y), dtype=bool)  # of the blocks that are put together
    for gap in outline.gaps:
        inside = np.flatnonzero(touched(edge, gap.start, gap.stop))
        if len(inside) == 0:
            continue
        if gap.whole and np.all(weight[inside] > 0):
            first[inside[1:]] = False
        else:
            weight[inside] = 0.0
    start = np.flatnonzero(first)
    total = np.add.reduceat(width, start)
    variance = np.add.reduceat(width**2 / np.where(weight > 0, weight, np.inf), start)
    mean = np.add.reduceat(width * y, start) / total
    out = np.divide(total**2, variance, out=np.zeros(len(start)), where=variance > 0)
    return Blocks(np.append(edge[start], edge[-1]), mean, out)
