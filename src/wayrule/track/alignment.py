"""The line that a survey's pieces make: end to end without kinks or gaps, fitted to the surveyed places.

The pieces know curvature, gradient and where they meet, each with its sigma; laid end to end they would drift off the
map. Least squares moves all of them, within those sigmas, until the chain lies on the stations; so the map holds, and
tangents stay common at every joint but where the survey found a kink.
"""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths import clothoid
from wayrule.model import Alignment, Element, GradePiece, PlanPiece, Stations, Surveyed
from wayrule.model.arrays import Array
from wayrule.units import DEG

MOST_POINTS: Final = 3000
PLACE_SD_MM: Final = 0.3
"""How well places follow the pieces at best: roughness that is no piece; own choice, below it nothing is gained."""

CLOSING_SD_MM: Final = 1e-4
ROUNDS: Final = 6


@dataclass(frozen=True, slots=True)
class Chain:
    """Joints (n + 1) and the values (curvature or gradient) at both ends of n pieces; what is free in them.

    group   (n, 2) which free value an end takes, -1: it is zero for good
    """

    joints: Array
    values: Array
    group: np.ndarray
    free: Array
    free_sd: Array
    joint_sd: Array

    def unknowns(self) -> Array:
        """Free values and inner joints, each in units of its sigma, as steps from what the survey says."""
        return np.zeros(len(self.free) + max(len(self.joints) - 2, 0))

    def moved(self, steps: Array) -> tuple[Array, Array]:
        """(joints, values at ends) after steps."""
        free = self.free + steps[: len(self.free)] * self.free_sd
        values = np.where(self.group >= 0, free[np.maximum(self.group, 0)], 0.0) if len(free) else self.values * 0.0
        joints = self.joints.copy()
        joints[1:-1] += steps[len(self.free) :] * self.joint_sd[1:-1]
        least = 1e-3 * np.min(np.diff(self.joints))
        return np.maximum.accumulate(joints + least * np.arange(len(joints))) - least * np.arange(len(joints)), values


def alignment_of(survey: Surveyed) -> Alignment:
    """The drawn line of a survey.

    Raises
    ------
    UndeterminedError   for a survey without pieces of plan, or without places
    """
    stations = survey.stations
    pieces = survey.pieces["plan"]
    known = np.isfinite(stations.x_mm) & np.isfinite(stations.y_mm)
    if not pieces or np.count_nonzero(known) < 3:
        raise UndeterminedError(
            expected="a survey with pieces of plan and places",
            came="no pieces" if not pieces else "no places",
            where=survey.name,
            next_step="survey the line with a gyro, over more than a few wheelbases",
        )
    kinks = [(fault.s_mm, fault.size * DEG) for fault in survey.faults if fault.kind == "kink"]
    plan = _plan(stations, pieces, kinks)
    start = float(plan[0])
    chain = tuple(_split(plan[1]))
    profile = _profile(stations, survey.pieces["profile"], start, start + sum(p.length_mm for p in chain))
    return Alignment(survey.name, start, chain, profile)


def places(alignment: Alignment, s_mm: Array) -> tuple[Array, Array, Array]:
    """x, y, heading of an alignment at chainages from its start to its end, each (n,)."""
    ends = alignment.s0_mm + np.cumsum([0.0] + [piece.length_mm for piece in alignment.plan])
    index = np.clip(np.searchsorted(ends, s_mm, side="right") - 1, 0, len(alignment.plan) - 1)
    out = np.full((3, len(s_mm)), np.nan)
    for i, piece in enumerate(alignment.plan):
        at = np.flatnonzero(index == i)
        if len(at):
            out[:, at] = traced(piece, np.clip(s_mm[at] - ends[i], 0.0, piece.length_mm))
    return out[0], out[1], out[2]


def curvatures(alignment: Alignment, s_mm: Array) -> Array:
    """(n,) curvature [1/mm] at chainages."""
    ends = alignment.s0_mm + np.cumsum([0.0] + [piece.length_mm for piece in alignment.plan])
    k = np.array([[p.curvature0_1_mm, p.curvature1_1_mm] for p in alignment.plan])
    return _value(ends, k, s_mm)


def heights(alignment: Alignment, s_mm: Array) -> tuple[Array, Array]:
    """z, gradient at chainages, each (n,); NaN where the profile says nothing."""
    z, gradient = np.full(len(s_mm), np.nan), np.full(len(s_mm), np.nan)
    for piece in alignment.profile:
        at = (s_mm >= piece.s0_mm - 1e-6) & (s_mm <= piece.s1_mm + 1e-6)
        u = s_mm[at] - piece.s0_mm
        rate = (piece.gradient1 - piece.gradient0) / max(piece.s1_mm - piece.s0_mm, 1e-9)
        z[at] = piece.z0_mm + piece.gradient0 * u + 0.5 * rate * u**2
        gradient[at] = piece.gradient0 + rate * u
    return z, gradient


