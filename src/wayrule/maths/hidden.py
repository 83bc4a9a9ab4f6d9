"""What a stretch hides that no piece explains: a spike, a bump, or a break of another kind, all tried together.

A kink inside a transition looks like a step with something odd beside it, and so does a bump at the start of a curve:
which pieces there are and what local shape lies on them must be asked in one question. For every way in which the
pieces round a stretch may meet (at a step, over a ramp, nowhere) and every local shape from a dictionary, the gain of
the shape is one division by linear least squares; the best of each sort are then fitted with free places.

Legend: X columns of the levels, Q an orthonormal basis of them, r residual, D dictionary, all times root weight ·
gain of d = (d . r)^2 / (|d|^2 - |Q' d|^2).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from wayrule.maths.bumps import Bump, bump_means
from wayrule.maths.judge import LOCAL_STEPS, Prices, best_of, price_of, put_back, usable, window_of
from wayrule.maths.outlinefit import fit
from wayrule.maths.piecewise import (
    Blocks,
    Floats,
    Gap,
    Kind,
    Outline,
    Spike,
    as_seen,
    basis,
    picks,
    softened,
    spike_means,
    touched,
)

Stretch = tuple[float, float]
"""A gap from start to stop, or a spike or bump twice at its place."""

_SPIKE_MISFIT: Final = 0.2
"""A spike is taken to be blurred as the model has it to within this part of its height."""

_BUMP_MISFIT: Final = 0.1
"""A bump is taken to be a Gaussian to within this part of its rms."""

_STEP_MISFIT: Final = 0.08
"""A step likewise: a blur a little off looks like a spike beside it."""

_REACH: Final = 2.0
"""Pieces may meet otherwise up to so many shortest pieces beyond the stretch."""

_APART: Final = 0.6
"""Places of breaks that are tried are so many shortest pieces apart."""

_SIGMAS: Final = (0.25, 0.37, 0.55, 0.83, 1.25)
"""Widths of bumps that are tried, in shortest pieces."""

_HOPEFUL: Final = 40.0
_MOST: Final = 9
"""Of all that was tried, so many are fitted, and none that scores this much worse than the best."""

_HIDDEN: Final = 0.02
"""A shape of which the pieces explain all but this part is not asked for."""


@dataclass(frozen=True, slots=True, eq=False)
class _Shapes:
    """A dictionary of local shapes: their places, sigmas (0: a spike) and block means times root weight (n, p)."""

    at: Floats
    sigma: Floats
    columns: Floats


def explain_gaps(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Each gap given the explanation that scores best: none needed, a bump, a spike, or it stays unexplained."""
    for gap in outline.gaps:
        better = explained(blocks, outline, (gap.start, gap.stop), blur, price)
        if better is not None:
            outline = better
    return outline


def explained(blocks: Blocks, outline: Outline, place: Stretch, blur: float, price: Prices) -> Outline | None:
    """The outline with the pieces and local shapes at a place explained otherwise, when that pays; else None."""
    start, stop = _interval(place, price.shortest)
    reach, m = _REACH * price.shortest, len(outline.kinds)
    i, j = np.clip(np.searchsorted(outline.at, [start - reach, stop + reach], side="right") - 1, 0, m - 1)
    first, last = max(int(i) - 1, 0), min(int(j) + 2, m)
    part, window = window_of(blocks, outline, first, last, blur)
    if not usable(part):
        return None
    bare = _bare(window, start, stop)
    part = _eased(part, bare, (start, stop), blur, price)
    ways = [bare, *_ways(bare, int(i) - first, int(j) - first, start - reach, stop + reach, price.shortest)]
    tries = _most_hopeful(part, ways, (start, stop), blur, price)
    new = best_of(part, window, iter(tries), blur, price, patient=True)
    return None if new is None else put_back(outline, window, new, first, last)


def _interval(place: Stretch, shortest: float) -> Stretch:
    """A gap's own ends, or a little on either side of a spike or bump."""
    return place if place[1] > place[0] else (place[0] - 0.5 * shortest, place[1] + 0.5 * shortest)


