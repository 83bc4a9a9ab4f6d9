"""What became of each finding of a judgement: the same rule at the same place, before and after."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wayrule.model import Finding, FindingFate, Registered, Stations
from wayrule.track.compare.register import laid_of

NEAR_BASES: Final = 1.0
"""Findings of one rule whose stretches lie so near each other are one."""

GRAVE: Final = {"fail": 3, "cannot_tell": 2, "near": 1, "pass": 0}


def finding_fates(
    before: Sequence[Finding], after: Sequence[Finding], earlier: Stations, later: Stations, registered: Registered
) -> tuple[FindingFate, ...]:
    """Findings of the earlier survey with what the later one says there, then the new ones; passes alone are left out.

    Parameters
    ----------
    before, after : findings of both surveys, by the same rules
    """
    laid = laid_of(registered)
    ring = earlier.length_mm if earlier.closed else None
    reach = NEAR_BASES * max(earlier.wheelbase_mm, later.wheelbase_mm)
    moved = [(sorted((laid.earlier(f.s0_mm), laid.earlier(f.s1_mm))), laid.earlier(f.s_mm), f) for f in after]
    low, high = (-np.inf, np.inf) if ring else (earlier.s_mm[0] - reach, earlier.s_mm[-1] + reach)
    out: list[FindingFate] = []
    used: set[int] = set()
    for one in before:
        found = [
            (abs(GRAVE[f.verdict] - 3), index)
            for index, ((s0, s1), _, f) in enumerate(moved)
            if f.rule == one.rule and _gap(one.s0_mm, one.s1_mm, s0, s1, ring) <= reach
        ]
        used |= {index for _, index in found}
        two = moved[min(found)[1]][2] if found else None  # the gravest there
        if GRAVE[one.verdict] or (two is not None and GRAVE[two.verdict]):
            out.append(_fate(one, two, one.s_mm))
    for index, (_, s, f) in enumerate(moved):
        if index not in used and GRAVE[f.verdict] and low <= s <= high:
            out.append(_fate(None, f, s % ring if ring else s))
    return tuple(sorted(out, key=lambda fate: fate.s_mm))


def _gap(a0: float, a1: float, b0: float, b1: float, ring: float | None) -> float:
    """Between two stretches [mm]; 0 where they overlap; the short way round a ring."""
    laps = (-1, 0, 1) if ring else (0,)
    middle = ring * round((0.5 * (a0 + a1) - 0.5 * (b0 + b1)) / ring) if ring else 0.0
    return min(max(b0 + middle + k * (ring or 0.0) - a1, a0 - b1 - middle - k * (ring or 0.0), 0.0) for k in laps)


def _fate(one: Finding | None, two: Finding | None, s_mm: float) -> FindingFate:
    was = GRAVE[one.verdict] if one is not None else 0
    now = GRAVE[two.verdict] if two is not None else 0
    change, sd = float("nan"), float("nan")
    if one is not None and two is not None:
        change, sd = two.size - one.size, float(np.hypot(one.sd, two.sd))
    if not now:
        return FindingFate("gone", one, two, s_mm, change, sd)
    if not was:
        return FindingFate("new", one, two, s_mm, change, sd)
    return FindingFate("same" if now == was else "smaller" if now < was else "larger", one, two, s_mm, change, sd)
