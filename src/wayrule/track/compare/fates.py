"""What became of each fault: measured at its place from the difference of both surveys, not from the lists alone."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from scipy.stats import norm

from wayrule.model import Difference, Fault, FaultFate, Registered, Surveyed
from wayrule.model.arrays import Array
from wayrule.model.comparison import Fate
from wayrule.track.compare.alike import fault_seen
from wayrule.track.compare.register import laid_of
from wayrule.units import DEG

REACH_BASES: Final = 2.5
"""A bump of up to four wheelbases is measured against what lies so many wheelbases to either side."""

NEAR_BASES: Final = 1.0
"""One fault, told by two surveys, lies within this of itself."""

FALSE_ALARM: Final = 0.05


class Contrast(NamedTuple):
    """What a kind of fault would change, at every place: against both sides; and how much that scatters."""

    s_mm: Array
    value: Array
    sd: float


def fates(
    before: Surveyed, after: Surveyed, found: Sequence[Difference], registered: Registered
) -> tuple[FaultFate, ...]:
    """Every fault of either survey, by chainage of the earlier one."""
    laid = laid_of(registered)
    ring = before.stations.length_mm if before.stations.closed else None
    base = max(before.stations.wheelbase_mm, after.stations.wheelbase_mm)
    low, high = (0.0, before.stations.length_mm) if ring else before.stations.s_mm[[0, -1]].tolist()
    later = []
    for fault in after.faults:
        s = laid.earlier(fault.s_mm)
        s = s % ring if ring else s
        if low - base <= s <= high + base:
            later.append(fault_seen(fault, s, registered.way))
    pairs = _paired(before.faults, later, NEAR_BASES * base, ring)
    by_name: dict[str, Difference] = {d.quantity: d for d in found}
    limit = float(norm.isf(FALSE_ALARM / (2 * max(len(pairs), 1))))
    told = [_fate(one, two, by_name, base, ring, limit) for one, two in pairs]
    return tuple(sorted((t for t in told if t is not None), key=lambda fate: fate.fault.s_mm))


def _paired(
    before: Sequence[Fault], after: Sequence[Fault], near_mm: float, ring: float | None
) -> list[tuple[Fault | None, Fault | None]]:
    """Faults of one kind and rail, the nearest first; the others alone."""
    far = [
        (gap, i, j)
        for i, one in enumerate(before)
        for j, two in enumerate(after)
        if (one.kind, one.rail) == (two.kind, two.rail) and (gap := _gap(one.s_mm, two.s_mm, ring)) <= near_mm
    ]
    taken: list[tuple[int, int]] = []
    for _, i, j in sorted(far):
        if i not in [t[0] for t in taken] and j not in [t[1] for t in taken]:
            taken.append((i, j))
    pairs: list[tuple[Fault | None, Fault | None]] = [(before[i], after[j]) for i, j in taken]
    pairs += [(one, None) for i, one in enumerate(before) if i not in [t[0] for t in taken]]
    return pairs + [(None, two) for j, two in enumerate(after) if j not in [t[1] for t in taken]]


def _gap(a: float, b: float, ring: float | None) -> float:
    gap = abs(a - b)
    return min(gap % ring, ring - gap % ring) if ring else gap


def _fate(
    one: Fault | None, two: Fault | None, found: Mapping[str, Difference], base: float, ring: float | None, limit: float
) -> FaultFate | None:
    fault = one or two
    assert fault is not None
    change, sd = measured(fault, found, base, ring)
    if not np.isfinite(change):
        if one is None or two is None:
            return None  # beyond what both surveys cover
        change, sd = two.size - one.size, float(np.hypot(one.sd, two.sd))
    growth = change * np.sign(fault.size)
    sure = abs(change) > limit * sd
    fate: Fate
    if one is not None and two is not None:
        fate = ("larger" if growth > 0 else "smaller") if sure else "same"
    elif one is not None:
        fate = "gone" if sure and growth < 0 else "not told"
    else:
        fate = "new" if sure and growth > 0 else "newly told"
    return FaultFate(fate, one, two, change, sd)


def measured(fault: Fault, found: Mapping[str, Difference], base: float, ring: float | None) -> tuple[float, float]:
    """(change of a fault's size, sd) at its place, in its unit; NaN where both surveys do not know it.

    Notes
    -----
    The sd is the robust scatter of the same contrast all along the line, where most of the track is as it was, so that
    it holds however the surveys' errors go together.
    """
    contrast = contrast_of(fault, found, base, ring)
    if contrast is None:
        return float("nan"), float("nan")
    s = contrast.s_mm
    gap = np.abs(s - fault.s_mm)
    near = int(np.argmin(np.minimum(gap, ring - gap) if ring else gap))
    if gap[near] > base and not ring:
        return float("nan"), float("nan")
    return float(contrast.value[near]), contrast.sd


def contrast_of(fault: Fault, found: Mapping[str, Difference], base: float, ring: float | None) -> Contrast | None:
    """The difference that a change of this fault's size makes, at every place."""
    if fault.kind == "kink":
        curvature = found.get("curvature")
        if curvature is None:
            return None
        turn = np.nan_to_num(curvature.change)
        heading = np.r_[0.0, np.cumsum(0.5 * (turn[1:] + turn[:-1]) * np.diff(curvature.s_mm))]
        known = np.where(np.isfinite(curvature.change), heading / DEG, np.nan)
        return _contrast(curvature.s_mm, known, base, ring=None, step=True)
    name, sign = {
        "dip": ("height", -1.0),
        "hump": ("height", 1.0),
        "twist": ("cant", 1.0),
        "lateral": ("plan", 1.0),
        "one_rail_dip": ("cant", -1.0 if fault.rail == "left" else 1.0),
    }[fault.kind]
    difference = found.get(name)
    return None if difference is None else _contrast(difference.s_mm, sign * difference.change, base, ring=ring)


def _contrast(s: Array, value: Array, base: float, *, ring: float | None, step: bool = False) -> Contrast:
    """Value less the mean of both sides; for a step of heading, one side less the other."""
    reach = REACH_BASES * base if not step else 0.75 * base
    if ring:
        around = np.r_[s - ring, s, s + ring]
        behind, ahead = (np.interp(s + k * reach, around, np.tile(value, 3)) for k in (-1, 1))
    else:
        behind, ahead = (np.interp(s + k * reach, s, value, left=np.nan, right=np.nan) for k in (-1, 1))
    contrast = ahead - behind if step else value - 0.5 * (behind + ahead)
    held = np.abs(contrast[np.isfinite(contrast)])
    count = max(len(held) * abs(s[1] - s[0]) / base, 1.0) if len(s) > 1 else 1.0
    sd = float(1.4826 * np.median(held)) * (1.0 + 1.2 / count**0.5) if len(held) else float("nan")
    return Contrast(s, contrast, sd)