def _bare(w: Outline, start: float, stop: float) -> Outline:
    """The outline without the gaps and shapes that lie within a stretch."""
    return replace(
        w,
        gaps=tuple(g for g in w.gaps if not start - 1e-9 <= 0.5 * (g.start + g.stop) <= stop + 1e-9),
        spikes=tuple(s for s in w.spikes if not start <= s.at <= stop),
        bumps=tuple(b for b in w.bumps if not start <= b.at <= stop),
    )


def _eased(part: Blocks, bare: Outline, inside: Stretch, blur: float, price: Prices) -> Blocks:
    """The blocks with those at steps weighing less, as the blur is never quite known."""
    opened = replace(bare, gaps=(*bare.gaps, Gap(*inside, False)))
    found = fit(part, opened, blur, shortest=price.shortest, steps=LOCAL_STEPS, sds=False)
    at, ramp = found.outline.at, [k == "ramp" for k in bare.kinds]
    steps = [
        (float(at[i + 1]), 0.5 * blur, float(_STEP_MISFIT * (found.right[i] - found.left[i + 1])) ** 2)
        for i in range(len(ramp) - 1)
        if not (ramp[i] or ramp[i + 1])
    ]
    return softened(part, steps)


def _ways(w: Outline, i: int, j: int, lo: float, hi: float, shortest: float) -> Iterator[Outline]:
    """Ways in which piece i may meet piece j, the pieces between them left out, breaks on a grid of places."""
    if i == j:
        return
    before, after = w.kinds[i], w.kinds[j]
    lo, hi = max(lo, float(w.at[i]) + shortest), min(hi, float(w.at[j + 1]) - shortest)
    places = np.arange(lo, hi + 1e-9, _APART * shortest)

    def met(between: tuple[Kind, ...], at: tuple[float, ...]) -> Outline:
        kinds = w.kinds[: i + 1] + between + w.kinds[j:]
        return replace(w, kinds=kinds, at=np.concatenate([w.at[: i + 1], at, w.at[j + 1 :]]))

    if before == after:
        yield replace(w, kinds=w.kinds[: i + 1] + w.kinds[j + 1 :], at=np.concatenate([w.at[: i + 1], w.at[j + 1 :]]))
    link: Kind | None = None
    if "ramp" not in (before, after):
        link = "ramp"
    elif before == after == "ramp":
        link = "flat"
    for a, p in enumerate(places):
        yield met((), (float(p),))
        if link is not None:
            for q in places[a + 1 :]:
                if q - p >= shortest:
                    yield met((link,), (float(p), float(q)))


def _dictionary(part: Blocks, inside: Stretch, blur: float, price: Prices) -> _Shapes:
    """Spikes (of a curvature only) and bumps at places within a stretch and a little beyond."""
    s = price.shortest
    lo, hi = inside[0] - s, inside[1] + s
    order: Literal[1, 2] = 2 if price.spikes else 1
    spots = np.arange(lo, hi, 0.2 * s) if price.spikes else np.zeros(0)
    bumps = [Bump(float(p), f * s, order) for f in _SIGMAS for p in np.arange(lo, hi, min(0.4, f) * s)]
    columns = np.hstack([spike_means(spots, part.edge, blur)[0], bump_means(bumps, part.edge, blur)[0]])
    at = np.concatenate([spots, [b.at for b in bumps]])
    sigma = np.concatenate([np.zeros(len(spots)), [b.sigma for b in bumps]])
    return _Shapes(at, sigma, columns * np.sqrt(part.weight)[:, None])


