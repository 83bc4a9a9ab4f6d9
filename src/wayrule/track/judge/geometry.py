"""How a vehicle lies on a curve, exactly: swing of its body in and out, angle of its leading wheel.

A bogie's axles lie on the circle of the track, so its pivot lies a little inside; the body's pivots lie on that circle,
so the body's middle lies further inside, and its ends outside. Plane geometry, no approximation.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from wayrule.model import Vehicle
from wayrule.model.arrays import Array


def least_radius_mm(vehicle: Vehicle) -> float:
    """The radius at which the geometry ends: half the pivot spacing and half the bogie's wheelbase together [mm]."""
    return 0.5 * math.hypot(vehicle.pivots_mm, vehicle.bogie_mm)


def swing_mm(vehicle: Vehicle, radius_mm: ArrayLike) -> tuple[Array, Array]:
    """How far a body reaches beyond half its width: inwards at its middle, outwards at its ends [mm].

    Parameters
    ----------
    radius_mm : of any shape, > 0; infinite for straight track

    Returns
    -------
    (inwards, outwards)   each >= 0; NaN where the vehicle does not fit the curve at all

    Examples
    --------
    >>> coach = Vehicle("coach", "car", 303.0, 218.0, 33.0)  # 26.4 m, pivots 19 m
    >>> [round(float(x), 2) for x in swing_mm(coach, 400.0)]
    [15.14, 12.5]
    """
    radius = np.asarray(radius_mm, dtype=float)
    with np.errstate(invalid="ignore"):
        middle = np.sqrt(radius**2 - 0.25 * (vehicle.bogie_mm**2 + vehicle.pivots_mm**2))
        half = 0.5 * vehicle.width_mm
        inwards = radius - middle
        # a^2 - b^2 = (a - b)(a + b) keeps the digits of a difference of large numbers
        corner = np.hypot(0.5 * vehicle.length_mm, middle + half)
        outwards = corner - radius - half
    straight = np.isinf(radius)
    return np.where(straight, 0.0, inwards), np.where(straight, 0.0, np.maximum(outwards, 0.0))


def end_offset_mm(vehicle: Vehicle, radius_mm: ArrayLike) -> Array:
    """How far the middle of a body's end lies outside the track's centreline [mm].

    >>> round(float(end_offset_mm(Vehicle("coach", "car", 303.0, 218.0, 33.0), 400.0)), 2)
    13.61
    """
    radius = np.asarray(radius_mm, dtype=float)
    with np.errstate(invalid="ignore"):
        middle = np.sqrt(radius**2 - 0.25 * (vehicle.bogie_mm**2 + vehicle.pivots_mm**2))
        out = np.hypot(0.5 * vehicle.length_mm, middle) - radius
    return np.where(np.isinf(radius), 0.0, out)


def attack_deg(rigid_mm: float, radius_mm: ArrayLike) -> Array:
    """Angle between the leading wheel of a rigid frame and the rail: asin(half its wheelbase over the radius) [deg].

    >>> round(float(attack_deg(35.0, 360.0)), 2)
    2.79
    """
    with np.errstate(invalid="ignore"):
        return np.degrees(np.arcsin(0.5 * rigid_mm / np.asarray(radius_mm, dtype=float)))
