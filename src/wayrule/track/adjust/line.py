"""The line in space: from the splines over the wheel's path to plan length, x, y and z.

ds = (1 + scale) (1 + waver) m dsigma with m = cos(climb) (1 + slip |kappa|): the wheel rolls along the slope and falls
short in curves; the waver is what all passes slid alike, cell by cell (`waver.py`). dx = cos(theta) ds,
dy = sin(theta) ds, dz = gamma ds, by the midpoint rule (error below step^2 kappa' / 24 a mm).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.track.adjust.unknowns import UNTURNED, Unknowns


@dataclass(frozen=True, slots=True)
class Traced:
    """The line on a fine grid sigma (m,): ds/dsigma, plan length, length along the rails and its derivative by slip,
    heading, x, y, z [mm]."""

    sigma: Array
    metric: Array
    s: Array
    along: Array
    along_by_slip: Array
    heading: Array
    x: Array
    y: Array
    z: Array

    def metric_at(self, sigma: Array | float) -> Array:
        """ds/dsigma at places."""
        return np.asarray(np.interp(sigma, 0.5 * (self.sigma[1:] + self.sigma[:-1]), self.metric))

    def length(self, sigma: Array | float) -> Array:
        """Plan length from the grid's start [mm]."""
        return np.asarray(np.interp(sigma, self.sigma, self.s))

    def sigma_at(self, s: Array) -> Array:
        """Places of plan lengths."""
        return np.asarray(np.interp(s, self.s, self.sigma))

    def along_the_rails(self, u: Unknowns, a: float, b: float) -> tuple[float, Array]:
        """Length along the rails from place a to b, as a tape reads it, and its (k,) derivatives by the border."""
        ends = np.array([a, b])
        length, by_slip = (float(np.diff(np.interp(ends, self.sigma, c))[0]) for c in (self.along, self.along_by_slip))
        bounds = np.clip(cell_bounds(u), min(a, b), max(a, b))
        row = np.zeros(len(u.border))
        row[u.names["scale"]] = length / (1 + u.one("scale"))
        row[u.names["slip_mm"]] = by_slip
        cells = np.diff(np.interp(bounds, self.sigma, self.along))
        row[u.names["waver"]] = np.sign(b - a) * cells / (1 + u.some("waver"))
        return length, row


@dataclass(frozen=True, slots=True)
class Metric:
    """At places: ds/dsigma and its derivative by slip."""

    value: Array
    by_slip: Array


def cell_bounds(u: Unknowns) -> Array:
    """(cells + 1,) bounds of the waver's cells along the line."""
    return np.asarray(np.linspace(u.spline.origin, u.spline.origin + u.spline.length, len(u.some("waver")) + 1))


def cell_of(u: Unknowns, sigma: Array) -> NDArray[np.int64]:
    """The waver's cell of each place."""
    cells = len(u.some("waver"))
    number = np.floor((sigma - u.spline.origin) / (u.spline.length / cells)).astype(np.int64)
    return np.mod(number, cells) if u.spline.closed else np.clip(number, 0, cells - 1)


def metric(u: Unknowns, sigma: Array) -> Metric:
    """ds/dsigma; the curvature is that over the wheelbase, which noise hardly touches."""
    mean = u.spline.value_rows(sigma + u.wheelbase_mm / 2) - u.spline.value_rows(sigma - u.wheelbase_mm / 2)
    bend = np.abs(mean @ u.theta / u.wheelbase_mm + u.winding_rad_mm)
    longer = (1 + u.one("scale")) * (1 + u.some("waver")[cell_of(u, sigma)])
    level = np.cos(u.spline.value_rows(sigma) @ u.gamma) * longer
    return Metric(level * (1 + u.one("slip_mm") * bend), level * bend)


def trace(u: Unknowns, step: float) -> Traced:
    """The whole line from the splines' origin."""
    start, stop = u.spline.origin, u.spline.origin + u.spline.length
    edges = np.linspace(start, stop, max(int(np.ceil((stop - start) / step)), 4) + 1)
    middle, dsigma = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    value = u.spline.value_rows(middle)
    heading, gradient = value @ u.theta + u.winding_rad_mm * middle, value @ u.gamma
    m = metric(u, middle)

    def total(slope: Array) -> Array:
        return np.concatenate(([0.0], np.cumsum(slope * dsigma)))

    at_edges = u.spline.value_rows(edges) @ u.theta + u.winding_rad_mm * edges
    x, y, z = (total(m.value * slope) for slope in (np.cos(heading), np.sin(heading), gradient))
    climb = 1 / np.cos(gradient)
    return Traced(edges, m.value, total(m.value), total(m.value * climb), total(m.by_slip * climb), at_edges, x, y, z)


