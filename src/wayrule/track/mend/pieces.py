"""What a target line is made of: the surveyed pieces, with a curve of its own where a kink has to be eased."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from wayrule.model import Baseboard, Element, Fault, Stations
from wayrule.units import DEG

EASE_WHEELBASES: Final = 6.0
"""A kink cannot be lined away: its turn is spread over so many wheelbases (390 mm in HO, where 1 deg becomes a radius
of 22 m and is slewed by 0.9 mm at most). Over less a survey still tells it as a kink or a bend. Our choice, tried."""

JOINT_WHEELBASES: Final = 1.5
"""Ends of pieces so near a joint between boards are taken for the joint's step, and the design for smooth there."""

SOFT_WHEELBASES: Final = 12.0
"""Pieces longer than this (0.8 m in HO) are divided, so that a slow bow, which nobody sees and a survey hardly knows,
is no reason to move metres of good track."""


Free = Literal["nothing", "level", "ramp", "eased"]


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of the target from a to b.

    first, last   curvature (plan) or gradient (profile) at its ends, as surveyed: the reference it is measured from
    free          straight and grade: nothing; arc: its curvature; ramp: both ends, one with its neighbours;
                  eased: one curvature more along all of it, whatever it was before
    goes_on       the second half of a piece that was divided: see `divided`
    """

    a: float
    b: float
    first: float
    last: float
    free: Free
    goes_on: bool = False


def plan_parts(stations: Stations, elements: Sequence[Element], faults: Sequence[Fault]) -> tuple[Part, ...]:
    """Parts of the plan, from the first station to the last (or once round)."""
    kinds: dict[str, Free] = {"straight": "nothing", "arc": "level"}
    parts = [
        Part(e.s0_mm, e.s1_mm, e.curvature0_1_mm, e.curvature1_1_mm, kinds.get(e.kind, "ramp"))
        for e in sorted((e for e in elements if e.plane == "plan"), key=lambda e: e.s0_mm)
    ]
    if not parts:
        return ()
    parts = spanned(parts, *reach(stations), closed=stations.closed)
    half = 0.5 * EASE_WHEELBASES * stations.wheelbase_mm
    for fault in faults:
        if fault.kind == "kink":
            parts = eased(parts, fault.s_mm - half, fault.s_mm + half, fault.size * DEG)
    return divided(parts, stations.wheelbase_mm)


def profile_parts(
    stations: Stations, elements: Sequence[Element], boards: Sequence[Baseboard] = ()
) -> tuple[Part, ...]:
    """Parts of the profile. Vertical curves bend as one; two grades that meet without one get one."""
    base = stations.wheelbase_mm
    found = sorted((e for e in elements if e.plane == "profile"), key=lambda e: e.s0_mm)
    if not found:
        return ()
    parts = spanned(
        [
            Part(e.s0_mm, e.s1_mm, e.gradient0, e.gradient1, "level" if e.kind == "vertical_curve" else "nothing")
            for e in found
        ],
        *reach(stations),
        closed=stations.closed,
    )
    joints = sorted({s for board in boards for s in (board.s0_mm, board.s1_mm)})
    parts = _smooth_at(parts, joints, JOINT_WHEELBASES * base)
    for before, after in pairwise(tuple(parts)):
        if before.free == after.free == "nothing" and before.last != after.first:
            parts = bent(parts, after.a, base)
    return divided(parts, base)


def reach(stations: Stations) -> tuple[float, float]:
    """From where to where the line goes [mm]."""
    return float(stations.s_mm[0]), stations.length_mm if stations.closed else float(stations.s_mm[-1])


def spanned(parts: list[Part], start: float, stop: float, *, closed: bool) -> list[Part]:
    """The same parts from start to stop without holes; one that goes over the seam of a ring is cut in two."""
    if (closed and parts[-1].b > stop + 1e-6) or parts[0].a < start - 1e-6:
        span = stop - start
        parts = sorted(
            (Part(p.a + k, p.b + k, p.first, p.last, p.free) for p in parts for k in (-span, 0.0, span)),
            key=lambda p: p.a,
        )
    inside = [cut(p, max(p.a, start), min(p.b, stop)) for p in parts if min(p.b, stop) - max(p.a, start) > 1e-6]
    if not inside:
        return []
    out: list[Part] = []
    for p in inside:
        at = out[-1].b if out else start
        out.append(Part(at, p.b, p.first, p.last, p.free))
    out[-1] = Part(out[-1].a, stop, out[-1].first, out[-1].last, out[-1].free)
    return out


def divided(parts: Sequence[Part], wheelbase_mm: float) -> tuple[Part, ...]:
    """Long straights, arcs and grades in halves, which may bend against each other by what nobody sees."""
    out = []
    for p in parts:
        count = 1 if p.free == "ramp" else max(1, round((p.b - p.a) / (SOFT_WHEELBASES * wheelbase_mm)))
        ends = np.linspace(p.a, p.b, count + 1).tolist()
        for i in range(count):
            part = cut(p, ends[i], ends[i + 1])
            out.append(Part(part.a, part.b, part.first, part.last, part.free, goes_on=i > 0))
    return tuple(out)


def cut(p: Part, a: float, b: float) -> Part:
    """Part of a part.

    >>> cut(Part(0.0, 100.0, 0.0, 0.002, "ramp"), 50.0, 100.0).first
    0.001
    """

    def at(s: float) -> float:
        return p.first + (p.last - p.first) * (s - p.a) / (p.b - p.a)

    return Part(a, b, at(a), at(b), p.free)


def eased(parts: Sequence[Part], a: float, b: float, turn_rad: float) -> list[Part]:
    """The parts, which turn by so much more from a to b: a kink spread over a curve of its own."""
    a, b = max(a, parts[0].a), min(b, parts[-1].b)
    more = turn_rad / (b - a)
    out: list[Part] = []
    for p in parts:
        ends = sorted({p.a, p.b, *(s for s in (a, b) if p.a + 1.0 < s < p.b - 1.0)})
        for start, stop in pairwise(ends):
            part = cut(p, start, stop)
            inside = a <= 0.5 * (start + stop) <= b
            out.append(Part(start, stop, part.first + more, part.last + more, "eased") if inside else part)
    return out


def bent(parts: Sequence[Part], at: float, half: float) -> list[Part]:
    """The parts with a vertical curve of its own where two grades meet."""
    out: list[Part] = []
    for p in parts:
        room = min(half, 0.4 * (p.b - p.a))
        if p.a == at:
            before = out[-1]
            a = max(at - half, 0.5 * (before.a + before.b))
            out[-1] = cut(before, before.a, a)
            out.append(Part(a, at + room, before.last, p.first, "level"))
            p = cut(p, at + room, p.b)
        out.append(p)
    return out


def _smooth_at(parts: list[Part], joints: Sequence[float], near: float) -> list[Part]:
    """Parts without ends near a joint of boards, but for the joint itself when the grade changes there."""
    if not joints:
        return parts
    place = np.asarray(joints)
    kept = [p for p in parts if not any(p.a > j - near and p.b < j + near for j in joints)]
    out: list[Part] = []
    for p in kept:
        a, b = (float(place[np.argmin(abs(place - s))]) if np.min(abs(place - s)) < near else s for s in (p.a, p.b))
        out.append(Part(a, b, p.first, p.last, p.free))
    out[0] = Part(parts[0].a, out[0].b, out[0].first, out[0].last, out[0].free)
    out = [Part(p.a, n.a, p.first, p.last, p.free) for p, n in pairwise(out)] + [
        Part(out[-1].a, parts[-1].b, out[-1].first, out[-1].last, out[-1].free)
    ]
    return [p for p in out if p.b - p.a > 1e-6]
