"""Thin permeable rectangles of finite size in a field: what flux they carry and what field they add.

A sheet of thickness t and permeability mu carries the flux K = t (mu - 1) H along itself [field times mm]; where K
ends, there is a charge s = -div K. On a grid of cells, K lives on the lines between cells, s in the cells, each cell
evenly charged:

    K = c (H_source - grad psi),   psi = G s,   s = -div K,   c = t (mu - 1)

All fields in one unit (mu0 H in mT, say); lengths in mm.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array


@dataclass(frozen=True, slots=True)
class Patch:
    """One level rectangle.

    centre_mm            of its middle plane: x, y, z
    length_mm, width_mm  along x and y
    carry_mm             c: thickness times (permeability - 1)
    """

    centre_mm: tuple[float, float, float]
    length_mm: float
    width_mm: float
    carry_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Charged:
    """Rectangles in a field, solved.

    cell_mm    (n, 2) half sizes of the cells; place_mm (n, 3) their middles
    charge     (n, f) for each of f source fields
    flux       (p, f) greatest K in each patch for each source field
    energy     (f,)   half of the integral of -K.H_source over the patches: what the source and the sheets have together
               [field2 mm3], with 1/mu0 an energy
    """

    cell_mm: Array
    place_mm: Array
    charge: Array
    flux: Array
    energy: Array


def charged(
    patches: tuple[Patch, ...],
    source: Callable[[Array], Array],
    *,
    cell_mm: float,
    focus_mm: tuple[float, float] = (0.0, 0.0),
    growth: float = 0.2,
) -> Charged:
    """Solve for the charges.

    Parameters
    ----------
    source : field at points (m, 3) -> (m, 3, f)
    cell_mm : size of the cells at the focus; the grid's error is about (cell over distance to source or observer)
    squared focus_mm : x, y of the source; away from it cells grow by `growth` of the distance

    Notes
    -----
    Thin: the field hardly changes across the sheet (k t small for wavenumbers that matter). The collocation of surface
    charges is the usual boundary-element method for thin shields; cells are exact evenly charged rectangles.
    """
    grids = [_grid(patch, cell_mm, focus_mm, growth) for patch in patches]
    place = np.concatenate([grid.place for grid in grids])
    half = np.concatenate([grid.half for grid in grids])
    lines = _lines(grids, patches)
    outer = np.concatenate([_source_potential(grid, source) for grid in grids])
    along = -(outer[lines.after] - outer[lines.before]) / lines.step[:, None]  # (lines, f)
    potential = _potential(place, place, half)
    # flux = carry (along - slope @ potential @ charge); charge = gather @ flux
    slope = (potential[lines.after] - potential[lines.before]) / lines.step[:, None]
    gather = np.zeros((len(place), len(lines.step)))
    number = np.arange(len(lines.step))
    gather[lines.before, number] = -1 / (2 * half[lines.before, lines.axis])
    gather[lines.after, number] = 1 / (2 * half[lines.after, lines.axis])
    carried = gather * lines.carry
    charge = np.asarray(np.linalg.solve(np.eye(len(place)) + carried @ slope, carried @ along), dtype=np.float64)
    flux = lines.carry[:, None] * (along - slope @ charge)
    energy = 0.5 * np.sum(charge * outer * 4 * np.prod(half, axis=1)[:, None], axis=0)
    return Charged(half, place, charge, _greatest(flux, lines, len(patches)), energy)


def added_field(solved: Charged, points_mm: Array) -> Array:
    """Field that the charges add at points (m, 3) off the sheets: (m, 3, f).

    Notes
    -----
    Evenly charged rectangle: H = -grad of s/(4 pi) [u asinh(v/sqrt(u2+z2)) + v asinh(u/sqrt(v2+z2)) - z atan(uv/(zr))]
    between its corners (closed form of the double integral of 1/r).
    """
    gap = points_mm[:, None] - solved.place_mm
    parts = np.zeros((3, *gap.shape[:2]))
    z = np.where(gap[..., 2] == 0.0, 1e-9, gap[..., 2])
    for sign, u, v in _corners(gap, solved.cell_mm):
        parts[0] -= sign * np.arcsinh(v / np.hypot(u, z))
        parts[1] -= sign * np.arcsinh(u / np.hypot(v, z))
        parts[2] += sign * np.arctan(u * v / (z * np.sqrt(u * u + v * v + z * z)))
    return np.asarray(np.moveaxis(parts, 0, 1) @ solved.charge / (4 * math.pi))


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Cells of one patch: (nx, ny) of them, their half sizes (nx ny, 2), their middles (nx ny, 3)."""

    shape: tuple[int, int]
    half: Array
    place: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Lines between neighbouring cells of all patches, (l,) each; `axis` is the way across, 0 or 1."""

    before: NDArray[np.intp]
    after: NDArray[np.intp]
    axis: NDArray[np.intp]
    patch: NDArray[np.intp]
    step: Array
    carry: Array


def _grid(patch: Patch, cell_mm: float, focus_mm: tuple[float, float], growth: float) -> _Grid:
    sides = [
        _marks(middle - size / 2, middle + size / 2, focus, cell_mm, growth)
        for middle, size, focus in zip(patch.centre_mm, (patch.length_mm, patch.width_mm), focus_mm, strict=False)
    ]
    x, y = ((marks[1:] + marks[:-1]) / 2 for marks in sides)
    half = np.stack(np.meshgrid(*(np.diff(marks) / 2 for marks in sides), indexing="ij"), axis=-1)
    shape = (len(x), len(y))
    place = np.stack([*np.meshgrid(x, y, indexing="ij"), np.full(shape, patch.centre_mm[2])], axis=-1)
    return _Grid(shape, half.reshape(-1, 2), place.reshape(-1, 3))


def _marks(begin: float, end: float, focus: float, cell_mm: float, growth: float) -> Array:
    """Ends of the cells along one side: their size is sqrt(cell2 + (growth times distance from the focus)2)."""
    first, last = (math.asinh(growth * (at - focus) / cell_mm) / growth for at in (begin, end))
    marks = focus + cell_mm / growth * np.sinh(growth * np.linspace(first, last, max(3, math.ceil(last - first) + 1)))
    return np.asarray(marks)


def _lines(grids: list[_Grid], patches: tuple[Patch, ...]) -> _Lines:
    parts = []
    begin = 0
    for number, (grid, patch) in enumerate(zip(grids, patches, strict=True)):
        cells = begin + np.arange(len(grid.place)).reshape(grid.shape)
        for axis, (before, after) in enumerate(((cells[:-1], cells[1:]), (cells[:, :-1], cells[:, 1:]))):
            b, a = before.ravel(), after.ravel()
            step = grid.half[b - begin, axis] + grid.half[a - begin, axis]
            same = np.full((2, len(b)), [[axis], [number]])
            parts.append((b, a, *same, step, np.full(len(b), patch.carry_mm)))
        begin += len(grid.place)
    return _Lines(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _source_potential(grid: _Grid, source: Callable[[Array], Array]) -> Array:
    """Potential of the source field at the cells' middles, up to a constant: (n, f).

    Summed along the first column, then along each row, so that it has no curl at all: what curl a grid of single values
    has would drive currents round in circles, times c.
    """
    node, weight = np.polynomial.legendre.leggauss(3)
    place = grid.place.reshape(*grid.shape, 3)

    def steps(begin: Array, end: Array, axis: int) -> Array:
        points = begin[..., None, :] + (end - begin)[..., None, :] * (1 + node[:, None]) / 2
        field = source(points.reshape(-1, 3))[:, axis].reshape(*points.shape[:-1], -1)
        return np.asarray(-np.einsum("...gf,g->...f", field, weight / 2) * np.abs(end - begin)[..., axis, None])

    up = steps(place[0, :-1], place[0, 1:], 1)
    column = np.concatenate([np.zeros((1, up.shape[1])), np.cumsum(up, axis=0)])
    along = np.cumsum(steps(place[:-1], place[1:], 0), axis=0)
    return np.concatenate([column[None], column[None] + along]).reshape(len(grid.place), -1)


def _potential(points_mm: Array, place_mm: Array, half_mm: Array) -> Array:
    """Potential of evenly charged cells of charge 1 at points: (m, n) [mm]."""
    gap = points_mm[:, None] - place_mm
    z = np.abs(gap[..., 2])
    total = np.zeros(gap.shape[:2])
    for sign, u, v in _corners(gap, half_mm):
        r = np.sqrt(u * u + v * v + z * z)
        total += sign * (u * np.arcsinh(v / np.hypot(u, z)) + v * np.arcsinh(u / np.hypot(v, z)))
        total -= sign * z * np.arctan2(u * v, z * r)
    return np.asarray(total / (4 * math.pi))


def _corners(gap: Array, half_mm: Array) -> Iterator[tuple[float, Array, Array]]:
    """Sign and distances (u, v) of the four corners of a double integral over each cell."""
    for sx in (1.0, -1.0):
        for sy in (1.0, -1.0):
            yield sx * sy, gap[..., 0] + sx * half_mm[:, 0], gap[..., 1] + sy * half_mm[:, 1]


def _greatest(flux: Array, lines: _Lines, patches: int) -> Array:
    """Greatest K of each patch: both parts where they are greatest, at right angles (never too little)."""
    across = [
        [np.max(np.abs(flux[(lines.patch == p) & (lines.axis == a)]), axis=0) for a in (0, 1)] for p in range(patches)
    ]
    return np.array([np.hypot(*pair) for pair in across])
