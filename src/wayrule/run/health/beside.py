"""The wheel beside the inertial sensor over half seconds: one says that the wagon moves, the other that it stands.

This needs no sudden change of speed, as slides and locks do, and so sees a wheel that jammed before the wagon stopped,
or one that is turned by a finger; it knows only that something is wrong, not how far.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model import State
from wayrule.model.arrays import Array
from wayrule.run.health.seen import Seen
from wayrule.run.mishaps import within

BLOCK_S = 0.5
"""Shaking is judged over so long."""

LEAST_BLOCKS = 3
"""So many blocks in a row disagree at least, 1.5 s (starts and stops last less); as many are asked of rest and of
rolling each, to know how both look."""

STILL_SHARE, ROLLS_SHARE = 0.05, 0.3
"""The wheel stands below the first share of the usual speed, and turns beyond the second."""

LEAST_CONTRAST = 2.5
"""Rolling must shake so many times as much as rest, or nothing can be told by it."""

QUIET_TIMES = 1.25
"""At rest the shaking of a block stays below so many times the usual."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Where wheel and inertial sensor disagree: (first, last) [s] of each stretch.

    still      the wheel stands, the wagon shakes as when it rolls
    turning    the wheel turns, the wagon is as quiet as at rest
    known      whether it could be told at all; why not, as the rest of a sentence
    """

    still: tuple[tuple[float, float], ...] = ()
    turning: tuple[tuple[float, float], ...] = ()
    known: bool = True
    why: str = ""


def disagreements(seen: Seen) -> Beside:
    """Where they disagree, mishaps that are known already left out."""
    travel = seen.travel
    if travel is None or travel.imu is None or travel.imu.acc_mm_s2 is None:
        return Beside(known=False, why="")
    per_block = max(4, round(BLOCK_S / float(np.median(np.diff(travel.t_s)))))
    blocks = len(travel.t_s) // per_block
    if blocks < 2 * LEAST_BLOCKS:
        return Beside(known=False, why=", as far as so short a time tells")
    whole = slice(0, blocks * per_block)
    t = travel.t_s[whole].reshape(blocks, per_block)
    v = np.abs(travel.speed_mm_s[whole]).reshape(blocks, per_block)
    state = travel.state[whole].reshape(blocks, per_block)
    shaking = _shaking(travel.imu.acc_mm_s2[whole], blocks, per_block)
    befallen = within(travel.t_s, travel.mishaps)[whole].reshape(blocks, per_block).any(axis=1)
    clear = ~befallen & np.isfinite(shaking)
    resting, rolling = (clear & np.all(state == what, axis=1) for what in (State.STANDING, State.ROLLING))
    if min(resting.sum(), rolling.sum()) < LEAST_BLOCKS:
        return Beside(known=False, why=", as far as a run without rest or without rolling tells")
    usual = float(np.median(v[rolling]))
    rest, roll = float(np.median(shaking[resting])), float(np.median(shaking[rolling]))
    if roll < LEAST_CONTRAST * rest:
        return Beside(known=False, why=", as far as so smooth a run tells")
    between = float(np.sqrt(rest * roll))
    still = clear & (v.max(axis=1) < STILL_SHARE * usual) & (shaking > between)
    turning = clear & (v.min(axis=1) > ROLLS_SHARE * usual) & (shaking < QUIET_TIMES * rest)
    return Beside(_stretches(t, still), _stretches(t, turning))


def _shaking(force_mm_s2: Array, blocks: int, per_block: int) -> Array:
    """(blocks,) rms over the axes of what differs from sample to sample in each block; NaN where most is missing."""
    bent = np.diff(force_mm_s2.reshape(blocks, per_block, 3), n=2, axis=1) ** 2
    seen: NDArray[np.bool_] = np.all(np.isfinite(bent), axis=2)
    sums = np.where(seen[:, :, None], bent, 0.0).sum(axis=(1, 2))
    count = seen.sum(axis=1)
    return np.where(count >= per_block // 2, np.sqrt(sums / np.maximum(count, 1) / 6.0), np.nan)


def _stretches(t: Array, which: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """(first, last) of the stretches of at least `LEAST_BLOCKS` blocks."""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], which, [False])).astype(np.int8)))
    spans = zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True)
    return tuple((float(t[a, 0]), float(t[b - 1, -1])) for a, b in spans if b - a >= LEAST_BLOCKS)
