"""A railway whose every place is known: the truth that surveys are held against.

A line is built of pieces (straight, arc, clothoid), grades and cant; what the track really is, with its defects and
roughness, stands in tables on a fine grid, read by cubic interpolation.

Legend: s chainage (plan length) [mm] · k curvature, left > 0 [1/mm] · t heading [rad] · g gradient = dz/ds.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import next_fast_len

from wayrule.maths import clothoid
from wayrule.model import Element, Fault
from wayrule.sim.irregularity import Defect, Joints, Roughness, offsets

Floats = NDArray[np.float64]

GRID_MM: Final = 0.5
"""Step of the tables. Cubic interpolation of a curve of 300 mm radius errs by less than 1e-8 mm at this step."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the plan: curvature and cant run linearly from its start (0) to its end (1)."""

    kind: Literal["straight", "arc", "transition"]
    length_mm: float
    curvature0_1_mm: float = 0.0
    curvature1_1_mm: float = 0.0
    cant0_mm: float = 0.0
    cant1_mm: float = 0.0


def straight(length_mm: float, *, cant0_mm: float = 0.0, cant1_mm: float = 0.0) -> Piece:
    """A straight piece."""
    return Piece("straight", length_mm, 0.0, 0.0, cant0_mm, cant1_mm)


def arc(radius_mm: float, turn_deg: float, *, cant_mm: float = 0.0) -> Piece:
    """An arc of a positive radius that turns by `turn_deg`, left > 0.

    >>> print(f"{arc(438.0, 30.0).length_mm:.2f}")
    229.34
    """
    k = float(np.sign(turn_deg)) / radius_mm
    return Piece("arc", radius_mm * abs(float(np.radians(turn_deg))), k, k, cant_mm, cant_mm)


def transition(length_mm: float, before: float, after: float, *, cant0_mm: float = 0.0, cant1_mm: float = 0.0) -> Piece:
    """A clothoid between two curvatures [1/mm]."""
    return Piece("transition", length_mm, before, after, cant0_mm, cant1_mm)


