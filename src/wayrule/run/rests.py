"""Where a sensor that is moved by hand lay still, and what it read there; no wheel is asked."""

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.model import Recording
from wayrule.model.arrays import Array
from wayrule.model.inertial import Rest
from wayrule.run.bias import mean_sd
from wayrule.run.state import QUIET_FORCE_MM_S2, QUIET_RATE_RAD_S

BLOCK_S = 0.25
"""Stillness is judged by means over such blocks."""
LEAST_S = 1.0
"""A rest is at least so long, a block at either end apart, where the hand may still be on it."""
SHORT_S = 0.5
"""... but where nothing else was to be recorded so much of it is enough."""
SETTLED_MM_S2 = 30.0
"""From block to block the force at rest changes by less than this (3 mg: a tilt of 0.2 deg) and its noise."""


OFFSET_PER_DENSITY, LEAST_OFFSET_MM_S2 = 3.0, 2.0
"""How far an accelerometer's offset moves between two rests, over its noise density [sqrt(Hz)], and at least (0.2 mg):
switched on again, warmed in the hand, laid on another side (common practice, no source)."""


def force_sd(rest: Rest) -> Array:
    """(3,) how well a rest's mean force stands for the sensor on that day [mm/s2]: noise, and how the offset moves.

    >>> still = Rest("a", "", 0.0, 8.0, np.zeros(3), np.zeros(3), np.zeros(3), np.array([0.1, 1.0, 1.0]))
    >>> force_sd(still).round(2).tolist()
    [2.0, 12.04, 12.04]
    """
    density = rest.force_sd_mm_s2 * np.sqrt(2.0 * rest.seconds)
    return np.asarray(np.hypot(rest.force_sd_mm_s2, np.maximum(OFFSET_PER_DENSITY * density, LEAST_OFFSET_MM_S2)))


def rests(recording: Recording, *, least_s: float = LEAST_S) -> tuple[Rest, ...]:
    """Every rest of a recording that lasts `least_s` and more, in order; none where it never lies still.

    Notes
    -----
    The force of a still block stays within `SETTLED_MM_S2` of its neighbours; among such blocks the median of the gyro
    is its bias (what is moved by hand lies still for longer than it turns evenly about the upright), and blocks that
    turn beside it by more than half a degree a second are no rest either.

    Examples
    --------
    >>> rng, t = np.random.default_rng(1), np.arange(4000) * 0.005
    >>> force = np.where((t < 8.0)[:, None], [0.0, 0.0, 9806.65], [0.0, 9806.65, 0.0]) + rng.normal(0, 9.0, (4000, 3))
    >>> moved = Recording("moved", t, gyro_rad_s=rng.normal(0.0, 1e-3, (4000, 3)), acc_mm_s2=force)
    >>> [(round(r.start_s, 2), round(r.seconds, 2)) for r in rests(moved)]
    [(0.25, 7.25), (8.5, 11.25)]
    """
    blocks = _blocks(recording)
    out = []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], blocks.still, [False]]).astype(np.int8)))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        a, b = np.searchsorted(blocks.number, [first + 1, end - 1])
        if b - a >= 8 and (end - first - 2) * BLOCK_S >= least_s:
            out.append(_rest(recording, int(a), int(b)))
    return tuple(out)


def rest(recording: Recording) -> Rest:
    """The longest rest of a recording that was to be one.

    Raises
    ------
    UndeterminedError   where it lies still for less than half of its time
    """
    found = max(rests(recording, least_s=SHORT_S), key=lambda one: one.seconds, default=None)
    length = float(recording.t_s[-1] - recording.t_s[0]) if recording.n else 0.0
    if found is None or found.seconds < 0.5 * (length - 4 * BLOCK_S):
        raise UndeterminedError(
            expected="a sensor at rest throughout",
            came=f"{found.seconds if found else 0.0:.1f} s of rest in {length:.1f} s",
            where=recording.name,
            next_step="let it lie untouched for ten seconds while it records",
        )
    return found


class _Blocks:
    """Means over blocks: number (n,) of each sample's block, still (b,)."""

    def __init__(self, number: NDArray[np.int64], still: NDArray[np.bool_]) -> None:
        self.number, self.still = number, still


def _blocks(recording: Recording) -> _Blocks:
    number = (
        np.floor((recording.t_s - recording.t_s[0]) / BLOCK_S).astype(np.int64) if recording.n else np.zeros(0, int)
    )
    size = int(number[-1]) + 1 if recording.n else 0
    still = np.ones(size, dtype=bool)
    force, rate = recording.acc_mm_s2, recording.gyro_rad_s
    if (force is None and rate is None) or size < 3:
        return _Blocks(number, np.zeros(size, dtype=bool))
    if force is not None:
        mean, scatter, count = _means(number, force, size)
        noise = 4.0 * np.nanmedian(scatter, axis=0) / np.sqrt(np.maximum(count, 1.0))[:, None]
        step = np.abs(np.diff(mean, axis=0)) - noise[1:] - noise[:-1]
        calm = (step < SETTLED_MM_S2).all(axis=1)
        still &= np.append(True, calm) & np.append(calm, True)
        still &= (scatter < QUIET_FORCE_MM_S2 / 3 + 4.0 * np.nanmedian(scatter[still], axis=0)).all(axis=1)
    if rate is not None and still.any():
        mean, scatter, count = _means(number, rate, size)
        noise = 4.0 * np.nanmedian(scatter[still], axis=0) / np.sqrt(np.maximum(count, 1.0))[:, None]
        still &= (np.abs(mean - np.nanmedian(mean[still], axis=0)) < QUIET_RATE_RAD_S + noise).all(axis=1)
    return _Blocks(number, still)


def _means(number: NDArray[np.int64], values: Array, size: int) -> tuple[Array, Array, Array]:
    """(b, 3) mean and scatter of each block, and how many whole rows it has (b,); NaN for an empty block."""
    good = np.isfinite(values).all(axis=1)
    count = np.bincount(number[good], minlength=size).astype(np.float64)
    middle = values[good].mean(axis=0) if good.any() else np.zeros(3)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.stack([np.bincount(number[good], c, size) / count for c in (values[good] - middle).T], axis=1)
        square = np.stack([np.bincount(number[good], c**2, size) / count for c in (values[good] - middle).T], axis=1)
    return mean + middle, np.sqrt(np.maximum(square - mean**2, 0.0)), count


def _rest(recording: Recording, a: int, b: int) -> Rest:
    t = recording.t_s[a:b]
    parts: list[Array] = []
    for values in (recording.gyro_rad_s, recording.acc_mm_s2):
        rows = np.full((0, 3), np.nan) if values is None else values[a:b]
        good = np.isfinite(rows).all(axis=1)
        enough = int(good.sum()) >= 8
        parts += [rows[good].mean(axis=0), mean_sd(t[good], rows[good])] if enough else [np.full(3, np.nan)] * 2
    warm = np.full(1, np.nan) if recording.temp_c is None else recording.temp_c[a:b]
    warm = warm[np.isfinite(warm)]
    temp = float(warm.mean()) if len(warm) else float("nan")
    rate, rate_sd, force, force_sd = parts
    return Rest(
        recording.name, recording.sha256, float(t[0]), float(t[-1] - t[0]), rate, rate_sd, force, force_sd, temp
    )