def traced(piece: PlanPiece, u_mm: Array) -> Array:
    """(3, n) x, y, heading at `u_mm` from the start of a piece."""
    x, y, turn = clothoid.points(piece.curvature0_1_mm, piece.curvature1_1_mm, piece.length_mm, u_mm)
    c, s = np.cos(piece.heading0_rad), np.sin(piece.heading0_rad)
    return np.stack([piece.x0_mm + c * x - s * y, piece.y0_mm + s * x + c * y, piece.heading0_rad + turn])


def piece_from(x: float, y: float, heading: float, k0: float, k1: float, length: float) -> PlanPiece:
    """A piece by its start and curvatures.

    >>> one = piece_from(0.0, 0.0, 0.0, 0.01, 0.01, 50.0 * np.pi)
    >>> print(f"{one.x1_mm:.6f} {one.y1_mm:.6f} {one.kind}")
    100.000000 100.000000 arc
    """
    dx, dy, turn = clothoid.end(k0, k1, length)
    c, s = float(np.cos(heading)), float(np.sin(heading))
    return PlanPiece(x, y, heading, x + c * dx - s * dy, y + s * dx + c * dy, heading + turn, k0, k1, length)


def _plan(
    stations: Stations, pieces: Sequence[Element], kinks: Sequence[tuple[float, float]]
) -> tuple[float, list[PlanPiece]]:
    """(chainage of the start, pieces); a kink that the survey found is a step of heading whose size is free."""
    ends = [(e.curvature0_1_mm, e.curvature1_1_mm) for e in pieces]
    chain = _chain(
        pieces, ends, [e.curvature_sd_1_mm for e in pieces], {"straight": "zero", "arc": "one"}, closed=stations.closed
    )
    s, x, y, heading = _seen(stations, float(chain.joints[0]), float(chain.joints[-1]))
    low, high = float(chain.joints[0]), float(chain.joints[-1])
    wrapped = [(low + (at - low) % stations.length_mm if stations.closed else at, size) for at, size in kinks]
    bent = sorted((at, size) for at, size in wrapped if low < at < high)
    at = np.array([place for place, _ in bent])
    steps, start = chain.unknowns(), np.array([x[0], y[0], heading, *(size for _, size in bent)])
    n = len(start)
    turns = 2 * np.pi * round((_heading(chain, steps, s)[-1] + float(start[3:].sum())) / (2 * np.pi))

    def residual(unknown: Array) -> Array:
        own = unknown[n:]
        mx, my, mh = _places(chain, own, s, unknown[:n], at)
        parts = [(mx - x) / PLACE_SD_MM, (my - y) / PLACE_SD_MM, own * np.sqrt(len(s) / 30.0)]
        if stations.closed:
            parts.append(np.array([mx[-1] - mx[0], my[-1] - my[0], 1e3 * (mh[-1] - mh[0] - turns)]) / CLOSING_SD_MM)
        return np.concatenate(parts)

    nudge = np.r_[1e-2, 1e-2, np.full(n - 2, 1e-6), np.full(len(steps), 1e-3)]
    unknown = _solved(residual, np.concatenate([start, steps]), nudge)
    joints, values = chain.moved(unknown[n:])
    return float(joints[0]), _laid(joints, values, unknown[:n], at)


def _laid(joints: Array, values: Array, start: Array, kinks: Array) -> list[PlanPiece]:
    """Pieces from the start on, cut where there is a kink."""
    cuts = np.union1d(joints, kinks)
    px, py, ph = (float(v) for v in start[:3])
    out: list[PlanPiece] = []
    for s0, s1 in itertools.pairwise(cuts):
        ph += float(start[3:][np.isclose(kinks, s0, rtol=0, atol=1e-9)].sum())
        i = min(int(np.searchsorted(joints, s0, side="right")) - 1, len(values) - 1)
        first, last = values[i]
        rate = (last - first) / (joints[i + 1] - joints[i])
        k0 = first if s0 == joints[i] else first + rate * (s0 - joints[i])
        k1 = last if s1 == joints[i + 1] else first + rate * (s1 - joints[i])  # ends as they are, not rounded
        out.append(piece_from(px, py, ph, float(k0), float(k1), float(s1 - s0)))
        px, py, ph = out[-1].x1_mm, out[-1].y1_mm, out[-1].heading1_rad
    return out


