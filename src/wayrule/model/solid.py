"""A solid to be printed: a closed surface of triangles."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A solid as it lies on the printer's bed: z up, its lowest point at 0.

    name            for file names and for the object inside a file
    vertices_mm     (n, 3) corners [mm]
    triangles       (m, 3) three corners each, anticlockwise seen from outside
    """

    name: str
    vertices_mm: Array
    triangles: NDArray[np.int64]

    def __post_init__(self) -> None:
        frozen(self, "vertices_mm", (None, 3))
        frozen(self, "triangles", (None, 3), dtype=np.int64)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Length, width, height over all [mm]."""
        x, y, z = np.ptp(self.vertices_mm, axis=0).tolist()
        return (x, y, z)
