"""A chain of parts whose line may move a little sideways: the moved line as linear functions of a few unknowns.

Legend: u place along a part, L its length, t = u / L · N(t) offset of the target from the part's reference, left (or
up) > 0 [mm] · e(t) the same of the surveyed line · k mean curvature of the reference, f = k L.

A line that is moved by N along its normal changes its curvature by N'' + k^2 N, to first order (differential geometry
of parallel curves). Of parts with curvature change m(u) = m0 (1 - t) + m1 t the unknowns are N(0), L N'(0), L^2 m0,
L^2 m1, all in mm: N = N0 cos ft + N0' sin(ft)/f + m0 (F - F1) + m1 F1 with F = (1 - cos ft)/f^2 and
F1 = (t - sin(ft)/f)/f^2. Profiles have k = 0. Each reference starts on the surveyed line, so that offsets stay small
and the geometry between the parts is exact.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from wayrule.maths.clothoid import points
from wayrule.model import Element, Stations
from wayrule.model.arrays import Array
from wayrule.track.mend.pieces import Part, reach

LEAST_TURN = 1e-3
"""Parts that turn by less [rad] are reckoned as if they turned by this: an error of 1e-7 of the offset."""

Seen = Callable[[Array], tuple[Array, Array]]
"""Chainages (n,) inside a part -> offset of the surveyed line from the part's reference, and its slope, (n,) each."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Parts with, for each, the surveyed line seen from its reference; `frames` (n, 2): where the next part's reference
    starts, seen from the end of this one: offset [mm] and slope."""

    parts: tuple[Part, ...]
    seen: tuple[Seen, ...]
    frames: Array
    turning: bool
    closed: bool

    @property
    def unknowns(self) -> int:
        """Four for each part, and one for each joint."""
        return 4 * len(self.parts) + self.joints

    @property
    def joints(self) -> int:
        """Between parts; of a ring as many as parts."""
        return len(self.parts) if self.closed else len(self.parts) - 1

    def rows(self, s_mm: Array) -> tuple[sparse.csr_array, Array]:
        """(n, unknowns) matrix B and (n,) e at chainages, so that target minus surveyed line is B x - e."""
        starts = np.array([p.a for p in self.parts])
        which = np.clip(np.searchsorted(starts, s_mm, side="right") - 1, 0, len(starts) - 1)
        values, offsets = np.zeros((len(s_mm), 4)), np.zeros(len(s_mm))
        for j, part in enumerate(self.parts):
            here = which == j
            if here.any():
                values[here] = _basis(part, s_mm[here], turning=self.turning)[0]
                offsets[here] = self.seen[j](s_mm[here])[0]
        columns = 4 * which[:, None] + np.arange(4)
        at = np.repeat(np.arange(len(s_mm)), 4)
        shape = (len(s_mm), self.unknowns)
        return sparse.csr_array((values.ravel(), (at, columns.ravel())), shape=shape), offsets

    def joined(self) -> tuple[sparse.csr_array, Array]:
        """Equations A x = b that hold the parts together and keep each what it is."""
        rows: list[dict[int, float]] = []
        right: list[float] = []
        count = len(self.parts)
        for j, part in enumerate(self.parts):
            if part.free != "ramp":
                rows.append({4 * j + 2: 1.0, 4 * j + 3: -1.0})
                right.append(0.0)
            if j < self.joints:
                for row, value in self._joint(j, (j + 1) % count):
                    rows.append(row)
                    right.append(value)
        at = [(i, c, v) for i, row in enumerate(rows) for c, v in row.items()]
        i, c, v = (np.array(x) for x in zip(*at, strict=True))
        return sparse.csr_array((v, (i, c)), shape=(len(rows), self.unknowns)), np.array(right)

    def _joint(self, j: int, n: int) -> list[tuple[dict[int, float], float]]:
        """Equations (column -> factor, right side) at the joint of part j with part n.

        The joint's own unknown: of two halves of one piece, a step of the curvature times far^2; else how far the
        joint is shifted [mm], which turns the line by the step of curvature times the shift, or moves a ramp.
        """
        part, after, o, k, own = self.parts[j], self.parts[n], 4 * j, 4 * n, 4 * len(self.parts) + j
        value, slope = (row[0] for row in _basis(part, np.array([part.b]), turning=self.turning))
        near, far = part.b - part.a, after.b - after.a
        same = _sum({o + i: value[i] for i in range(4)}, {k: -1.0})
        turn = _sum({o + i: slope[i] * far / near for i in range(4)}, {k + 1: -1.0})
        out = [(same, float(self.frames[j, 0]))]
        free = {part.free, after.free}
        eased = "ramp" in free and "eased" not in free
        if self.turning and not free & {"ramp", "eased"} and not after.goes_on:
            turn = _sum(turn, {own: (part.last - after.first) * far})
        out.append((turn, float(self.frames[j, 1]) * far))
        bend = _sum({o + 3: (far / near) ** 2}, {k + 2: -1.0})
        if after.goes_on:
            out.append((_sum(bend, {own: 1.0}), (after.first - part.last) * far**2 if self.turning else 0.0))
        elif free == {"eased"}:
            out.append((bend, 0.0))
        elif eased:  # no step of curvature at the end of a transition
            moved = ((part.last - part.first) / near - (after.last - after.first) / far) * far**2
            out.append((_sum(bend, {own: moved}), (after.first - part.last) * far**2))
        return out

    def bounds(self, bend_1_mm: float, shift_mm: float) -> tuple[Array, Array]:
        """(unknowns,) least and greatest values: straights and grades bend by at most so much, as do the halves of a
        divided piece against each other; joints are shifted by at most so much."""
        most = np.full(self.unknowns, np.inf)
        for j, part in enumerate(self.parts):
            if part.free == "nothing":
                most[4 * j + 2 : 4 * j + 4] = bend_1_mm * (part.b - part.a) ** 2
        for j in range(self.joints):
            after = self.parts[(j + 1) % len(self.parts)]
            bend = bend_1_mm * (after.b - after.a) ** 2
            most[4 * len(self.parts) + j] = bend if after.goes_on else shift_mm
        return -most, most

    def elements(self, x: Array) -> tuple[Element, ...]:
        """The target as elements; halves of a divided piece are one again, a straight's slight bends are left out."""
        pieces: list[list[tuple[Part, float, float]]] = []
        for j, part in enumerate(self.parts):
            length = part.b - part.a
            m = x[4 * j + 2 : 4 * j + 4] / length**2
            if self.turning:
                ends = part.first + m[0], part.last + m[1]
            else:
                first = part.first + x[4 * j + 1] / length
                ends = first, first + part.last - part.first + 0.5 * (m[0] + m[1]) * length
            if not part.goes_on:
                pieces.append([])
            pieces[-1].append((part, float(ends[0]), float(ends[1])))
        return tuple(_element(p, turning=self.turning) for p in pieces)


