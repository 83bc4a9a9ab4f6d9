"""A drawn line of a DXF file as a plan: lines, arcs, polylines with bulges and splines of one layer, end to end."""

import io
import math
from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from wayrule.errors import WayruleError
from wayrule.model import Alignment, PlanPiece

UNITS_MM: Final = {0: 1.0, 1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0}
"""$INSUNITS -> mm (DXF reference): none (taken as mm), inch, foot, mm, cm, m."""

JOINED_MM: Final = 0.5
"""Ends so near each other are one joint; what is farther apart is a gap in the drawing."""

SPLINE_PIECES: Final = 32
DRAWN: Final = ("LINE", "ARC", "LWPOLYLINE", "POLYLINE", "SPLINE")


def read_dxf(data: bytes, name: str, layers: Iterable[str] = ()) -> Alignment:
    """The line drawn on some layers.

    Parameters
    ----------
    layers : whose entities make the line; none: all of the file, stations and points of `wayrule report` left out

    Raises
    ------
    WayruleError   for what is no DXF, has nothing drawn there, or is not one line end to end
    """
    document = _opened(data, name)
    unit = UNITS_MM.get(int(document.header.get("$INSUNITS", 0)), 0.0)
    if not unit:
        raise WayruleError(
            expected="a drawing in mm, cm, m, inches or feet",
            came=f"$INSUNITS {document.header.get('$INSUNITS')}",
            where=name,
            next_step="export it in mm",
        )
    wanted = set(layers)
    entities = [e for e in document.modelspace() if e.dxftype() in DRAWN]
    known = sorted({e.dxf.layer for e in entities})
    entities = [e for e in entities if (e.dxf.layer in wanted if wanted else e.dxf.layer != "STATIONS")]
    strokes = [piece for entity in entities for piece in _strokes(entity, unit)]
    if not strokes:
        raise WayruleError(
            expected="lines, arcs, polylines or splines" + (f" on layer {', '.join(sorted(wanted))}" if wanted else ""),
            came=f"none; layers with some: {', '.join(known) or 'none'}",
            where=name,
            next_step="name the layer of the track with --layer",
        )
    return Alignment(name, 0.0, tuple(_chained(strokes, name)))


def _opened(data: bytes, name: str) -> Any:
    import ezdxf

    try:
        return ezdxf.read(io.StringIO(data.decode("utf-8", errors="surrogateescape")))  # type: ignore[attr-defined]
    except (ezdxf.DXFError, ValueError, OSError) as error:  # type: ignore[attr-defined]
        raise WayruleError(
            expected="a DXF file, as text",
            came=str(error).splitlines()[0] if str(error) else "something else",
            where=name,
            next_step="export the drawing as DXF (R2000 or later, ASCII)",
        ) from None


def _strokes(entity: Any, unit: float) -> list[PlanPiece]:
    """An entity as pieces, in mm, in its own direction."""
    kind = entity.dxftype()
    if kind in ("LWPOLYLINE", "POLYLINE"):
        return [piece for part in entity.virtual_entities() for piece in _strokes(part, unit)]
    if kind == "LINE":
        a, b = (complex(p[0], p[1]) * unit for p in (entity.dxf.start, entity.dxf.end))
        return [_straight(a, b)] if abs(b - a) > 1e-9 else []
    if kind == "ARC":
        return [_arc(entity, unit)]
    return _spline(entity, unit) if kind == "SPLINE" else []


def _straight(a: complex, b: complex) -> PlanPiece:
    heading = math.atan2((b - a).imag, (b - a).real)
    return PlanPiece(a.real, a.imag, heading, b.real, b.imag, heading, 0.0, 0.0, abs(b - a))


def _arc(entity: Any, unit: float) -> PlanPiece:
    """Counter-clockwise, as the format has them; seen from below (extrusion -1) it is already turned by the library."""
    a, b = (complex(p[0], p[1]) * unit for p in (entity.start_point, entity.end_point))
    radius = entity.dxf.radius * unit
    side = 1.0 if entity.dxf.extrusion[2] > 0 else -1.0
    turn = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0)
    start = math.radians(entity.dxf.start_angle)
    heading = start + math.pi / 2 if side > 0 else math.pi - start - math.pi / 2
    k = side / radius
    return PlanPiece(a.real, a.imag, heading, b.real, b.imag, heading + side * turn, k, k, radius * turn)


def _spline(entity: Any, unit: float) -> list[PlanPiece]:
    """Pieces with the spline's own curvature at their ends."""
    curve = entity.construction_tool()
    rows = curve.derivatives(np.linspace(0.0, curve.max_t, SPLINE_PIECES + 1), n=2)
    place, first, second = np.array([[complex(v[0], v[1]) * unit for v in row[:3]] for row in rows]).T
    speed = np.abs(first)
    curvature = np.imag(np.conj(first) * second) / speed**3
    heading = np.unwrap(np.angle(first))
    step = np.abs(np.diff(place)) / np.sinc(np.diff(heading) / (2 * np.pi))
    return [
        PlanPiece(
            float(place[i].real), float(place[i].imag), float(heading[i]), float(place[i + 1].real),
            float(place[i + 1].imag), float(heading[i + 1]), float(curvature[i]), float(curvature[i + 1]),
            float(step[i]),
        )
        for i in range(SPLINE_PIECES)
    ]  # fmt: skip


def _turned(p: PlanPiece) -> PlanPiece:
    """A piece drawn from its other end."""
    return PlanPiece(
        p.x1_mm, p.y1_mm, p.heading1_rad + math.pi, p.x0_mm, p.y0_mm, p.heading0_rad + math.pi, -p.curvature1_1_mm,
        -p.curvature0_1_mm, p.length_mm,
    )  # fmt: skip


def _chained(strokes: list[PlanPiece], name: str) -> list[PlanPiece]:
    """All strokes end to end, the first as it was drawn; what leads to its start comes before it."""
    chain, left = [strokes[0]], strokes[1:]
    while left:
        found = _next(chain[-1].x1_mm, chain[-1].y1_mm, left)
        if found is not None:
            chain.append(found[1])
        else:
            before = _next(chain[0].x0_mm, chain[0].y0_mm, left)
            if before is None:
                raise WayruleError(
                    expected=f"one line whose pieces meet within {JOINED_MM:g} mm",
                    came=f"{len(left)} of {len(strokes)} pieces apart from it, which ends at x {chain[-1].x1_mm:.1f}, "
                    f"y {chain[-1].y1_mm:.1f} mm",
                    where=name,
                    next_step="close the gap in the drawing, or name the layer of the track with --layer",
                )
            chain.insert(0, _turned(before[1]))
            found = before
        left.pop(found[0])
    return chain


def _next(x: float, y: float, left: list[PlanPiece]) -> tuple[int, PlanPiece] | None:
    """(index, piece so turned that it begins there) of the nearest stroke, if one is near."""
    best: tuple[float, int, PlanPiece] | None = None
    for index, p in enumerate(left):
        for one in (p, _turned(p)):
            gap = math.hypot(one.x0_mm - x, one.y0_mm - y)
            if gap <= JOINED_MM and (best is None or gap < best[0]):
                best = (gap, index, one)
    return None if best is None else best[1:]
