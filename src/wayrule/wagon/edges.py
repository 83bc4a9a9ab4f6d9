"""Steel plates that end: what their edges let round, and how full of flux they are.

`plates.passage` takes planes as infinite. Here the plates have the sizes that the wagon file gives; they are thin
sheets on a grid (`maths.patches`). The difference between the sheet as it is and the same sheet without an end is what
the edges cost, and stands in the answer as a bound; the thickness, which the grid leaves out, is in `plates.passage`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.maths.patches import Charged, Patch, added_field, charged
from wayrule.model import FloorLayer
from wayrule.model.arrays import Array
from wayrule.wagon.fields import field_mt
from wayrule.wagon.materials import Material, of_layer
from wayrule.wagon.plates import covers, passage
from wayrule.wagon.sources import Source
from wayrule.wagon.turns import about_y, fields_over_turn

ANGLES: Final = 24
MAGNETIC: Final = 1.1
"""Permeability above which a layer counts as a plate here; stainless steel of 1.01 does next to nothing."""

THIN_MM: Final = 1e-4
CELLS: Final = 4.0
"""The smallest cells are this part of the distance between plate and magnets, or plate and sensor."""

ENDLESS: Final = 8.0
"""A layer without sizes reaches this many times its height to either side when its flux is computed."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeEffect:
    """What the ends of the plates change at the sensor.

    phi_rad       (a,) axle angles
    change_mt     (a, 3) field to be added to that behind endless plates, `passage(..., over_mm=...)`
    bound_mt      greatest size of it over a turn
    share         the same over the greatest field behind the endless plates
    """

    phi_rad: Array
    change_mt: Array
    bound_mt: float
    share: float


@dataclass(frozen=True, slots=True)
class Fullness:
    """How full of flux a plate is.

    layer, material
    polarisation_mt   greatest in it, over a turn
    saturation_mt     at which it is full
    """

    layer: FloorLayer
    material: Material
    polarisation_mt: float
    saturation_mt: float

    @property
    def share(self) -> float:
        """Polarisation over saturation; above about 0.7 it shields less than is computed, at 1 hardly more."""
        return self.polarisation_mt / self.saturation_mt


def edge_effect(
    sources: tuple[Source, ...], place_mm: tuple[float, float, float], floor: Sequence[FloorLayer]
) -> EdgeEffect | None:
    """What the ends of plates with stated sizes change at the sensor; None where no plate has an end.

    Notes
    -----
    Thin sheets: behind an endless one T = 1/(1 + k t (mu - 1)/2). Layers without sizes are left out of both sides of
    the difference, so behind one of them the bound is too great rather than too small.
    """
    ends = [layer for layer in magnetic(floor) if layer.length_mm is not None or layer.width_mm is not None]
    if not ends:
        return None
    phi = np.linspace(0.0, 2 * math.pi, ANGLES, endpoint=False)
    solved = solved_plates(sources, ends, phi, near_mm=place_mm[2])
    finite = np.moveaxis(added_field(solved, np.array([place_mm]))[0], -1, 0)
    free = fields_over_turn(sources, place_mm, phi_rad=phi)[0]
    over = [_endless(layer) for layer in ends if covers(layer, place_mm[0], place_mm[1])]
    thin = passage(over, place_mm[2])
    endless = fields_over_turn(sources, place_mm, phi_rad=phi, floor=thin)[0]
    change = free + finite - endless
    bound = float(np.max(np.linalg.norm(change, axis=1)))
    return EdgeEffect(phi, change, bound, bound / float(np.max(np.linalg.norm(endless, axis=1))))


def fullness(sources: tuple[Source, ...], floor: Sequence[FloorLayer]) -> tuple[Fullness, ...]:
    """How full of flux each steel layer is at the worst angle of the axle.

    Notes
    -----
    The flux along the sheet over its thickness; computed as if it never saturated, so above the saturation it says only
    that it is full.
    """
    plates = magnetic(floor)
    if not plates:
        return ()
    phi = np.linspace(0.0, math.pi, ANGLES // 2, endpoint=False)
    solved = solved_plates(sources, plates, phi)
    worst = np.max(solved.flux, axis=1)
    found = []
    for layer, flux in zip(plates, worst, strict=True):
        made_of = of_layer(layer)
        full = made_of.saturation_mt or math.inf
        found.append(Fullness(layer, made_of, float(flux) / layer.thickness_mm, full))
    return tuple(found)


def magnetic(floor: Sequence[FloorLayer]) -> list[FloorLayer]:
    """The layers that count as steel."""
    return [layer for layer in floor if of_layer(layer).permeability > MAGNETIC]


def _patch(layer: FloorLayer) -> Patch:
    middle = layer.height_mm + layer.thickness_mm / 2
    x, y = layer.centre_mm or (0.0, 0.0)
    endless = 2 * ENDLESS * layer.height_mm
    length = endless if layer.length_mm is None else layer.length_mm
    width = endless if layer.width_mm is None else layer.width_mm
    return Patch((x, y, middle), length, width, layer.thickness_mm * (of_layer(layer).permeability - 1))


def solved_plates(
    sources: tuple[Source, ...], layers: Sequence[FloorLayer], phi: Array, *, near_mm: float = math.inf
) -> Charged:
    """Thin plates in the field of the magnets at each angle; `near_mm` is the height of a sensor that looks at them."""
    patches = tuple(_patch(layer) for layer in layers)
    finest = min(min(p.centre_mm[2], abs(near_mm - p.centre_mm[2])) for p in patches) / CELLS
    turn = about_y(phi)

    def source(points: Array) -> Array:
        seen = field_mt(sources, np.einsum("aji,pj->api", turn, points))
        return np.asarray(np.einsum("aij,apj->pia", turn, seen))

    return charged(patches, source, cell_mm=finest)


def _endless(layer: FloorLayer) -> FloorLayer:
    """The same sheet without ends, so thin that only thickness times permeability counts."""
    carry = layer.thickness_mm * (of_layer(layer).permeability - 1)
    middle = layer.height_mm + layer.thickness_mm / 2
    return FloorLayer(None, THIN_MM, middle, relative_permeability=1 + carry / THIN_MM)