def _element(pieces: list[tuple[Part, float, float]], *, turning: bool) -> Element:
    a, b, part = pieces[0][0].a, pieces[-1][0].b, pieces[0][0]
    total = sum(0.5 * (first + last) * (p.b - p.a) for p, first, last in pieces)
    level = part.free in ("nothing", "level") if turning else part.free == "nothing"
    first, last = (total / (b - a),) * 2 if level else (pieces[0][1], pieces[-1][2])
    if not turning:
        kind = "grade" if level else "vertical_curve"
        return Element("profile", kind, a, b, gradient0=first, gradient1=last)  # type: ignore[arg-type]
    kinds = {"nothing": "straight", "level": "arc", "ramp": "transition"}
    kind = kinds.get(part.free, "arc" if part.first == part.last else "transition")
    if kind == "straight":
        first = last = total = 0.0
    return Element("plan", kind, a, b, first, last, turned_rad=total)  # type: ignore[arg-type]


def plan_chain(stations: Stations, parts: Sequence[Part]) -> Chain | None:
    """The plan as a chain; None where the survey has no plan."""
    _, stop = reach(stations)
    known = np.isfinite(stations.x_mm) & np.isfinite(stations.y_mm) & np.isfinite(stations.heading_rad)
    if not parts or known.sum() < 3:
        return None
    s, x, y, h = (v[known] for v in (stations.s_mm, stations.x_mm, stations.y_mm, stations.heading_rad))
    if stations.closed:
        turns = round(sum(0.5 * (p.first + p.last) * (p.b - p.a) for p in parts) / (2 * np.pi))
        s, x, y, h = np.append(s, stop), np.append(x, x[0]), np.append(y, y[0]), np.append(h, h[0] + 2 * np.pi * turns)

    def pose(at: Array) -> tuple[Array, Array]:
        return np.interp(at, s, x) + 1j * np.interp(at, s, y), np.interp(at, s, h)

    def seen_from(part: Part) -> Seen:
        (origin,), (heading,) = pose(np.array([part.a]))

        def seen(at: Array) -> tuple[Array, Array]:
            there, turned = pose(at)
            u = np.clip(at - part.a, 0.0, part.b - part.a)
            px, py, pt = points(part.first, part.last, part.b - part.a, u)
            away = (there - origin) * np.exp(-1j * heading) - (px + 1j * py)
            return np.imag(away * np.exp(-1j * pt)), turned - heading - pt

        return seen

    seen = tuple(seen_from(p) for p in parts)
    frames = np.array([[v[0] for v in f(np.array([p.b]))] for p, f in zip(parts, seen, strict=True)])
    return Chain(tuple(parts), seen, frames, turning=True, closed=stations.closed)