def _split(pieces: Sequence[PlanPiece]) -> list[PlanPiece]:
    """A transition through zero curvature as two: no exchange format has one that changes hand."""
    out = []
    for p in pieces:
        if p.curvature0_1_mm * p.curvature1_1_mm >= 0:
            out.append(p)
            continue
        first = p.length_mm * p.curvature0_1_mm / (p.curvature0_1_mm - p.curvature1_1_mm)
        one = piece_from(p.x0_mm, p.y0_mm, p.heading0_rad, p.curvature0_1_mm, 0.0, first)
        out += [one, piece_from(one.x1_mm, one.y1_mm, one.heading1_rad, 0.0, p.curvature1_1_mm, p.length_mm - first)]
    return out


def _profile(stations: Stations, pieces: Sequence[Element], low: float, high: float) -> tuple[GradePiece, ...]:
    """Grades and vertical curves fitted to the heights, cut to the plan's chainages."""
    if not pieces or np.count_nonzero(np.isfinite(stations.z_mm)) < 3:
        return ()
    ends = [(e.gradient0, e.gradient1) for e in pieces]
    chain = _chain(pieces, ends, [e.gradient_sd for e in pieces], {"grade": "one"}, closed=stations.closed)
    s, z = _seen_heights(stations, float(chain.joints[0]), float(chain.joints[-1]))

    def residual(unknown: Array) -> Array:
        model = unknown[0] + _heading(chain, unknown[1:], s)
        parts = [(model - z) / PLACE_SD_MM, unknown[1:] * np.sqrt(len(s) / 30.0)]
        if stations.closed:
            parts.append(np.array([(model[-1] - model[0]) / CLOSING_SD_MM]))
        return np.concatenate(parts)

    steps = chain.unknowns()
    unknown = _solved(residual, np.r_[z[0], steps], np.r_[1e-2, np.full(len(steps), 1e-3)])
    joints, values = chain.moved(unknown[1:])
    out, at = [], float(unknown[0])
    for (g0, g1), s0, s1 in zip(values, joints[:-1], joints[1:], strict=True):
        out.append(GradePiece(float(s0), float(s1), at, float(g0), float(g1)))
        at = out[-1].z1_mm
    return tuple(_within(out, low, high, stations.length_mm if stations.closed else None))


def _within(pieces: Sequence[GradePiece], low: float, high: float, ring: float | None) -> list[GradePiece]:
    """The profile between two chainages; on a ring taken round until it fits."""
    laps = (-1, 0, 1) if ring else (0,)
    out = []
    for lap in laps:
        off = lap * (ring or 0.0)
        for p in pieces:
            s0, s1 = max(p.s0_mm + off, low), min(p.s1_mm + off, high)
            if s1 - s0 < 1e-6:
                continue
            rate = (p.gradient1 - p.gradient0) / (p.s1_mm - p.s0_mm)
            u0, u1 = s0 - off - p.s0_mm, s1 - off - p.s0_mm
            z0 = p.z0_mm + p.gradient0 * u0 + 0.5 * rate * u0**2
            out.append(GradePiece(s0, s1, z0, p.gradient0 + rate * u0, p.gradient0 + rate * u1))
    return sorted(out, key=lambda p: p.s0_mm)


def _chain(
    pieces: Sequence[Element],
    ends: Sequence[tuple[float, float]],
    sds: Sequence[float],
    rule: dict[str, Literal["zero", "one"]],
    *,
    closed: bool,
) -> Chain:
    """What is free: one value for an arc or grade, none for a straight; a transition takes its neighbours' ends."""
    joints = np.array([pieces[0].s0_mm, *(e.s1_mm for e in pieces)])
    values = np.array(ends, dtype=np.float64)
    group = np.full(values.shape, -2, dtype=np.int64)
    free: list[float] = []
    sd: list[float] = []
    usual = float(np.nanmedian([s for s in sds if s > 0])) if any(s > 0 for s in sds) else 1e-6
    for i, e in enumerate(pieces):
        if rule.get(e.kind) == "zero":
            group[i] = -1
        elif rule.get(e.kind) == "one":
            group[i] = len(free)
            free.append(float(values[i].mean()))
            sd.append(sds[i] if sds[i] > 0 else usual)
    for i in range(len(pieces)):
        for end, other in ((0, (i - 1, 1)), (1, (i + 1, 0))):
            if group[i, end] != -2:
                continue
            if closed:
                other = (other[0] % len(pieces), other[1])
            beside = 0 <= other[0] < len(pieces) and np.isclose(values[i, end], values[other], rtol=1e-6, atol=1e-12)
            if beside and group[other] != -2:
                group[i, end] = group[other]
            else:
                group[i, end] = len(free)
                free.append(float(values[i, end]))
                sd.append(usual)
                if beside:
                    group[other] = group[i, end]
    spread = np.array([pieces[0].s0_sd_mm, *(e.s1_sd_mm for e in pieces)])
    spread = np.where(np.isfinite(spread) & (spread > 0), spread, 1.0)
    spread = np.minimum(spread, 0.2 * np.min(np.diff(joints)))
    return Chain(joints, values, group, np.array(free), np.array(sd), spread)


