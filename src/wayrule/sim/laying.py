"""Laying a line: from what was meant to what the track really is; a closed line is made to close exactly."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from wayrule.sim.design import Design, Grade, Piece
from wayrule.sim.irregularity import Defect, Joints, Roughness, offsets
from wayrule.sim.railway import Railway, Tables

Floats = NDArray[np.float64]

GRID_MM: Final = 0.5
"""Step of the tables. Cubic interpolation of a curve of 300 mm radius errs by less than 1e-8 mm at this step."""

_CLOSED_MM: Final = 1e-9
"""A line that misses its start by less is closed; the rest is spread, far below a rounding error of any survey."""

_RAD_WEIGHT_MM: Final = 1e3
"""A heading that misses by a milliradian counts as much as a place that misses by a millimetre."""


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
    >>> from wayrule.sim.design import arc, straight
    >>> line = build("Siding", [straight(300.0), arc(500.0, 30.0)])
    >>> round(float(np.degrees(line.heading(line.length_mm))), 6)
    30.0
    """
    design = Design(
        name, scale, ratio, gauge_mm, closed, tuple(pieces), tuple(grades), vertical_curve_mm, tuple(defects),
        roughness, joints,
    )  # fmt: skip
    if not design.pieces:
        raise ValueError(f"{name}: a railway needs at least one piece")
    phases = np.zeros((3, 1), dtype=complex)
    if roughness is not None:
        if rng is None:
            raise ValueError(f"{name}: roughness needs a random generator")
        # a few waves more than needed: closing may lengthen the line
        waves = int(1.2 * design.length_mm / roughness.shortest_mm) + 2
        phases = rng.standard_normal((3, waves)) + 1j * rng.standard_normal((3, waves))
    return _close(design, phases) if closed else _tabulate(design, phases)


def _tabulate(design: Design, phases: NDArray[np.complex128]) -> Railway:
    """What the track is, on the grid."""
    length = design.length_mm
    n = next_fast_len(max(2, round(length / GRID_MM)))  # the roughness is a Fourier sum
    s = np.linspace(0.0, length, n + 1)
    heading, curvature, cant = design.plan(s)
    z, gradient = design.profile(s)
    o = offsets(
        s,
        length,
        closed=design.closed,
        defects=design.defects,
        roughness=design.roughness,
        joints=design.joints,
        phases=phases,
    )
    heading, curvature = heading + o.turn_rad, curvature + o.curvature_1_mm
    z, gradient, cant = z + o.level_mm, gradient + o.gradient, cant + o.cant_mm
    return tabulated(design, length, heading, curvature, z, gradient, cant)


def tabulated(
    design: Design,
    length_mm: float,
    heading_rad: Floats,
    curvature_1_mm: Floats,
    z_mm: Floats,
    gradient: Floats,
    cant_mm: Floats,
) -> Railway:
    """A railway from what its track is on a uniform grid from 0 to its length; places follow from the heading."""
    step = length_mm / (len(heading_rad) - 1)
    slope = np.asarray(np.gradient(cant_mm, step), dtype=float)
    if design.closed:
        slope[0] = slope[-1] = (cant_mm[1] - cant_mm[-2]) / (2 * step)
    cos, sin = np.cos(heading_rad), np.sin(heading_rad)
    x, y = _integral(cos, -curvature_1_mm * sin, step), _integral(sin, curvature_1_mm * cos, step)
    turn = float(heading_rad[-1] - heading_rad[0])
    total = _integral(cant_mm, slope, step)
    level = z_mm - z_mm[0]
    tables = Tables(step, x, y, level, heading_rad, curvature_1_mm, gradient, cant_mm, cos, sin, slope, total)
    return Railway(design, length_mm, turn, tables)


def _integral(f: Floats, slope: Floats, step: float) -> Floats:
    """Running integral by the end-corrected trapezoidal rule (Euler-Maclaurin, fourth order)."""
    cell = 0.5 * step * (f[1:] + f[:-1]) - step**2 / 12 * (slope[1:] - slope[:-1])
    return np.concatenate([[0.0], np.cumsum(cell)])


def _close(design: Design, phases: NDArray[np.complex128]) -> Railway:
    """Lengthen or shorten straights and arcs until the line closes (Newton steps of least relative change)."""
    whole = 2 * np.pi * round(sum(p.turn_rad for p in design.pieces) / (2 * np.pi))
    free = [i for i, p in enumerate(design.pieces) if p.kind != "transition"]
    for _ in range(30):
        line = _tabulate(design, phases)
        end_x, end_y = line.tables.x_mm[-1], line.tables.y_mm[-1]
        miss = np.array([end_x, end_y, (line.turn_rad - whole) * _RAD_WEIGHT_MM])
        # height needs no fitting: the grades were balanced in closed form, and offsets are periodic
        assert abs(line.tables.z_mm[-1]) < 1e-6, f"{design.name}: height misses by {line.tables.z_mm[-1]} mm"
        if np.max(np.abs(miss)) < _CLOSED_MM:
            return sealed(line, whole)
        length = np.array([design.pieces[i].length_mm for i in free])
        k = np.array([design.pieces[i].curvature1_1_mm for i in free])
        ends = np.cumsum([p.length_mm for p in design.pieces])[free]
        place = line.place(np.minimum(ends, line.length_mm * (1 - 1e-12)))
        x, y, _z = line.xyz_at(place)
        t = line.heading_at(place)
        # a piece that grows by d moves all that follows by d along the heading at its end, and turns it by k d
        by_length = np.stack([np.cos(t) - k * (end_y - y), np.sin(t) + k * (end_x - x), k * _RAD_WEIGHT_MM])
        change = -np.linalg.pinv(by_length * length) @ miss
        if np.max(np.abs(change)) > 0.5:
            break
        grown = dict(zip(free, length * (1 + change), strict=True))
        pieces = tuple(replace(p, length_mm=grown.get(i, p.length_mm)) for i, p in enumerate(design.pieces))
        design = replace(design, pieces=pieces)
    raise ValueError(
        f"{design.name}: these pieces cannot be closed, they miss by {miss[0]:.1f} and {miss[1]:.1f} mm; "
        "change the plan"
    )


def sealed(line: Railway, whole: float) -> Railway:
    """Spread what a ring misses its start by (1e-9 mm after closing) so that the end is the start to the last digit."""
    t = line.tables
    u = np.linspace(0.0, 1.0, len(t.x_mm))
    x, y, z = (a - u * a[-1] for a in (t.x_mm, t.y_mm, t.z_mm))
    heading = t.heading_rad - u * (line.turn_rad - whole)
    x[-1], y[-1], z[-1], heading[-1] = x[0], y[0], z[0], heading[0] + whole
    return replace(line, turn_rad=whole, tables=replace(t, x_mm=x, y_mm=y, z_mm=z, heading_rad=heading))
