"""What lies between two places of the adjusted line, its sigmas from the whole inverse of the normal equations.

Errors of neighbouring places go together: independent sigmas would make a gap of 60 mm as uncertain as the map. So
each quantity is a functional r of the unknowns, and its variance is r N^-1 r', stretched where the passes disagree by
more (`passes.py`), plus what neither shows (`considered.py`). How much more they disagree is looked at for the same
distance apart all along the line: of one pair alone, a few passes tell little.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from threadpoolctl import threadpool_limits

from wayrule.model.arrays import Array
from wayrule.model.between import Between
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.considered import considered
from wayrule.track.adjust.line import Traced, cell_bounds, positions, trace
from wayrule.track.adjust.passes import Pull, pulls, scatter_of
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS
from wayrule.track.adjust.stations import zero_of
from wayrule.track.adjust.unknowns import Unknowns

SHIFTS = 24
"""Pairs equally far apart, spread over the line, that show how much the passes disagree (our choice)."""

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Functional:
    """Linear functionals of one spline's coefficients and the border: the asked pair's first, then its shifts'.

    axis    0 theta, 1 gamma, 2 phi
    spline  (q, n), border (q, k)
    hidden  (causes, q) errors by one sd of each considered cause
    """

    axis: int
    spline: Array
    border: Array
    hidden: Array


class AdjustedJoint:
    """The adjusted equations, kept to answer questions about two places; see `wayrule.model.between.Joint`."""

    def __init__(self, adjusted: Adjusted) -> None:
        self._adjusted = adjusted

    @cached_property
    def _line(self) -> Traced:
        u = self._adjusted.unknowns
        return trace(u, u.spline.h * TRACE_STEP_KNOTS / 2)

    @cached_property
    def _pulls(self) -> tuple[Pull, ...]:
        return pulls(self._adjusted)

    def between(self, a_mm: float, b_mm: float) -> Between:
        """Distance, way along the track, rise, turn and gap from chainage a to chainage b, each with its sd.

        Raises ValueError for one and the same place.
        """
        with threadpool_limits(limits=1, user_api="blas"):  # many small solves, as in the adjustment itself
            return self._between(a_mm, b_mm)

    def _between(self, a_mm: float, b_mm: float) -> Between:
        u, line = self._adjusted.unknowns, self._line
        pairs = _pairs(self._adjusted, line, a_mm, b_mm)
        if pairs[0, 0] == pairs[0, 1]:
            raise ValueError(f"between: expected two different places, came {a_mm:g} mm twice")
        at = _At.of(self._adjusted, pairs.ravel())
        distance, across = at.apart()
        foot = _foot(line, float(pairs[0, 0]), float(pairs[0, 1]), closed=u.spline.closed)
        gap, gap_sd, foot_mm = (NAN, NAN, NAN) if foot is None else self._gap(pairs, foot)
        along, way = _along(u, line, pairs)
        (rise, rising), (turn, turning) = at.rise(), at.turned(along)
        known = self._has_height
        return Between(
            a=f"{a_mm:g}",
            b=f"{b_mm:g}",
            a_mm=a_mm,
            b_mm=b_mm,
            distance_mm=distance,
            distance_sd_mm=self._sd(across),
            along_mm=along,
            along_sd_mm=self._sd(way),
            rise_mm=rise if known else NAN,
            rise_sd_mm=self._sd(rising) if known else NAN,
            turned_rad=turn,
            turned_sd_rad=self._sd(turning),
            gap_mm=gap,
            gap_sd_mm=gap_sd,
            foot_mm=foot_mm,
        )

    @property
    def _has_height(self) -> bool:
        return any(len(s.bins.force_mm_s2) for s in self._adjusted.problem.settings)

    def _gap(self, pairs: Array, foot: float) -> tuple[float, float, float]:
        """Gap, its sd and the chainage of its foot. Moving the foot along the track does not change the shortest
        distance (to first order), so it is the distance of two places."""
        moved = pairs.copy()
        moved[:, 1] = moved[:, 0] + (foot - pairs[0, 0])
        line, lap = self._line, self._adjusted.problem.line.lap_mm
        if lap:
            moved = np.mod(moved, lap)
        else:
            low, high = line.sigma[0], line.sigma[-1]
            moved = moved[(moved >= low).all(axis=1) & (moved <= high).all(axis=1)]
        gap, across = _At.of(self._adjusted, moved.ravel()).apart()
        at = float(line.length(foot)) - zero_of(self._adjusted, line)
        return gap, self._sd(across), at % float(line.s[-1]) if lap else at

    def _sd(self, asked: Functional) -> float:
        """Of the first functional; the others say how far the passes disagree beyond what was expected."""
        system = self._adjusted.system
        with_ties = np.hstack((asked.border, np.zeros((len(asked.border), system.ties))))
        rows = self._adjusted.unknowns.embedded(asked.spline)
        expected = np.maximum(system.bordered.variances(asked.axis, rows, with_ties), 0.0)
        seen = scatter_of(asked.spline, asked.border, self._pulls[asked.axis])
        beyond = float(np.nan_to_num(np.mean(seen) / max(float(np.mean(expected)), 1e-300)))
        return float(np.sqrt(expected[0] * max(beyond, 1.0) + np.sum(asked.hidden[:, 0] ** 2)))


def _pairs(adjusted: Adjusted, line: Traced, a_mm: float, b_mm: float) -> Array:
    """(q, 2) places sigma: the asked pair, then pairs as far apart along the line (closed: once round)."""
    lap, zero = adjusted.problem.line.lap_mm, zero_of(adjusted, line)
    if lap:
        length = float(line.s[-1])
        a, b = line.sigma_at(np.mod(np.array([a_mm, b_mm]) + zero, length))
        shifts = np.arange(SHIFTS) * (lap / SHIFTS)
        return np.asarray(np.mod(np.array([a, b]) + shifts[:, None], lap))
    a, b = line.sigma_at(np.array([a_mm, b_mm]) + zero)
    low = min(float(r.sigma.min()) for r in adjusted.runs)
    high = max(float(r.sigma.max()) for r in adjusted.runs)
    shifts = np.append(0.0, np.linspace(min(low - min(a, b), 0.0), max(high - max(a, b), 0.0), SHIFTS - 1))
    return np.asarray(np.array([a, b]) + shifts[:, None])


@dataclass(frozen=True, slots=True)
class _At:
    """Pairs of places in space: xyz (3, q, 2); derivatives by the spline concerned and by the border; errors of
    considered causes (causes, q, 2) for x, y, z, heading."""

    u: Unknowns
    sigma: Array
    xyz: Array
    by_theta: Array
    by_gamma: Array
    by_border: Array
    hidden: dict[str, Array]

    @classmethod
    def of(cls, adjusted: Adjusted, places: Array) -> "_At":
        u, q = adjusted.unknowns, len(places) // 2
        here = positions(u, places, u.spline.h * TRACE_STEP_KNOTS)
        shifts = considered(adjusted, places)
        hidden = {
            name: np.array([getattr(one, name) for one in shifts]).reshape(-1, q, 2)
            for name in ("x", "y", "z", "heading")
        }
        shape = (q, 2, -1)
        return cls(
            u, places.reshape(q, 2), here.xyz.reshape(3, q, 2), here.by_theta.reshape(2, *shape),
            here.by_gamma.reshape(shape), here.by_border.reshape(3, *shape), hidden,
        )  # fmt: skip

    def apart(self) -> tuple[float, Functional]:
        """Distance in plan: it changes by the errors' difference along the straight line from A to B."""
        d = np.diff(self.xyz[:2], axis=2)[:, :, 0]
        length = np.hypot(*d)
        to = np.where(length > 0, d / np.maximum(length, 1e-12), np.array([[1.0], [0.0]]))
        theta, border = (
            np.einsum("cq,cqn->qn", to, np.diff(part, axis=2)[:, :, 0]) for part in (self.by_theta, self.by_border[:2])
        )
        hidden = sum(to[i] * np.diff(self.hidden[name], axis=2)[:, :, 0] for i, name in enumerate("xy"))
        return float(length[0]), Functional(0, theta, border, np.asarray(hidden))

    def rise(self) -> tuple[float, Functional]:
        """Difference of height."""
        gamma, border = (np.diff(part, axis=1)[:, 0] for part in (self.by_gamma, self.by_border[2]))
        hidden = np.diff(self.hidden["z"], axis=2)[:, :, 0]
        return float(np.diff(self.xyz[2, 0])[0]), Functional(1, gamma, border, hidden)

    def turned(self, along_mm: float) -> tuple[float, Functional]:
        """Difference of heading, over the seam of a closed line where the way along crosses it."""
        u = self.u
        rows = (u.spline.value_rows(self.sigma[:, 1]) - u.spline.value_rows(self.sigma[:, 0])).toarray()
        border = np.zeros((len(rows), len(u.border)))
        border[:, u.names["gyro_scale_z"].start] = -(rows @ u.theta) / u.gain("z")
        a, b = self.sigma[0]
        way = b - a + (u.spline.length if u.spline.closed and along_mm > 0 and b < a else 0.0)
        turn = float(rows[0] @ u.theta + u.winding_rad_mm * way)
        return turn, Functional(0, rows / u.gain("z"), border, np.diff(self.hidden["heading"], axis=2)[:, :, 0])