def _integral(joints: Array, values: Array, s: Array) -> Array:
    """(m,) integral from the first joint of what changes evenly along each piece."""
    length = np.diff(joints)
    before = np.r_[0.0, np.cumsum(0.5 * (values[:, 0] + values[:, 1]) * length)]
    i = np.clip(np.searchsorted(joints, s, side="right") - 1, 0, len(length) - 1)
    u = s - joints[i]
    return np.asarray(before[i] + values[i, 0] * u + 0.5 * (values[i, 1] - values[i, 0]) / length[i] * u**2)


def _value(joints: Array, values: Array, s: Array) -> Array:
    i = np.clip(np.searchsorted(joints, s, side="right") - 1, 0, len(values) - 1)
    return np.asarray(values[i, 0] + (values[i, 1] - values[i, 0]) * (s - joints[i]) / np.diff(joints)[i])


def _heading(chain: Chain, steps: Array, s: Array) -> Array:
    return _integral(*chain.moved(steps), s)


def _places(chain: Chain, steps: Array, s: Array, start: Array, kinks: Array) -> tuple[Array, Array, Array]:
    """x, y, heading at places `s`; each step by its middle heading and its own bend (exact for arcs)."""
    bends = start[3:]
    joints, values = chain.moved(steps)
    halves = 0.5 * (s[1:] + s[:-1])
    heading = start[2] + _integral(joints, values, s) + (s[:, None] > kinks) @ bends
    middle = start[2] + _integral(joints, values, halves) + (halves[:, None] > kinks) @ bends
    chord = np.diff(s) * np.sinc(np.diff(heading) / (2 * np.pi))
    x = start[0] + np.r_[0.0, np.cumsum(chord * np.cos(middle))]
    y = start[1] + np.r_[0.0, np.cumsum(chord * np.sin(middle))]
    return x, y, heading


def _solved(residual: Callable[[Array], Array], unknown: Array, nudge: Array) -> Array:
    """Gauss-Newton with differences; sigmas of a few and a start that is near."""
    for _ in range(ROUNDS):
        r = residual(unknown)
        columns = []
        for k in range(len(unknown)):
            other = unknown.copy()
            other[k] += nudge[k]
            columns.append((residual(other) - r) / nudge[k])
        step = np.linalg.lstsq(np.stack(columns, axis=1), -r, rcond=None)[0]
        unknown = unknown + step
        if np.max(np.abs(step) / np.maximum(nudge, 1e-12)) < 1e-2:
            break
    return unknown


def _seen(stations: Stations, low: float, high: float) -> tuple[Array, Array, Array, float]:
    """Places from one chainage to another, round a ring where need be; and the heading at the first."""
    s = _grid(stations, low, high)
    x, y = (_round(stations, name, s) for name in ("x_mm", "y_mm"))
    held = np.isfinite(x) & np.isfinite(y)
    s, x, y = s[held], x[held], y[held]
    first = float(np.interp(low % stations.length_mm if stations.closed else low, stations.s_mm, stations.heading_rad))
    return s, x, y, first


def _seen_heights(stations: Stations, low: float, high: float) -> tuple[Array, Array]:
    s = _grid(stations, low, high)
    z = _round(stations, "z_mm", s)
    return s[np.isfinite(z)], z[np.isfinite(z)]


def _grid(stations: Stations, low: float, high: float) -> Array:
    step = float(np.median(np.diff(stations.s_mm)))
    return np.linspace(low, high, int(min(MOST_POINTS, max(20.0, (high - low) / step))))


def _round(stations: Stations, name: str, s: Array) -> Array:
    value = getattr(stations, name)
    if not stations.closed:
        return np.asarray(np.interp(s, stations.s_mm, value))
    ring = np.r_[stations.s_mm, stations.s_mm[0] + stations.length_mm]
    return np.asarray(np.interp((s - ring[0]) % stations.length_mm + ring[0], ring, np.r_[value, value[0]]))
