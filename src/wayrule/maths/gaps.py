"""Stretches that no piece explains: what may be hidden in them, and which explanation scores best."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from wayrule.maths.judge import LOCAL_STEPS, Prices, best_of, put_back, usable, window_of
from wayrule.maths.outlinefit import Fit, fit
from wayrule.maths.piecewise import Blocks, Gap, Outline, Spike, softened, touched

_STEP_MISFIT: Final = 0.08
"""The same for a step, where it is asked whether there is a spike beside it: a blur a little off looks like one."""

_SPIKE_MISFIT: Final = 0.2
"""A spike is taken to be blurred as the model has it to within this part of its height."""

Stretch = tuple[float, float]
"""A gap from start to stop, or a spike twice at its place."""


def explain_gaps(blocks: Blocks, outline: Outline, blur: float, price: Prices) -> Outline:
    """Each gap given the explanation that scores best: none needed, a wiggle, a spike, or it stays unexplained."""
    for gap in outline.gaps:
        better = explained(blocks, outline, (gap.start, gap.stop), blur, price)
        if better is not None:
            outline = better
    return outline


def explained(blocks: Blocks, outline: Outline, place: Stretch, blur: float, price: Prices) -> Outline | None:
    """The outline with the gap or spike at a place explained otherwise, when that pays."""
    i = int(np.clip(np.searchsorted(outline.at, 0.5 * (place[0] + place[1])) - 1, 0, len(outline.kinds) - 1))
    first, last = max(i - 2, 0), min(i + 3, len(outline.kinds))
    part, window = window_of(blocks, outline, first, last, blur)
    if not usable(part):
        return None
    opened = _opened(window, place, blur)
    found = fit(part, opened, blur, shortest=price.shortest, steps=LOCAL_STEPS, sds=False)
    jump = np.where([k == "ramp" for k in window.kinds], np.nan, 0.0)
    jump = np.nan_to_num(found.right[:-1] - found.left[1:] + jump[:-1] + jump[1:])
    part = softened(part, found.outline.at[1:-1], (_STEP_MISFIT * jump) ** 2, blur)
    new = best_of(part, window, _explanations(part, window, found, place, blur, price), blur, price)
    return None if new is None else put_back(outline, window, new, first, last)


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
