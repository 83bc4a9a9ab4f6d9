"""What two flats leave of an axle's strength.

Section: a round bar of radius r, cut by two parallel flats at distance f from its centre; u across the flats' normal
(along the flats), v along it. Bending about u has the flats as outermost fibres, bending about v the round sides.
"""

import math
from dataclasses import dataclass
from typing import Final

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Wagon
from wayrule.units import G_MM_S2

HAND_N: Final = 10.0
"""A hand that leans on the wagon, on one axle [N]: 1 kg; common practice, no source."""

SAFE: Final = 3.0
"""Yield over stress below which an axle is called weak: room for a knock, a notch and filing marks; common practice,
no source."""


@dataclass(frozen=True, slots=True)
class AxleMaterial:
    """Least yield strength (0.2 % proof) of a material [N/mm2]."""

    name: str
    yield_n_mm2: float
    source: str
    aliases: tuple[str, ...] = ()


MATERIALS: Final = (
    AxleMaterial(
        "steel", 235.0, "S235, EN 10025-2, up to 16 mm (from memory): the least that is sold", ("mild steel", "iron")
    ),
    AxleMaterial(
        "free-cutting steel",
        440.0,
        "11SMn30+C, EN 10277, 5 to 10 mm (thinner: ask)",
        ("bright steel", "11smn30"),
    ),
    AxleMaterial("silver steel", 350.0, "115CrV3 annealed, from memory", ("tool steel", "drill rod")),
    AxleMaterial("stainless steel", 190.0, "1.4301, EN 10088-3, annealed (from memory)", ("stainless", "1.4301")),
    AxleMaterial("brass", 230.0, "CuZn38Pb2 R410, EN 12164, rod 2 to 40 mm", ("ms58",)),
    AxleMaterial("pom", 60.0, "polyoxymethylene, makers' tables, from memory", ("acetal", "plastic")),
)
"""Least values of the trade; a maker's own value goes into axle.yield_mpa."""


@dataclass(frozen=True, slots=True)
class Section:
    """Second moments of area and the section moduli of a round bar with two flats.

    area_mm2             [mm2]
    weak_i_mm4           about the axis parallel to the flats (bends towards a flat) [mm4]
    stiff_i_mm4          about the flats' normal [mm4]
    weak_z_mm3           weak_i over the distance of the flat [mm3]
    stiff_z_mm3          stiff_i over the radius [mm3]
    turning_z_mm3        least modulus over a turn of the axle under a load that stays: at a corner of the flats
    """

    area_mm2: float
    weak_i_mm4: float
    stiff_i_mm4: float
    weak_z_mm3: float
    stiff_z_mm3: float
    turning_z_mm3: float


@dataclass(frozen=True, slots=True)
class Strength:
    """Bending of the axle where the flats are.

    load_n            on the axle: its share of the wagon, and a hand [N]
    moment_n_mm       bending moment between the wheels [N mm]
    stress_n_mm2      greatest over a turn [N/mm2]
    plain_n_mm2       of the axle without flats [N/mm2]
    yield_n_mm2       [N/mm2]
    safety            yield over stress
    material, source  what the yield strength rests on
    """

    load_n: float
    moment_n_mm: float
    stress_n_mm2: float
    plain_n_mm2: float
    yield_n_mm2: float
    safety: float
    material: str
    source: str
    text: str


def section(diameter_mm: float, flat_radius_mm: float) -> Section:
    """The section's values, exactly.

    Notes
    -----
    Integrals of v^2 and u^2 over |v| <= f, |u| <= sqrt(r^2 - v^2):
    I_weak = (f (2 f^2 - r^2) sqrt(r^2 - f^2) + r^4 asin(f/r)) / 2,
    I_stiff = (f (5 r^2 - 2 f^2) sqrt(r^2 - f^2) + 3 r^4 asin(f/r)) / 6,
    area = 2 (f sqrt(r^2 - f^2) + r^2 asin(f/r)).
    With f = r they are pi r^4 / 4 and pi r^2, any handbook's round bar. While the axle turns, the moment M turns in the
    section; the stress at (u, v) is at most M sqrt((v/I_weak)^2 + (u/I_stiff)^2), greatest at the corner of a flat.

    Examples
    --------
    >>> round(section(2.0, 1.0).weak_z_mm3, 4), round(math.pi * 2.0**3 / 32, 4)
    (0.7854, 0.7854)
    >>> round(section(2.0, 0.7).turning_z_mm3, 3)
    0.481
    """
    r, f = diameter_mm / 2, flat_radius_mm
    if not 0 < f <= r:
        raise UsageError(
            expected=f"a flat_radius_mm above 0 and up to {r:g} mm, half the axle",
            came=f"{f:g} mm",
            where="axle",
            next_step="correct magnets.flat_radius_mm or axle.diameter_mm",
        )
    half, angle = math.sqrt(max(r * r - f * f, 0.0)), math.asin(min(f / r, 1.0))
    weak = (f * (2 * f * f - r * r) * half + r**4 * angle) / 2
    stiff = (f * (5 * r * r - 2 * f * f) * half + 3 * r**4 * angle) / 6
    return Section(
        area_mm2=2 * (f * half + r * r * angle),
        weak_i_mm4=weak,
        stiff_i_mm4=stiff,
        weak_z_mm3=weak / f,
        stiff_z_mm3=stiff / r,
        turning_z_mm3=1 / math.hypot(f / weak, half / stiff),
    )


