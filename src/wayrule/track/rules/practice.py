"""Limits beside the NEM sheets: the hobby's rules of thumb, older NMRA classes, full-size practice. Figures only.

What a row says of its own standing: confirmed (a page or sheet with the figure was seen), computed, or from memory.
"""

import math
from dataclasses import dataclass
from typing import Final

from wayrule.units import G_MM_S2, INCH_MM


@dataclass(frozen=True, slots=True)
class Published:
    """A published figure: what it limits, how much, where it stands."""

    id: str
    topic: str
    value: float
    unit: str
    document: str
    status: str = "confirmed"


LAYOUT: Final = (
    Published("radius.2cars", "radius ratio", 2.0, "x longest", "layout-design rule of thumb"),
    Published("radius.2.5cars", "radius ratio", 2.5, "x longest", "layout-design rule of thumb", "from memory"),
    Published("radius.3cars", "radius ratio", 3.0, "x longest", "layout-design rule of thumb"),
    Published("radius.3.5cars", "radius ratio", 3.5, "x longest", "layout-design rule of thumb", "from memory"),
    Published("radius.5cars", "radius ratio", 5.0, "x longest", "layout-design rule of thumb"),
    Published("radius.rp11.ho", "minimum radius", 40.0, "inch", "NMRA RP-11, edition before 2018"),
    Published("radius.rp11.n", "minimum radius", 21.5, "inch", "NMRA RP-11, edition before 2018"),
    Published("radius.rp11.ho.short", "minimum radius", 16.5, "inch", "NMRA RP-11, edition before 2018"),
    Published("radius.rp11.n.short", "minimum radius", 8.875, "inch", "NMRA RP-11, edition before 2018"),
    Published("radius.rp11.o.80ft", "minimum radius", 58.0, "inch", "NMRA RP-11, quoted by a division"),
    Published("radius.full", "minimum radius", 150.0, "m", "EN 13803-2:2006 s7.3"),
    Published("reverse.car", "reverse curve", 1.0, "x longest", "hobby rule of thumb"),
    Published("reverse.module", "reverse curve", 304.8, "mm (HO)", "community module standard"),
    Published("gradient.usual", "gradient", 2.0, "%", "hobby rule of thumb"),
    Published("gradient.most", "gradient", 4.0, "%", "hobby rule of thumb"),
    Published("gradient.helix", "gradient", 2.5, "%", "hobby rule of thumb", "from memory"),
    Published("compensation.ho", "curve compensation", 32.0, "%/inch (HO)", "hobby rule of thumb"),
    Published("compensation.full", "curve compensation", 0.04, "%/degree", "US Army EM 1110-3-152 (1984) s3-3a"),
    Published("vertical.edge", "vertical curve", 1.5875, "mm under 12 in (HO)", "community module standard"),
    Published("vertical.industrial", "vertical curve", 300.0, "m", "regulation for industrial railways, s4(3)"),
    Published("vertical.least", "vertical curve", 2000.0, "m", "German 1953 track handbook, abstract"),
    Published("cant.ramp", "cant gradient", 1.0 / 300.0, "1", "German ESBO s6(4)"),
    Published("cant.metre", "cant maximum", 100.0, "mm at 1000 mm gauge", "German ESBO s6(3)"),
    Published("cant.750", "cant maximum", 50.0, "mm at 750 mm gauge", "German ESBO s6(3)"),
)
"""What the rule sets draw on beside the NEM sheets."""

EDGE_MM: Final = 12 * INCH_MM
"""Length of the straight-edge of the community module standard (HO)."""

HO_GAUGE_MM: Final = 16.5
HO_RATIO: Final = 87.0857
"""3.5 mm to the foot, exactly (NMRA)."""

CHORD_FT: Final = 100.0


def published(ident: str) -> Published:
    """A figure by its id; KeyError for one that there is not."""
    return {one.id: one for one in LAYOUT}[ident]


def radius_of_degree_ft(degree: float, *, chord: bool = True) -> float:
    """Radius of a curve of so many degrees, by a chord or an arc of 100 ft (North American practice) [ft].

    >>> round(radius_of_degree_ft(4.0), 3), round(radius_of_degree_ft(4.0, chord=False), 3)
    (1432.685, 1432.394)
    """
    angle = math.radians(degree)
    return CHORD_FT / (2.0 * math.sin(angle / 2.0)) if chord else CHORD_FT / angle


def compensation_mm(ratio: float) -> float:
    """Curve compensation of a scale: a curve resists like a grade of coefficient / R [% mm].

    The hobby's 32 / R (inch, HO), which agrees with 0.04 % for each degree of full size, carried over by scale.

    >>> round(compensation_mm(87.0857), 1)
    812.8
    """
    return published("compensation.ho").value * INCH_MM * HO_RATIO / ratio


def full_size_compensated(gradient_percent: float, degree: float) -> float:
    """Gradient with the resistance of a curve, full size: 0.04 % for each degree (US Army EM 1110-3-152).

    >>> full_size_compensated(1.0, 3.0)
    1.12
    """
    return round(gradient_percent + published("compensation.full").value * degree, 12)


def vertical_radius_mm(gap_mm: float, edge_mm: float) -> float:
    """Radius at which a straight-edge shows so much of a gap in its middle: C^2 / 8 h [mm].

    >>> round(vertical_radius_mm(1.5875, 304.8))
    7315
    """
    return edge_mm**2 / (8.0 * gap_mm)


def vertical_radius_full_m(v_km_h: float, *, least: bool = False) -> float:
    """Radius of a full-size vertical curve: V^2; exceptionally V^2 / 4, at least 2000 m (handbook of 1953, abstract).

    >>> vertical_radius_full_m(100.0), vertical_radius_full_m(60.0, least=True)
    (10000.0, 2000.0)
    """
    return max(v_km_h**2 / 4.0, published("vertical.least").value) if least else v_km_h**2


def versine_mm(radius_mm: float, chord_mm: float, *, exact: bool = True) -> float:
    """Offset of an arc in the middle of a chord: R - sqrt(R^2 - C^2/4), or nearly C^2 / 8 R (handbooks) [mm].

    >>> round(versine_mm(360.0, 100.0), 5), round(versine_mm(360.0, 100.0, exact=False), 5)
    (3.48913, 3.47222)
    """
    if not exact:
        return chord_mm**2 / (8.0 * radius_mm)
    return radius_mm - math.sqrt(radius_mm**2 - 0.25 * chord_mm**2)


def equilibrium_cant_mm(base_mm: float, v_mm_s: float, radius_mm: float) -> float:
    """Cant at which nothing pulls sideways: G v^2 / (g R), G between rail centres (EN 13803's form) [mm].

    >>> round(equilibrium_cant_mm(1500.0, 100e6 / 3600, 1e6), 1)  # 100 km/h, 1000 m: 118.0
    118.0
    """
    return base_mm * v_mm_s**2 / (G_MM_S2 * radius_mm)