def _most_hopeful(part: Blocks, ways: list[Outline], inside: Stretch, blur: float, price: Prices) -> list[Outline]:
    """For each sort of meeting and of shape the best by linear least squares, the most hopeful ones first."""
    seen = as_seen(part, replace(ways[0], spikes=(), bumps=()), blur)
    shapes = _dictionary(seen, inside, blur, price)
    square = np.einsum("np,np->p", shapes.columns, shapes.columns)
    best: dict[tuple[tuple[Kind, ...], str], tuple[float, Outline]] = {}

    def note(score: float, sort: str, outline: Outline) -> None:
        key = (outline.kinds, sort)
        if key not in best or score < best[key][0]:
            best[key] = (score, outline)

    for way in ways:
        chi2, gain, height = _gains(seen, way, shapes, square, blur)
        cost = price_of(way, part, price, blur)
        note(chi2 + cost, "bare", way)
        for sort, price_of_it in (("spike", price.spike), ("bump", price.bump)):
            these = np.flatnonzero((shapes.sigma > 0) == (sort == "bump"))
            if len(these):
                k = int(these[np.argmax(gain[these])])
                if gain[k] > price_of_it:
                    shaped = _with_shape(way, shapes, k, float(height[k]), seen, blur, price)
                    note(chi2 - float(gain[k]) + cost + price_of_it, sort, shaped)
    ranked = sorted(best.values(), key=lambda pair: pair[0])
    tries = [outline for score, outline in ranked[:_MOST] if score < ranked[0][0] + _HOPEFUL + 0.3 * abs(ranked[0][0])]
    return tries + _gapped([ways[0], tries[0]], inside, price)


def _gapped(outlines: list[Outline], inside: Stretch, price: Prices) -> list[Outline]:
    """Outlines with the stretch left open, in case no shape fits."""
    out = []
    if inside[1] - inside[0] <= price.longest_gap:
        for w in outlines:
            bare = _bare(w, *inside)
            out.append(replace(bare, gaps=(*bare.gaps, Gap(*inside))))
            if price.spikes:
                out.append(replace(bare, gaps=(*bare.gaps, Gap(*inside, False))))
    return out


def _gains(seen: Blocks, way: Outline, shapes: _Shapes, square: Floats, blur: float) -> tuple[float, Floats, Floats]:
    """Chi-square of a way to meet, how much each shape lowers it, and the height that it has then."""
    root = np.sqrt(seen.weight)
    stones = basis(way.at, seen.edge, blur)
    left, right, levels = picks(way)
    columns = [(stones.fall @ left + stones.rise @ right)[:, :levels]]
    if way.spikes:
        columns.append(spike_means(np.array([s.at for s in way.spikes]), seen.edge, blur)[0])
    if way.bumps:
        columns.append(bump_means(way.bumps, seen.edge, blur)[0])
    q = np.linalg.qr(np.hstack(columns) * root[:, None])[0]
    r = seen.y * root
    r = r - q @ (q.T @ r)
    on_levels = q.T @ shapes.columns
    free = square - np.einsum("kp,kp->p", on_levels, on_levels)
    along = shapes.columns.T @ r
    good = free > _HIDDEN * square
    height = np.divide(along, free, out=np.zeros(len(free)), where=good)
    return float(r @ r), np.asarray(height * along), height


def _with_shape(
    way: Outline, shapes: _Shapes, k: int, height: float, seen: Blocks, blur: float, price: Prices
) -> Outline:
    at, sigma = float(shapes.at[k]), float(shapes.sigma[k])
    width = float(np.median(np.diff(seen.edge)))
    if sigma == 0.0:
        soft = (_SPIKE_MISFIT * height / max(blur, width)) ** 2
        return replace(way, spikes=(*way.spikes, Spike(at, soft, _REACH * price.shortest)))
    bump = Bump(at, sigma, 2 if price.spikes else 1)
    column = bump_means([bump], seen.edge, blur)[0][:, 0]
    near = touched(seen.edge, at - bump.reach, at + bump.reach)
    rms = float(np.sqrt(np.mean(column[near] ** 2))) if near.any() else 0.0
    return replace(way, bumps=(*way.bumps, replace(bump, soft=(_BUMP_MISFIT * height * rms) ** 2)))
