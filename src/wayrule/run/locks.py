"""A wheel that stood while the wagon went on, however long: found by the two jerks that nobody felt."""

import numpy as np
from numpy.typing import NDArray

from wayrule.model import BodyImu
from wayrule.model.arrays import Array
from wayrule.run.ahead import BESIDE_S, FOUND_TIMES, Ahead, ahead_of, odd, path_sd_mm, speed_lost

STILL_SHARE, BEGAN_SHARE, FELT_SHARE = 0.1, 0.3, 0.6
"""A wheel is locked that stands (below the first share of the usual speed) between two sudden changes of its own speed:
from, and to, more than the second share of the usual, of which the body felt less than what the third leaves. Our
choice: a wagon that stops feels all of it, one whose wheel locks nothing."""

SUDDEN_S = 0.04
"""Such a change is over within so long: two blocks, as the wheel's speed is taken over them."""

SMEARED_S = 0.25
"""The wheel's speed is taken over windows up to twice as long (`run.speed`)."""

SHORTEST_LOCK_S, LONGEST_LOCK_S = 0.3, 20.0
"""From where on a standing wheel is looked at by itself, and up to where: over 20 s, 2 m at a slow pull, the sd of the
path missed is as large as the path (our choice)."""

TRIED, LEAST_TRIED = 60, 8
"""How many stretches as long as a lock, in which the wheel rolled, are tried at most; fewer than the second tell
nothing."""


def locks(
    t_s: Array,
    distance_mm: Array,
    v_mm_s: Array,
    imu: BodyImu,
    state: NDArray[np.int8],
    spoilt: NDArray[np.bool_],
) -> tuple[tuple[float, float], ...]:
    """When the wheel stood while the wagon went on, however long: (first, last) [s] of each time.

    Parameters
    ----------
    as of `slides`; spoilt without the hands on a standing wagon, since a locked wheel looks like a standing wagon
    """
    ahead = ahead_of(t_s, distance_mm, v_mm_s, imu, state, spoilt)
    if ahead is None:
        return ()
    t, wheel = ahead.t_s, ahead.wheel_mm_s
    step = float(np.median(np.diff(t)))
    near, beside = odd(SUDDEN_S / step), max(2, round(BESIDE_S / step))
    edge = np.flatnonzero(
        np.diff(np.concatenate(([False], np.abs(wheel) < STILL_SHARE * ahead.usual_mm_s, [False])).astype(np.int8))
    )
    out = []
    for a, b in zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True):
        if not SHORTEST_LOCK_S < t[b - 1] - t[a] < LONGEST_LOCK_S or a < near + beside or b + near + beside > len(t):
            continue
        sudden = (
            _unfelt(ahead, slice(a - near - beside, a - near), slice(a + near, a + near + beside)),
            _unfelt(ahead, slice(b + near, b + near + beside), slice(b - near - beside, b - near)),
        )
        if all(sudden):
            out.append((float(t[a - near]), float(t[b - 1 + near])))
    return tuple(out)


def carried(t_s: Array, v_mm_s: Array, locked: tuple[tuple[float, float], ...]) -> Array:
    """(n,) speed by the wheel, carried evenly across the times when it was locked: curves push the wagon sideways then
    as ever."""
    good = np.ones(len(t_s), dtype=bool)
    for first, last in locked:
        good[(t_s >= first - SMEARED_S) & (t_s <= last + SMEARED_S)] = False
    return np.interp(t_s, t_s[good], v_mm_s[good]) if locked and good.any() else v_mm_s


def _unfelt(ahead: Ahead, going: slice, standing: slice) -> bool:
    """Whether the wheel's speed changed between going and standing while the body's did not."""
    v = float(ahead.wheel_mm_s[going].mean())
    jump = float(ahead.all_mm_s[going].mean() - ahead.all_mm_s[standing].mean())
    whole = slice(min(going.start, standing.start), max(going.stop, standing.stop))
    return bool(
        abs(v) > BEGAN_SHARE * ahead.usual_mm_s
        and jump * np.sign(v) > max(FELT_SHARE * abs(v), FOUND_TIMES * ahead.sd_mm_s)
        and ahead.usable[whole].all()
    )


def steadied(ahead: Ahead, a: int, b: int, lost_mm_s: Array) -> tuple[Array, float]:
    """(b - a,) speed that a wheel missed which was locked for long, and the sd of the path.

    The accelerometer drifts over seconds, while a pull may be even: the body's speed by the accelerometer and the line
    between the speeds before and after are both tried on stretches as long in which the wheel rolled, and weighted by
    how far each missed its path there.
    """
    wheel, width = ahead.wheel_mm_s, b - a
    beside = max(2, round(BESIDE_S / float(np.median(np.diff(ahead.t_s)))))
    line = np.linspace(wheel[a - beside : a].mean(), wheel[b : b + beside].mean(), width)
    good = ahead.usable & (np.abs(wheel) > BEGAN_SHARE * ahead.usual_mm_s)
    inside = np.concatenate(([0], np.cumsum(good)))
    whole = width + 2 * beside
    starts = np.flatnonzero(inside[whole:] - inside[:-whole] == whole) + beside
    missed = []
    for i in starts[:: max(1, len(starts) // TRIED)].tolist():
        by_force = speed_lost(ahead, i, i + width, LONGEST_LOCK_S)
        even = np.linspace(wheel[i - beside : i].mean(), wheel[i + width : i + width + beside].mean(), width)
        if by_force is not None:
            missed.append((by_force.mean(), (even - wheel[i : i + width]).mean()))
    if len(missed) < LEAST_TRIED:
        return lost_mm_s, path_sd_mm(ahead, a, b)
    force, even_pull = np.sqrt(np.mean(np.square(missed), axis=0))
    share = even_pull**2 / (force**2 + even_pull**2)
    sd = float(ahead.t_s[b - 1] - ahead.t_s[a]) * force * even_pull / float(np.hypot(force, even_pull))
    return share * lost_mm_s + (1.0 - share) * (line - wheel[a:b]), float(np.hypot(sd, path_sd_mm(ahead, a, a + 1)))
