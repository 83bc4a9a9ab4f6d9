"""DXF: a surveyed line in layers, in mm; and a drawn line read back as a plan.

Straights are LINE, arcs ARC, transitions SPLINE (cubic, with heights), the stations one POLYLINE in space; marks and
faults are points with a text. The file says its unit.
"""

import io
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from wayrule.model import Alignment, Fault, Mark, PlanPiece
from wayrule.model.arrays import Array

LAYERS: Final = {
    "STATIONS": 8,
    "STRAIGHT": 7,
    "ARC": 5,
    "TRANSITION": 3,
    "MARKS": 6,
    "FAULTS": 1,
}
"""Layer -> colour index of the format."""

MM: Final = 4
"""$INSUNITS of millimetres (DXF reference)."""


def write_dxf(
    alignment: Alignment,
    curves: Mapping[int, Array],
    z0_mm: Sequence[float],
    stations: Array,
    places: Sequence[tuple[str, str, float, float, float]] = (),
    *,
    closed: bool = False,
    text_mm: float = 12.0,
) -> bytes:
    """A line as DXF (R2010), in mm.

    Parameters
    ----------
    curves : index of a transition -> (n, 3) points along it, ends included
    z0_mm : height of each piece at its start; lines go on to the next one's, arcs lie level at theirs
    stations : (n, 3) x, y, z
    places : (layer, text, x, y, z)
    """
    import ezdxf
    from ezdxf.math import fit_points_to_cad_cv

    document = ezdxf.new("R2010", units=MM)  # type: ignore[attr-defined]
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for index, piece in enumerate(alignment.plan):
        layer = {"layer": piece.kind.upper()}
        if piece.kind == "straight":
            z1 = z0_mm[index + 1] if index + 1 < len(z0_mm) else z0_mm[index]
            space.add_line((piece.x0_mm, piece.y0_mm, z0_mm[index]), (piece.x1_mm, piece.y1_mm, z1), dxfattribs=layer)
        elif piece.kind == "arc":
            _arc(space, piece, z0_mm[index], layer)
        else:
            tangents = [(math.cos(h), math.sin(h), 0.0) for h in (piece.heading0_rad, piece.heading1_rad)]
            points = [tuple(map(float, point)) for point in curves[index]]
            space.add_spline(dxfattribs=layer).apply_construction_tool(fit_points_to_cad_cv(points, tangents=tangents))
    polyline = space.add_polyline3d([tuple(map(float, p)) for p in stations], dxfattribs={"layer": "STATIONS"})
    polyline.close(closed)
    for layer_name, text, x, y, z in places:
        at = {"layer": layer_name}
        space.add_point((x, y, z), dxfattribs=at)
        space.add_text(text, height=text_mm, dxfattribs=at).set_placement((x + text_mm / 2, y + text_mm / 2))
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def _arc(space: Any, piece: PlanPiece, z: float, layer: dict[str, str]) -> None:
    """Counter-clockwise, as the format has them; a right-hand curve begins at its end."""
    radius = 1.0 / piece.curvature0_1_mm
    cx = piece.x0_mm - radius * math.sin(piece.heading0_rad)
    cy = piece.y0_mm + radius * math.cos(piece.heading0_rad)
    ends = [(piece.x0_mm, piece.y0_mm), (piece.x1_mm, piece.y1_mm)]
    if radius < 0:
        ends.reverse()
    angles = [math.degrees(math.atan2(y - cy, x - cx)) for x, y in ends]
    space.add_arc((cx, cy, z), abs(radius), *angles, dxfattribs=layer)


def labelled(
    faults: Sequence[Fault], marks: Sequence[tuple[float, Mark]], at: Any
) -> list[tuple[str, str, float, float, float]]:
    """Faults and marks with their places; `at` takes a chainage to x, y, z."""
    out = [("FAULTS", f"{f.kind} {f.size:+.2f} {f.unit}", *at(f.s_mm)) for f in faults]
    out += [("MARKS", mark.name, *at(s)) for s, mark in marks]
    return [one for one in out if all(np.isfinite(one[2:]))]