@dataclass(frozen=True, slots=True)
class Positions:
    """Places in space: xyz (3, p) [mm]; by_theta (2, p, n) of x and y, by_gamma (p, n) of z, by_border (3, p, k), all
    at fixed sigma."""

    xyz: Array
    by_theta: Array
    by_gamma: Array
    by_border: Array

    def turned(self, angle: float) -> "Positions":
        """The same with the plan turned to the left about the origin."""
        turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
        xyz, by_border = np.tensordot(turn, self.xyz, 1), np.tensordot(turn, self.by_border, 1)
        return Positions(xyz, np.tensordot(turn[:2, :2], self.by_theta, 1), self.by_gamma, by_border)

    def by_spline(self, axis: int, i: int) -> Array:
        """(3, n) of coordinate x, y or z (0, 1, 2) of place i, by theta, gamma and phi."""
        out = np.zeros((3, self.by_gamma.shape[1]))
        out[axis // 2] = self.by_gamma[i] if axis == 2 else self.by_theta[axis, i]
        return out


def positions(u: Unknowns, places: Array, step: float) -> Positions:
    """x, y, z of places along the line, from its origin, and how the unknowns move them."""
    p = len(places)
    bounds = np.clip(cell_bounds(u), None, places.max())
    edges = np.unique(np.concatenate((bounds, places, np.arange(u.spline.origin, places.max(), step))))
    middle, dsigma = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    value = u.spline.value_rows(middle)
    heading, gradient = value @ u.theta + u.winding_rad_mm * middle, value @ u.gamma
    m = metric(u, middle)
    until = np.searchsorted(edges, places)
    along = np.array([np.cos(heading), np.sin(heading), gradient])
    turning = np.array([-np.sin(heading), np.cos(heading), np.ones_like(heading)]) * m.value * dsigma
    bent = np.array([value @ u.theta, value @ u.theta, gradient]) * turning
    running = _running(along * m.value * dsigma)
    xyz, by_slip = running[:, until], _running(along * m.by_slip * dsigma)[:, until]
    by_theta = np.array([_running_rows(value, turning[axis] / u.gain("z"), until) for axis in (0, 1)])
    by_gamma = _running_rows(value, turning[2] / u.gain("y"), until)
    by_border = np.zeros((3, p, len(u.border)))
    by_border[:, :, u.names["scale"].start] = xyz / (1 + u.one("scale"))
    by_border[:, :, u.names["slip_mm"].start] = by_slip
    bound = np.minimum(until[:, None], np.searchsorted(edges, bounds))
    by_border[:, :, u.names["waver"]] = np.diff(running[:, bound], axis=2) / (1 + u.some("waver"))
    by_scale = _running(bent)[:, until]
    by_border[:2, :, u.names["gyro_scale_z"].start] = -by_scale[:2] / u.gain("z")
    by_border[2, :, u.names["gyro_scale_y"].start] = -by_scale[2] / u.gain("y")
    rolled = _running((value @ u.phi * turning[2])[None])[0, until]
    for name, (share, _) in UNTURNED.items():
        by_border[2, :, u.names[name].start] = share * rolled
    return Positions(xyz, by_theta, by_gamma, by_border)


def _running(values: Array) -> Array:
    return np.concatenate((np.zeros((len(values), 1)), np.cumsum(values, axis=1)), axis=1)


def _running_rows(value: sparse.csr_array, weight: Array, until: NDArray[np.int64]) -> Array:
    """(p, n) sums of weighted rows up to each place."""
    order = np.argsort(until, kind="stable")
    out = np.zeros((len(until), value.shape[1]))
    total, last = np.zeros(value.shape[1]), 0
    for i in order:
        if until[i] > last:
            total = total + value[last : until[i]].T @ weight[last : until[i]]
            last = until[i]
        out[i] = total
    return out