def axle_material(name: str) -> AxleMaterial:
    """The row of the table.

    >>> axle_material("Acetal").yield_n_mm2
    60.0
    """
    word = name.strip().lower()
    for material in MATERIALS:
        if word in (material.name, *material.aliases):
            return material
    raise UsageError(
        expected=f"axle.material to be one of {', '.join(m.name for m in MATERIALS)}, or a yield_mpa",
        came=repr(name),
        where="axle",
        next_step="state axle.yield_mpa, the material's yield strength in N/mm2",
    )


def overhang_mm(wagon: Wagon) -> float:
    """From the middle of a tread to the bearing beside it: stated, or at most what the axle's length leaves.

    Raises
    ------
    UndeterminedError   when neither overhang_mm nor length_mm is stated
    """
    if wagon.axle.overhang_mm is not None:
        return wagon.axle.overhang_mm
    if wagon.axle.length_mm is not None and wagon.axle.length_mm > wagon.gauge_mm:
        return (wagon.axle.length_mm - wagon.gauge_mm) / 2  # to the rail's inner edge: a little too long, so safe
    raise UndeterminedError(
        expected="axle.overhang_mm, or an axle.length_mm above the gauge",
        came="neither",
        where="axle",
        next_step="measure from the middle of the tread to the bearing, or the axle over its points",
    )


def strength(wagon: Wagon, mass_g: float, hand_n: float = HAND_N) -> Strength:
    """Bending stress where the flats are, against yield.

    Parameters
    ----------
    wagon    with axle.diameter_mm, magnets.flat_radius_mm, axle.material or yield_mpa, and the overhang
    mass_g   of the complete wagon [g]
    hand_n   of a hand leaning on one axle [N]

    Raises
    ------
    UndeterminedError   naming what is not stated

    Notes
    -----
    Bearings outside the wheels: each carries half the axle's load P at the overhang e from the rail, so that between
    the wheels the moment is P e / 2 everywhere (the textbook beam with two overhanging loads). No standard deviation:
    the sizes are stated without one, and yield is the least value of the trade.
    """
    magnets, thick = wagon.magnets, wagon.axle.diameter_mm
    if magnets is None or magnets.flat_radius_mm is None or thick is None:
        raise UndeterminedError(
            expected="axle.diameter_mm and magnets.flat_radius_mm",
            came="one of them missing",
            where="axle",
            next_step="measure the axle where the magnets go and add both",
        )
    limit, material, source = _yield(wagon)
    load = mass_g * 1e-6 * G_MM_S2 / (4 if wagon.bogie else 2) + hand_n
    moment = load * overhang_mm(wagon) / 2
    kept = min(magnets.flat_radius_mm, thick / 2)
    stress = moment / section(thick, kept).turning_z_mm3
    plain = moment / section(thick, thick / 2).turning_z_mm3
    safety = limit / stress
    word = "strong enough" if safety >= SAFE else "weak: file less, or take a thicker or stronger axle"
    text = (
        f"Axle {thick:g} mm of {material} with flats {kept:g} mm from its centre: {stress:.0f} N/mm² in bending "
        f"({stress / plain:.1f} times the round axle) under {load:.1f} N, a hand of {hand_n:g} N in it; yield is "
        f"{limit:.0f} N/mm², {safety:.1f} times as much: {word}."
    )
    return Strength(load, moment, stress, plain, limit, safety, material, source, text)


def _yield(wagon: Wagon) -> tuple[float, str, str]:
    name = wagon.axle.material
    if wagon.axle.yield_mpa is not None:
        return wagon.axle.yield_mpa, name or "the stated material", "stated as axle.yield_mpa"
    if name is None:
        raise UndeterminedError(
            expected="axle.material or axle.yield_mpa",
            came="neither",
            where="axle",
            next_step=f"state one of {', '.join(m.name for m in MATERIALS)}",
        )
    found = axle_material(name)
    return found.yield_n_mm2, found.name, found.source
