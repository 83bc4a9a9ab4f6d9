"""Unit factors, each to the inside unit (mm, s, rad, mT, mm/s2, degC, V), and scale speed.

Inside, every quantity has one unit, and names carry it (`s_mm`, `v_mm_s`). Other units exist only at the faces.
"""

import math
from typing import Final

G_MM_S2: Final = 9806.65
"""Standard gravity [mm/s2]; exact by definition (3rd CGPM, 1901)."""

INCH_MM: Final = 25.4
"""One inch [mm]; exact by definition (international yard and pound agreement, 1959)."""

MILE_KM: Final = 1.609344
"""One mile [km]; exact: 5280 ft of 304.8 mm."""

EARTH_RATE_RAD_S: Final = 7.292115e-5
"""Rotation of the Earth [rad/s]; WGS 84 defining parameter."""

DEG: Final = math.pi / 180.0

TO_INSIDE: Final[dict[str, dict[str, float]]] = {
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9},
    "field": {"mt": 1.0, "ut": 1e-3, "t": 1e3, "g": 0.1, "gauss": 0.1, "nt": 1e-6},
    "speed": {"mm_s": 1.0, "cm_s": 10.0, "m_s": 1e3, "km_h": 1e6 / 3600.0, "in_s": INCH_MM},
    "distance": {"mm": 1.0, "cm": 10.0, "m": 1e3, "in": INCH_MM, "um": 1e-3},
    "rate": {"rad_s": 1.0, "dps": DEG, "deg_s": DEG, "mdps": DEG * 1e-3},
    "acceleration": {"mm_s2": 1.0, "cm_s2": 10.0, "m_s2": 1e3, "g": G_MM_S2, "mg": G_MM_S2 * 1e-3},
    "count": {"count": 1.0},
    "temperature": {"c": 1.0},
    "voltage": {"v": 1.0, "mv": 1e-3},
}
"""quantity -> suffix in lower case -> factor to the inside unit."""


def scale_km_h(v_mm_s: float, ratio: float) -> float:
    """Scale speed: model speed times the scale ratio, time not scaled [km/h].

    >>> round(scale_km_h(319.28, 87), 1)  # 100 km/h in H0, scale-speed table
    100.0
    """
    return v_mm_s * ratio * 3600.0 / 1e6


def scale_mph(v_mm_s: float, ratio: float) -> float:
    """Scale speed [mile/h].

    >>> round(scale_mph(308.3, 87), 1)  # 60 mph in H0, scale-speed table
    60.0
    """
    return scale_km_h(v_mm_s, ratio) / MILE_KM