def _along(u: Unknowns, line: Traced, pairs: Array) -> tuple[float, Functional]:
    """Plan length from A to B; only the border moves it: scale, slip, waver."""
    rows = np.array([_length_row(u, line, float(a), float(b)) for a, b in pairs])
    length = float(np.diff(line.length(pairs[0]))[0])
    if u.spline.closed and length < 0:
        length += float(line.s[-1])
    return length, Functional(0, np.zeros((len(rows), u.spline.n)), rows, np.zeros((1, len(rows))))


def _length_row(u: Unknowns, line: Traced, a: float, b: float) -> Array:
    """Derivatives of the plan length from a to b; a closed line goes on over its seam. How a grade shortens the plan
    (below 1e-3 of it) is taken as known."""
    if u.spline.closed and b < a:
        start, stop = float(line.sigma[0]), float(line.sigma[-1])
        return _length_row(u, line, a, stop) + _length_row(u, line, start, b)
    row = np.zeros(len(u.border))
    bounds = np.clip(cell_bounds(u), min(a, b), max(a, b))
    cells = np.sign(b - a) * np.diff(line.length(bounds))
    row[u.names["scale"]] = np.sum(cells) / (1 + u.one("scale"))
    row[u.names["slip_mm"]] = float(np.diff(np.interp([a, b], line.sigma, line.along_by_slip))[0])
    row[u.names["waver"]] = cells / (1 + u.some("waver"))
    return row