def profile_chain(stations: Stations, parts: Sequence[Part]) -> Chain | None:
    """The profile as a chain; None where the survey has no heights."""
    _, stop = reach(stations)
    known = np.isfinite(stations.z_mm)
    if not parts or known.sum() < 3:
        return None
    s, z = stations.s_mm[known], stations.z_mm[known]
    if stations.closed:
        s, z = np.append(s, stop), np.append(z, z[0])

    def seen_from(part: Part) -> Seen:
        origin = float(np.interp(part.a, s, z))

        def seen(at: Array) -> tuple[Array, Array]:
            u = at - part.a
            bend = (part.last - part.first) / (part.b - part.a)
            return np.interp(at, s, z) - origin - u * (part.first + 0.5 * bend * u), np.zeros(len(at))

        return seen

    seen = tuple(seen_from(p) for p in parts)
    after = [*parts[1:], parts[0]]
    frames = np.array(
        [[f(np.array([p.b]))[0][0], n.first - p.last] for p, n, f in zip(parts, after, seen, strict=True)]
    )
    return Chain(tuple(parts), seen, frames, turning=False, closed=stations.closed)


def _basis(part: Part, s_mm: Array, *, turning: bool) -> tuple[Array, Array]:
    """Values and slopes by t of the four functions, (n, 4) each."""
    length = part.b - part.a
    f = max(abs(0.5 * (part.first + part.last)) * length if turning else 0.0, LEAST_TURN)
    t = (s_mm - part.a) / length
    c, d = np.cos(f * t), np.sin(f * t) / f
    whole, second = (1.0 - c) / f**2, (t - d) / f**2
    value = np.stack([c, d, whole - second, second], axis=-1)
    slope = np.stack([-(f**2) * d, c, d - whole, whole], axis=-1)
    return value, slope


def _sum(a: dict[int, float], b: dict[int, float]) -> dict[int, float]:
    """Two rows added: on a ring of one part both name the same columns."""
    return {c: a.get(c, 0.0) + b.get(c, 0.0) for c in (*a, *(c for c in b if c not in a))}
