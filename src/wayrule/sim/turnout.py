"""A spur that leaves a line over a turnout: one and the same track up to its toe, a way of its own beyond."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wayrule.sim.design import Design, Grade, Piece, straight, transition
from wayrule.sim.laying import GRID_MM, tabulated
from wayrule.sim.layouts import oval
from wayrule.sim.railway import Railway

Floats = NDArray[np.float64]


def spur_of(line: Railway, toe_mm: float, pieces: Iterable[Piece], *, name: str, grades: Iterable[Grade]) -> Railway:
    """The open line that follows `line` from chainage 0 to the toe of a turnout and then takes pieces of its own.

    Parameters
    ----------
    line : as laid; up to the toe its track is the spur's, roughness and joints included
    toe_mm : chainage of the turnout's toe
    pieces : of the spur beyond the toe
    grades : beyond the toe, as long together as the pieces; the grade that holds at the toe runs on through the first

    Returns
    -------
    Railway   open. Beyond the toe it is as rough as the line is at the same chainage.

    Raises
    ------
    ValueError   a toe off the line, a spur longer than the line, or grades as long as something else

    Examples
    --------
    >>> from wayrule.sim import arc, build, straight
    >>> line = build("Main", [straight(3000.0)])
    >>> spur = spur_of(line, 1000.0, [arc(600.0, -15.0), straight(500.0)], name="Spur", grades=[Grade(657.08, 0.0)])
    >>> round(spur.length_mm, 1), round(float(np.degrees(spur.heading(1650.0))), 1)
    (1657.1, -15.0)
    """
    design = _design(line.design, toe_mm, tuple(pieces), tuple(grades), name)
    length = design.length_mm
    if length > line.length_mm:
        raise ValueError(f"{name}: expected at most the line's {line.length_mm:.0f} mm in all, came {length:.0f} mm")
    s = np.linspace(0.0, length, max(2, round(length / GRID_MM)) + 1)
    # what roughness and joints add to the line's design, they add to the spur's
    heading, curvature, cant = _sum(
        design.plan(s), line.design.plan(s), (line.heading(s), line.curvature(s), line.cant(s))
    )
    z, gradient = _sum(design.profile(s), line.design.profile(s), (line.z(s), line.gradient(s)))
    return tabulated(design, length, heading, curvature, z, gradient, cant)


def _sum(own: tuple[Floats, ...], meant: tuple[Floats, ...], laid: tuple[Floats, ...]) -> tuple[Floats, ...]:
    return tuple(o + (is_ - m) for o, m, is_ in zip(own, meant, laid, strict=True))


def _design(line: Design, toe_mm: float, pieces: tuple[Piece, ...], grades: tuple[Grade, ...], name: str) -> Design:
    """What the spur's builder meant: the line's pieces and grades up to the toe, then its own."""
    if not 0.0 < toe_mm < line.length_mm:
        raise ValueError(f"{name}: expected a toe between 0 and {line.length_mm:.0f} mm, came {toe_mm:.0f} mm")
    own_mm = sum(p.length_mm for p in pieces)
    if abs(sum(g.length_mm for g in grades) - own_mm) > 0.1:
        raise ValueError(
            f"{name}: expected grades over {own_mm:.1f} mm like the pieces beyond the toe, "
            f"came {sum(g.length_mm for g in grades):.1f} mm"
        )
    lengths, slopes = line.fitted_grades()
    if not len(slopes):
        lengths, slopes = np.array([line.length_mm]), np.zeros(1)
    if line.closed and slopes[0] != slopes[-1]:
        raise ValueError(
            f"{name}: expected a line whose first and last grade are one, came {slopes[0]:g}, {slopes[-1]:g}"
        )
    edges = np.concatenate([[0.0], np.cumsum(lengths)])
    last = int(np.searchsorted(edges, toe_mm) - 1)
    before = [Grade(float(a), float(g)) for a, g in zip(lengths[:last], slopes[:last], strict=True)]
    through = Grade(toe_mm - float(edges[last]) + grades[0].length_mm, float(slopes[last]))
    return replace(
        line,
        name=name,
        closed=False,
        pieces=(*_until(line.pieces, toe_mm), *pieces),
        grades=(*before, through, *grades[1:]),
        defects=(),
    )


def _until(pieces: tuple[Piece, ...], toe_mm: float) -> list[Piece]:
    """Pieces up to a chainage, the last one cut there."""
    out: list[Piece] = []
    at = 0.0
    for piece in pieces:
        if at + piece.length_mm >= toe_mm:
            share = (toe_mm - at) / piece.length_mm
            k = piece.curvature0_1_mm + share * (piece.curvature1_1_mm - piece.curvature0_1_mm)
            high = piece.cant0_mm + share * (piece.cant1_mm - piece.cant0_mm)
            return [*out, replace(piece, length_mm=toe_mm - at, curvature1_1_mm=k, cant1_mm=high)]
        out.append(piece)
        at += piece.length_mm
    return out


def line_and_spur(rng: np.random.Generator, *, roughness: float = 1.0) -> tuple[Railway, Railway]:
    """An HO oval of about 9 m and the spur to a coal drop that leaves it over a turnout on its far side.

    The spur is the first half of the oval, the turnout to the outside, and about 3.5 m with two bends and a climb.
    """
    line = oval(rng, roughness=roughness)
    bend_mm = sum(p.length_mm for p in line.design.pieces[:4])  # half a side and the first bend
    toe_mm = bend_mm + 0.3 * line.design.pieces[4].length_mm
    lead = float(rng.uniform(600.0, 750.0))
    k, ease = 1.0 / float(rng.uniform(480.0, 650.0)), float(rng.uniform(160.0, 220.0))
    turnout = Piece("arc", lead * float(np.radians(rng.uniform(10.0, 15.0))), -1.0 / lead, -1.0 / lead)
    pieces = [
        turnout,
        straight(float(rng.uniform(350.0, 550.0))),
        transition(ease, 0.0, -k, cant1_mm=0.8),
        Piece("arc", float(rng.uniform(0.6, 1.0)) / k, -k, -k, 0.8, 0.8),
        transition(ease, -k, 0.0, cant0_mm=0.8),
        straight(float(rng.uniform(300.0, 450.0))),
        transition(ease, 0.0, k, cant1_mm=-0.8),
        Piece("arc", float(rng.uniform(0.5, 0.8)) / k, k, k, -0.8, -0.8),
        transition(ease, k, 0.0, cant0_mm=-0.8),
        straight(float(rng.uniform(500.0, 700.0))),
    ]
    beyond_mm = sum(p.length_mm for p in pieces)
    shares = np.array([0.25, 0.3, 0.25, 0.2]) * beyond_mm
    grades = [
        Grade(float(a), g) for a, g in zip(shares, (0.0, float(rng.uniform(0.01, 0.02)), 0.0, -0.01), strict=True)
    ]
    return line, spur_of(line, toe_mm, pieces, name="Godfrey's coal spur", grades=grades)
