"""The field of the magnets on the axle, at the sensor, over one turn of the wheel.

Frame: axle centre; x forward, y left (along the axle), z up. The axle angle phi turns about +y (z towards x), so it
grows when the wagon rolls forward; at phi = 0 the magnets' axis points up.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from wayrule.maths.continuation import Continuation
from wayrule.model import Magnets
from wayrule.model.arrays import Array
from wayrule.wagon.sources import Source, as_drawn, sources_of, swept_mm
from wayrule.wagon.turns import fields_over_turn


@dataclass(frozen=True, slots=True, eq=False)
class TurnField:
    """Field at the sensor over one turn, interpolated periodically.

    phi_rad    (m + 1,) angles from 0 to 2 pi
    field_mt   (m + 1, 3) field there, last row = first row
    """

    phi_rad: Array
    field_mt: Array

    def at(self, phi_rad: ArrayLike) -> Array:
        """Field at any axle angles (n,), unwrapped or not: (n, 3) [mT]."""
        turn = np.mod(np.asarray(phi_rad, dtype=float), 2 * math.pi)
        return np.asarray(CubicSpline(self.phi_rad, self.field_mt, bc_type="periodic")(turn))


def turn_field(
    magnets: Magnets,
    place_mm: tuple[float, float, float],
    *,
    steps: int = 720,
    offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    tilt_rad: tuple[float, float] = (0.0, 0.0),
    imbalance: float = 0.0,
    floor: Continuation | None = None,
) -> TurnField:
    """Field of the magnets at the sensor over one turn.

    Parameters
    ----------
    magnets : any kind, with its sizes and grade or remanence: see `sources.sources_of`
    place_mm : of the sensor from the axle centre: forward, left, up
    steps : table rows per turn
    offset_mm : of the magnets from their right place, in the turning frame at phi = 0
    tilt_rad : of the axle against the wagon's y axis, about x and about z
    imbalance : the upper magnet is stronger by this fraction, the lower weaker
    floor : what lies between, from `plates.passage`; None is air

    Raises
    ------
    ValueError   a missing size, or a sensor inside the circle that the magnets sweep

    Notes
    -----
    Far away a pair is a dipole m at right angles to the axle: straight above, the component along the line of sight is
    twice the one across (an ellipse 2:1).

    Examples
    --------
    >>> pair = Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42")
    >>> field = turn_field(pair, (0.0, 0.0, 12.5)).at([0.0, np.pi / 2])
    >>> [round(float(b), 2) for b in field[:, [2, 0]].diagonal()]
    [2.71, -1.31]
    """
    sources = sources_of(magnets)
    outside(sources, place_mm)
    drawn = as_drawn(1, len(sources))
    build = replace(
        drawn,
        strength=imbalance * np.array([[1.0, -1.0][: len(sources)]]),
        shift_mm=drawn.shift_mm + np.asarray(offset_mm, dtype=float),
        axle_rad=np.array([tilt_rad], dtype=float),
    )
    phi = np.linspace(0.0, 2 * math.pi, steps + 1)
    field_mt = fields_over_turn(sources, place_mm, build=build, phi_rad=phi, floor=floor, truncated=1e-12)[0]
    field_mt[-1] = field_mt[0]
    return TurnField(phi, field_mt)


def outside(sources: tuple[Source, ...], place_mm: tuple[float, float, float]) -> None:
    """Refuse a sensor inside what the magnets sweep.

    Raises
    ------
    ValueError   with the circle and the place
    """
    swept, side = swept_mm(sources)
    if math.hypot(place_mm[0], place_mm[2]) <= swept and abs(place_mm[1]) <= side:
        raise ValueError(f"magnets: the sensor must lie outside the {swept:.2f} mm circle they sweep, came {place_mm}")