@dataclass(frozen=True, slots=True)
class Grade:
    """A stretch of one gradient; lengths are rescaled so that all grades together are as long as the line."""

    length_mm: float
    gradient: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where chainages lie in the tables: cell, laps done, and the four cubic weights."""

    cell: NDArray[np.intp]
    laps: Floats
    w00: Floats
    w01: Floats
    w10: Floats
    w11: Floats
    u: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Railway:
    """One line of track, exactly known. Build it with `build`.

    pieces, grades, vertical_curve_mm   the design, after closing
    defects, roughness, joints          what was planted
    length_mm                           plan length; a closed line wraps at it and closes exactly
    turn_rad                            heading gained over the whole line
    _x ... _cant_slope                  (n + 1,) tables at `_step_mm`; chainage 0 and length both included
    """

    name: str
    scale: str
    ratio: float
    gauge_mm: float
    closed: bool
    length_mm: float
    turn_rad: float
    pieces: tuple[Piece, ...]
    grades: tuple[Grade, ...]
    vertical_curve_mm: float
    defects: tuple[Defect, ...]
    roughness: Roughness | None
    joints: Joints | None
    _step_mm: float
    _x: Floats
    _y: Floats
    _z: Floats
    _heading: Floats
    _curvature: Floats
    _gradient: Floats
    _cant: Floats
    _cant_slope: Floats
    _cant_sum: Floats

    def place(self, s_mm: ArrayLike) -> Place:
        """Find chainages in the tables; closed lines wrap, open ones refuse what lies beyond their ends."""
        s = np.asarray(s_mm, dtype=float)
        last = len(self._x) - 2
        if self.closed:
            laps = np.floor(s / self.length_mm)
            s = s - laps * self.length_mm
        else:
            laps = np.zeros_like(s)
            if s.size and (s.min() < -1e-6 or s.max() > self.length_mm + 1e-6):
                raise ValueError(
                    f"{self.name}: the line runs from 0 to {self.length_mm:.1f} mm, "
                    f"came {s.min():.1f} to {s.max():.1f} mm"
                )
        cell = np.clip((s / self._step_mm).astype(np.intp), 0, last)
        u = s / self._step_mm - cell
        u2 = u * u
        u3 = u2 * u
        w01 = 3 * u2 - 2 * u3
        return Place(cell, laps, 1 - w01, w01, (u3 - 2 * u2 + u) * self._step_mm, (u3 - u2) * self._step_mm, u)

    @staticmethod
    def _cubic(value: Floats, slope: Floats, p: Place) -> Floats:
        i, j = p.cell, p.cell + 1
        return p.w00 * value[i] + p.w01 * value[j] + p.w10 * slope[i] + p.w11 * slope[j]

    @staticmethod
    def _linear(value: Floats, p: Place) -> Floats:
        return value[p.cell] * (1 - p.u) + value[p.cell + 1] * p.u

    def heading_at(self, p: Place) -> Floats:
        """Heading [rad], unwrapped over laps."""
        return self._cubic(self._heading, self._curvature, p) + p.laps * self.turn_rad

    def xyz_at(self, p: Place, cos: Floats, sin: Floats) -> tuple[Floats, Floats, Floats]:
        """Centreline at rail top [mm]; cos and sin are tables of the heading (see `direction`)."""
        return self._cubic(self._x, cos, p), self._cubic(self._y, sin, p), self._cubic(self._z, self._gradient, p)

    def cant_at(self, p: Place) -> Floats:
        """Cant [mm]."""
        return self._cubic(self._cant, self._cant_slope, p)

    def direction(self) -> tuple[Floats, Floats]:
        """Cosine and sine of the heading on the grid, for `xyz_at`."""
        return np.cos(self._heading), np.sin(self._heading)

    def heading(self, s_mm: ArrayLike) -> Floats:
        """Heading at chainages of any shape [rad], from x towards y, unwrapped."""
        return self.heading_at(self.place(s_mm))

    def curvature(self, s_mm: ArrayLike) -> Floats:
        """Curvature [1/mm], left > 0, defects and roughness included."""
        return self._linear(self._curvature, self.place(s_mm))

    def xy(self, s_mm: ArrayLike) -> tuple[Floats, Floats]:
        """Centreline in plan [mm]."""
        x, y, _ = self.xyz_at(self.place(s_mm), *self.direction())
        return x, y

    def z(self, s_mm: ArrayLike) -> Floats:
        """Height of rail top, mean of both rails [mm]."""
        return self._cubic(self._z, self._gradient, self.place(s_mm))

    def gradient(self, s_mm: ArrayLike) -> Floats:
        """Gradient dz/ds, climbing > 0."""
        return self._linear(self._gradient, self.place(s_mm))

    def cant(self, s_mm: ArrayLike) -> Floats:
        """Left minus right rail [mm]."""
        return self.cant_at(self.place(s_mm))

    def mean_curvature(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean curvature over a window centred at s (cut at the ends of an open line) [1/mm]."""
        a, b = self._window(s_mm, window_mm)
        return (self.heading(b) - self.heading(a)) / (b - a)

    def mean_gradient(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean gradient over a window centred at s."""
        a, b = self._window(s_mm, window_mm)
        return (self.z(b) - self.z(a)) / (b - a)

    def mean_cant(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean cant over a window centred at s [mm]."""
        a, b = self._window(s_mm, window_mm)
        p, q = self.place(a), self.place(b)
        total = self._cant_sum[-1]
        lower = self._cubic(self._cant_sum, self._cant, p) + p.laps * total
        upper = self._cubic(self._cant_sum, self._cant, q) + q.laps * total
        return np.asarray((upper - lower) / (b - a))

    def _window(self, s_mm: ArrayLike, window_mm: float) -> tuple[Floats, Floats]:
        s = np.asarray(s_mm, dtype=float)
        a, b = s - window_mm / 2, s + window_mm / 2
        return (a, b) if self.closed else (np.clip(a, 0, self.length_mm), np.clip(b, 0, self.length_mm))

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The planted defects, by chainage."""
        return tuple(d.fault for d in sorted(self.defects, key=lambda d: d.s_mm))

    @property
    def elements(self) -> tuple[Element, ...]:
        """The design as elements of plan and profile; defects and roughness are not elements."""
        return (*_plan_elements(self.pieces), *_profile_elements(*_gradient_knots(self)))


def build(
    name: str,
    pieces: Iterable[Piece],
    *,
    scale: str = "HO",
    ratio: float = 87.0,
    gauge_mm: float = 16.5,
    closed: bool = False,
    grades: Iterable[Grade] = (),
    vertical_curve_mm: float = 0.0,
    defects: Iterable[Defect] = (),
    roughness: Roughness | None = None,
    joints: Joints | None = None,
    rng: np.random.Generator | None = None,
) -> Railway:
    """Lay a line: close it if it is closed, then tabulate what it really is.

    Parameters
    ----------
    pieces : in order along the line; on a closed line straights and arcs are lengthened or shortened a little (least
        sum of squared relative changes) until place and heading close exactly, defects and roughness included
    grades : gradients along the line, each reached by a vertical curve of `vertical_curve_mm`; on a closed line the
        falls are scaled to undo the climbs
    rng : for the roughness; needed only with it

    Raises
    ------
    ValueError   no pieces, grades shorter than their vertical curves, or a plan that cannot be closed

    Examples
    --------
    >>> line = build("Siding", [straight(300.0), arc(500.0, 30.0)])
    >>> round(float(np.degrees(line.heading(line.length_mm))), 6)
    30.0
    """
    pieces, grades, defects = tuple(pieces), tuple(grades), tuple(defects)
    if not pieces:
        raise ValueError(f"{name}: a railway needs at least one piece")
    if roughness is not None and rng is None:
        raise ValueError(f"{name}: roughness needs a random generator")
    phases = np.zeros((3, 1), dtype=complex)
    if roughness is not None and rng is not None:
        waves = int(1.05 * sum(p.length_mm for p in pieces) / roughness.shortest_mm) + 2
        phases = rng.standard_normal((3, waves)) + 1j * rng.standard_normal((3, waves))
    blank = np.zeros(2)
    line = Railway(
        name, scale, ratio, gauge_mm, closed, 0.0, 0.0, pieces, grades, vertical_curve_mm, defects, roughness, joints,
        1.0, blank, blank, blank, blank, blank, blank, blank, blank, blank,
    )  # fmt: skip
    return _close(line, phases) if closed else _tabulate(line, phases)


def _tabulate(line: Railway, phases: Floats) -> Railway:
    """Fill the tables of a line from its pieces, grades and defects."""
    length = sum(p.length_mm for p in line.pieces)
    n = next_fast_len(max(2, round(length / GRID_MM)))  # the roughness is a Fourier sum
    step = length / n
    s = np.linspace(0.0, length, n + 1)
    heading, curvature, cant = _design(line.pieces, s)
    line = replace(line, length_mm=length, grades=_balanced(line, length))
    z, gradient = _profile(*_gradient_knots(line), s)
    o = offsets(
        s, length, closed=line.closed, defects=line.defects, roughness=line.roughness, joints=line.joints, phases=phases
    )
    heading, curvature = heading + o.turn_rad, curvature + o.curvature_1_mm
    z, gradient, cant = z + o.level_mm, gradient + o.gradient, cant + o.cant_mm
    slope = np.gradient(cant, step)
    if line.closed:
        slope[0] = slope[-1] = (cant[1] - cant[-2]) / (2 * step)
    cos, sin = np.cos(heading), np.sin(heading)
    tables = (
        _integral(cos, -curvature * sin, step),
        _integral(sin, curvature * cos, step),
        z - z[0],
        heading,
        curvature,
        gradient,
        cant,
        slope,
        _integral(cant, slope, step),
    )
    for table in tables:
        table.flags.writeable = False
    names = ("_x", "_y", "_z", "_heading", "_curvature", "_gradient", "_cant", "_cant_slope", "_cant_sum")
    return replace(
        line, turn_rad=float(heading[-1] - heading[0]), _step_mm=step, **dict(zip(names, tables, strict=True))
    )


def _integral(f: Floats, slope: Floats, step: float) -> Floats:
    """Running integral by the end-corrected trapezoidal rule (Euler-Maclaurin, fourth order)."""
    cell = 0.5 * step * (f[1:] + f[:-1]) - step**2 / 12 * (slope[1:] - slope[:-1])
    return np.concatenate([[0.0], np.cumsum(cell)])


def _design(pieces: tuple[Piece, ...], s: Floats) -> tuple[Floats, Floats, Floats]:
    """Heading, curvature and cant of the pieces on the grid, in closed form."""
    length = np.array([p.length_mm for p in pieces])
    k0 = np.array([p.curvature0_1_mm for p in pieces])
    k1 = np.array([p.curvature1_1_mm for p in pieces])
    c0 = np.array([p.cant0_mm for p in pieces])
    c1 = np.array([p.cant1_mm for p in pieces])
    start = np.concatenate([[0.0], np.cumsum(length)])
    turned = np.concatenate([[0.0], np.cumsum(0.5 * (k0 + k1) * length)])
    i = np.clip(np.searchsorted(start, s, side="right") - 1, 0, len(pieces) - 1)
    u = s - start[i]
    rate = (k1 - k0)[i] / length[i]
    return turned[i] + u * (k0[i] + 0.5 * rate * u), k0[i] + rate * u, c0[i] + (c1 - c0)[i] * u / length[i]


def _close(line: Railway, phases: Floats) -> Railway:
    """Lengthen or shorten straights and arcs until the line closes (Newton with least relative change)."""
    whole = (
        2
        * np.pi
        * round(
            sum(clothoid.turn_rad(p.curvature0_1_mm, p.curvature1_1_mm, p.length_mm) for p in line.pieces) / (2 * np.pi)
        )
    )
    free = [i for i, p in enumerate(line.pieces) if p.kind != "transition"]
    for _ in range(30):
        line = _tabulate(line, phases)
        miss = np.array([line._x[-1], line._y[-1], (line.turn_rad - whole) * 1e3])
        if np.max(np.abs(miss)) < 1e-9:
            return _seal(line, whole)
        ends = np.cumsum([p.length_mm for p in line.pieces])[free]
        length = np.array([line.pieces[i].length_mm for i in free])
        k = np.array([line.pieces[i].curvature1_1_mm for i in free])
        x, y = line.xy(np.minimum(ends, line.length_mm * (1 - 1e-12)))
        t = line.heading(np.minimum(ends, line.length_mm * (1 - 1e-12)))
        # a piece that grows by d moves all that follows by d along its end's heading and turns it by k d
        by_length = np.stack([np.cos(t) - k * (line._y[-1] - y), np.sin(t) + k * (line._x[-1] - x), k * 1e3])
        change = -np.linalg.pinv(by_length * length) @ miss
        if np.max(np.abs(change)) > 0.5:
            break
        grown = dict(zip(free, length * (1 + change), strict=True))
        line = replace(
            line, pieces=tuple(replace(p, length_mm=grown.get(i, p.length_mm)) for i, p in enumerate(line.pieces))
        )
    raise ValueError(
        f"{line.name}: these pieces cannot be closed (misses by {miss[0]:.1f}, {miss[1]:.1f} mm); change the plan"
    )


def _seal(line: Railway, whole: float) -> Railway:
    """Take out the last 1e-9 mm so that the end is the start to the last digit."""
    u = np.linspace(0.0, 1.0, len(line._x))
    x, y, z = line._x - u * line._x[-1], line._y - u * line._y[-1], line._z - u * line._z[-1]
    heading = line._heading - u * (line._heading[-1] - line._heading[0] - whole)
    x[-1], y[-1], z[-1], heading[-1] = x[0], y[0], z[0], heading[0] + whole
    return replace(line, turn_rad=whole, _x=x, _y=y, _z=z, _heading=heading)


def _balanced(line: Railway, length: float) -> tuple[Grade, ...]:
    """Grades as long as the line; on a closed one the falls undo the climbs."""
    if not line.grades:
        return ()
    total = sum(g.length_mm for g in line.grades)
    lengths = np.array([g.length_mm for g in line.grades]) * length / total
    g = np.array([g.gradient for g in line.grades])
    if np.any(lengths < line.vertical_curve_mm):
        raise ValueError(f"{line.name}: a grade of {lengths.min():.0f} mm is shorter than its vertical curve")
    if line.closed:
        # each vertical curve lies half in each of its two grades: over the line it changes nothing in the mean
        up, down = float(np.sum(lengths * np.maximum(g, 0))), float(-np.sum(lengths * np.minimum(g, 0)))
        if (up > 0 and down <= 0) or (down > 0 and up <= 0):
            raise ValueError(f"{line.name}: a closed line that climbs must fall as well")
        g = np.where(g < 0, g * (up / down if down else 1.0), g)
    return tuple(Grade(float(a), float(b)) for a, b in zip(lengths, g, strict=True))


def _gradient_knots(line: Railway) -> tuple[Floats, Floats]:
    """Gradient as a broken line over chainage: (m,) places and (m,) gradients, starting at 0, ending at the length."""
    if not line.grades:
        return np.array([0.0, line.length_mm]), np.zeros(2)
    half = max(line.vertical_curve_mm, 1e-6) / 2
    edge = np.concatenate([[0.0], np.cumsum([g.length_mm for g in line.grades])])
    edge[-1] = line.length_mm
    g = [g.gradient for g in line.grades]
    s = [0.0]
    value = [0.5 * (g[0] + g[-1]) if line.closed else g[0]]
    for i, level in enumerate(g):
        first, last = i == 0 and not line.closed, i == len(g) - 1 and not line.closed
        s += [edge[i] + (0.0 if first else half)] if not first else []
        value += [level] if not first else []
        s += [edge[i + 1] - half] if not last else []
        value += [level] if not last else []
    s.append(line.length_mm)
    value.append(value[0] if line.closed else g[-1])
    return np.array(s), np.array(value)


def _profile(knots: Floats, gradient: Floats, s: Floats) -> tuple[Floats, Floats]:
    """Height and gradient on the grid from the broken line of gradients, in closed form."""
    climbed = np.concatenate([[0.0], np.cumsum(0.5 * (gradient[1:] + gradient[:-1]) * np.diff(knots))])
    i = np.clip(np.searchsorted(knots, s, side="right") - 1, 0, len(knots) - 2)
    u = s - knots[i]
    rate = np.diff(gradient)[i] / np.diff(knots)[i]
    return climbed[i] + u * (gradient[i] + 0.5 * rate * u), gradient[i] + rate * u


def _plan_elements(pieces: tuple[Piece, ...]) -> tuple[Element, ...]:
    edge = np.concatenate([[0.0], np.cumsum([p.length_mm for p in pieces])])
    return tuple(
        Element(
            "plan", p.kind, float(a), float(b), p.curvature0_1_mm, p.curvature1_1_mm,
            turned_rad=_turn_rad(p),
        )
        for p, a, b in zip(pieces, edge[:-1], edge[1:], strict=True)
    )  # fmt: skip


def _level_kind(g0: float, g1: float) -> Literal["grade", "vertical_curve"]:
    return "grade" if g0 == g1 else "vertical_curve"


def _turn_rad(piece: Piece) -> float:
    return clothoid.turn_rad(piece.curvature0_1_mm, piece.curvature1_1_mm, piece.length_mm)


def _profile_elements(knots: Floats, gradient: Floats) -> tuple[Element, ...]:
    pairs = zip(knots[:-1], knots[1:], gradient[:-1], gradient[1:], strict=True)
    return tuple(
        Element(
            "profile",
            "grade" if g0 == g1 else "vertical_curve",
            float(a),
            float(b),
            gradient0=float(g0),
            gradient1=float(g1),
        )
        for a, b, g0, g1 in pairs
        if b - a > 1e-3
    )
