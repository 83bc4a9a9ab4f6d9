"""The field of the magnets on the axle, at the sensor, over one turn of the wheel.

Frame: axle centre; x forward, y left (along the axle), z up. The axle angle phi turns about +y (z towards x), so it
grows when the wagon rolls forward; at phi = 0 the magnets' axis points up.
"""

import math
from dataclasses import dataclass
from typing import Any, Final

import magpylib
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from wayrule.model import Magnets

Floats = NDArray[np.float64]

REMANENCE_MT: Final[dict[str, tuple[float, float]]] = {
    "N35": (1170.0, 1220.0),
    "N38": (1220.0, 1250.0),
    "N40": (1250.0, 1280.0),
    "N42": (1280.0, 1320.0),
    "N45": (1320.0, 1380.0),
    "N48": (1370.0, 1420.0),
    "N50": (1390.0, 1450.0),
    "N52": (1420.0, 1480.0),
}
"""Least and greatest remanence of the trade's NdFeB grades [mT]: the range over suppliers' published tables."""


@dataclass(frozen=True, slots=True, eq=False)
class TurnField:
    """Field at the sensor over one turn, interpolated periodically.

    phi_rad    (m + 1,) angles from 0 to 2 pi
    field_mt   (m + 1, 3) field there, last row = first row
    """

    phi_rad: Floats
    field_mt: Floats

    def at(self, phi_rad: ArrayLike) -> Floats:
        """Field at any axle angles (n,), unwrapped or not: (n, 3) [mT]."""
        turn = np.mod(np.asarray(phi_rad, dtype=float), 2 * math.pi)
        return np.asarray(CubicSpline(self.phi_rad, self.field_mt, bc_type="periodic")(turn))


def remanence_mt(magnets: Magnets) -> tuple[float, float]:
    """Least and greatest remanence [mT], from `remanence_mt` or the grade.

    Raises
    ------
    ValueError   when neither is given or the grade is unknown, with the known ones

    >>> remanence_mt(Magnets("disc_pair", grade="n42"))
    (1280.0, 1320.0)
    """
    if magnets.remanence_mt is not None:
        return magnets.remanence_mt
    grade = (magnets.grade or "").upper()
    if grade not in REMANENCE_MT:
        raise ValueError(
            f"magnets: expected grade to be one of {', '.join(REMANENCE_MT)} or a remanence_mt, came {magnets.grade!r}"
        )
    return REMANENCE_MT[grade]


def turn_field(
    magnets: Magnets,
    place_mm: tuple[float, float, float],
    *,
    steps: int = 720,
    offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    tilt_rad: tuple[float, float] = (0.0, 0.0),
    imbalance: float = 0.0,
) -> TurnField:
    """Field of a disc pair (or a single disc) at the sensor over one turn, in air.

    Parameters
    ----------
    magnets : kind "disc_pair" (two discs on opposite flats, magnetised the same way through the axle) or "single"
        (the upper one alone); diameter, thickness, flat radius and grade or remanence are needed
    place_mm : of the sensor from the axle centre: forward, left, up
    steps : table rows per turn
    offset_mm : of the magnets from their right place, in the turning frame at phi = 0
    tilt_rad : of the axle against the wagon's y axis, about x and about z
    imbalance : the upper disc is stronger by this fraction, the lower weaker

    Returns
    -------
    TurnField

    Raises
    ------
    ValueError   a missing size, another kind, or a sensor inside the circle that the magnets sweep

    Notes
    -----
    Closed-form field of a homogeneously magnetised cylinder (magpylib). Far away the pair is a dipole m at right
    angles to the axle: straight above, the component along the line of sight is twice the one across (an ellipse 2:1).
    One library call for the whole turn: a call costs as much for one point as for hundreds.

    Examples
    --------
    >>> pair = Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42")
    >>> field = turn_field(pair, (0.0, 0.0, 12.5)).at([0.0, np.pi / 2])
    >>> [round(float(b), 2) for b in field[:, [2, 0]].diagonal()]
    [2.71, -1.31]
    """
    d, t, flat = magnets.diameter_mm, magnets.thickness_mm, magnets.flat_radius_mm
    if magnets.kind not in ("disc_pair", "single"):
        raise ValueError(f"magnets: expected kind disc_pair or single, came {magnets.kind!r}")
    if d is None or t is None or flat is None:
        raise ValueError("magnets: expected diameter_mm, thickness_mm and flat_radius_mm, came one of them missing")
    swept = math.hypot(flat + t, d / 2)
    if math.hypot(place_mm[0], place_mm[2]) <= swept and abs(place_mm[1]) <= d / 2:
        raise ValueError(f"magnets: the sensor must lie outside the {swept:.2f} mm circle they sweep, came {place_mm}")
    strength = sum(remanence_mt(magnets)) / 2
    shift = np.asarray(offset_mm, dtype=float)
    sides = ((1.0, 1.0 + imbalance), (-1.0, 1.0 - imbalance)) if magnets.kind == "disc_pair" else ((1.0, 1.0),)
    discs: Any = magpylib.Collection(  # type: ignore[no-untyped-call]
        *(
            magpylib.magnet.Cylinder(  # type: ignore[no-untyped-call]
                polarization=(0.0, 0.0, strength * gain),
                dimension=(d, t),
                position=shift + np.array([0.0, 0.0, side * (flat + t / 2)]),
            )
            for side, gain in sides
        )
    )
    phi = np.linspace(0.0, 2 * math.pi, steps + 1)
    turn = _axle(tilt_rad) @ _about_y(phi)
    field_mt = np.einsum(
        "nij,nj->ni", turn, discs.getB(np.einsum("nji,j->ni", turn, np.asarray(place_mm, dtype=float)))
    )
    field_mt[-1] = field_mt[0]
    return TurnField(phi, field_mt)


def _about_y(phi: Floats) -> Floats:
    """Rotations about +y, z towards x: (n, 3, 3)."""
    c, s, zero, one = np.cos(phi), np.sin(phi), np.zeros_like(phi), np.ones_like(phi)
    return np.stack([np.stack([c, zero, s], -1), np.stack([zero, one, zero], -1), np.stack([-s, zero, c], -1)], -2)


def _axle(tilt_rad: tuple[float, float]) -> Floats:
    """Tilt of the axle about x, then about z."""
    (cx, sx), (cz, sz) = ((math.cos(a), math.sin(a)) for a in tilt_rad)
    about_x = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    about_z = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return np.asarray(about_z @ about_x)