def _foot(line: Traced, a: float, b: float, *, closed: bool) -> float | None:
    """The place near b that is nearest to place a, going downhill along the line; None where that leads to a itself or
    to an open line's end."""
    count = len(line.sigma) - 1 if closed else len(line.sigma)
    x, y = (float(np.interp(a, line.sigma, c)) for c in (line.x, line.y))
    far = np.hypot(line.x[:count] - x, line.y[:count] - y)
    i = int(np.argmin(np.abs(line.sigma[:count] - b)))
    while True:
        beside = [(i - 1) % count, (i + 1) % count] if closed else [max(i - 1, 0), min(i + 1, count - 1)]
        lower = min(beside, key=lambda j: far[j])
        if far[lower] >= far[i]:
            break
        i = lower
    if not closed and i in (0, count - 1):
        return None
    foot = _square(line, i, x, y, closed=closed)
    step = 2 * float(line.sigma[1] - line.sigma[0])
    away = abs(foot - a)
    return None if min(away, line.sigma[-1] - line.sigma[0] - away if closed else away) < step else foot


def _square(line: Traced, i: int, x: float, y: float, *, closed: bool) -> float:
    """The place on the two chords beside vertex i that is nearest to a point."""
    last = len(line.sigma) - 1
    chords: Sequence[int] = [i - 1 if i or not closed else last - 1, i if i < last else 0]
    best, where = np.inf, float(line.sigma[i])
    for j in chords:
        dx, dy = line.x[j + 1] - line.x[j], line.y[j + 1] - line.y[j]
        share = float(np.clip(((x - line.x[j]) * dx + (y - line.y[j]) * dy) / (dx**2 + dy**2), 0.0, 1.0))
        away = float(np.hypot(line.x[j] + share * dx - x, line.y[j] + share * dy - y))
        if away < best:
            best, where = away, float(line.sigma[j] + share * (line.sigma[j + 1] - line.sigma[j]))
    return where
