"""Solids for the printer, cut and joined by the manifold library: boxes and prisms, and how they lie on the bed."""

from typing import Any

import manifold3d
import numpy as np

from wayrule.model import Solid

FINEST_MM = 1e-3
"""Edges shorter than this are merged: cuts that meet leave slivers that other programs take for holes [mm]."""

Shape = Any
"""A `manifold3d.Manifold`; the library is not typed."""


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Shape:
    """A box between two corners [mm].

    >>> round(box((0, 0, 0), (2, 3, 4)).volume(), 6)
    24.0
    """
    size = [b - a for a, b in zip(low, high, strict=True)]
    return manifold3d.Manifold.cube(size).translate(low)


def prism_along_y(outline_xz: list[tuple[float, float]], y0: float, y1: float) -> Shape:
    """A prism along y whose cross-section has these corners (x, z), either way round.

    >>> round(prism_along_y([(0, 0), (2, 0), (0, 2)], -1, 3).volume(), 6)
    8.0
    """
    outline = [(x, -z) for x, z in outline_xz]  # extruded along z, then laid down: z becomes y, y becomes -z
    if _turns(outline) < 0:
        outline.reverse()
    upright = manifold3d.Manifold.extrude(manifold3d.CrossSection([outline]), y1 - y0)
    return upright.rotate((-90.0, 0.0, 0.0)).translate((0.0, y0, 0.0))


def cylinder_along_y(radius: float, y0: float, y1: float, segments: int = 128) -> Shape:
    """A cylinder about the y axis.

    >>> round(cylinder_along_y(1.0, 0.0, 2.0, 720).volume(), 3)
    6.283
    """
    return (
        manifold3d.Manifold.cylinder(y1 - y0, radius, radius, segments).rotate((-90.0, 0.0, 0.0)).translate((0, y0, 0))
    )


def on_the_bed(shape: Shape, name: str) -> Solid:
    """The shape moved so that it stands on the bed (lowest point at z = 0, middle of its outline at x = y = 0).

    Raises
    ------
    ValueError   an empty or open shape: a defect of the one who made it

    >>> on_the_bed(box((5, 5, 5), (6, 7, 8)), "brick").size_mm
    (1.0, 2.0, 3.0)
    """
    if shape.is_empty() or shape.status() != manifold3d.Error.NoError:
        raise ValueError(f"{name}: expected a closed solid, came {shape.status()}")
    mesh = shape.simplify(FINEST_MM).to_mesh64()
    corners = np.array(mesh.vert_properties[:, :3], dtype=float)
    low, high = corners.min(axis=0), corners.max(axis=0)
    corners -= [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]]
    return Solid(name, corners, np.array(mesh.tri_verts, dtype=np.int64))


def shape_of(solid: Solid) -> Shape:
    """Back to a shape, to measure or cut it.

    >>> round(shape_of(on_the_bed(box((0, 0, 0), (1, 2, 3)), "brick")).volume(), 6)
    6.0
    """
    mesh = manifold3d.Mesh64(
        vert_properties=np.array(solid.vertices_mm, dtype=np.float64),
        tri_verts=np.array(solid.triangles, dtype=np.uint64),
    )
    return manifold3d.Manifold(mesh)


def _turns(outline: list[tuple[float, float]]) -> float:
    """Twice the signed area: above 0 for anticlockwise."""
    ahead = [*outline[1:], outline[0]]
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(outline, ahead, strict=True))
