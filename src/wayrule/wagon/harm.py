"""What magnets can do: the flux index against the limit for loose magnets, and how far their field reaches."""

import math
from dataclasses import dataclass
from typing import Any, Final

import magpylib
import numpy as np
from scipy.optimize import brentq

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Magnets
from wayrule.wagon.grades import remanence_mt

PROBE_MM: Final = 0.38
"""Height of the field probe's active point above the pole when the flux density is measured for the index [mm]; EN
71-1, 8.35, from memory."""

FLUX_LIMIT: Final = 50.0
"""Flux index [kG^2 mm^2] at and above which a loose magnet that fits the small-parts cylinder is a hazard: EN 71-1:2005
+A8:2009, 4.23.2 (toys, EU); 16 CFR 1262 (2022; amusement and jewellery, US). Both speak of products for sale, not of
a workbench: here it says how dangerous the part is when swallowed."""

IMPLANT_MT: Final = (1.0, 0.5)
"""Fields to stay below near an implanted pacemaker or defibrillator [mT]: 1 mT (10 G) may switch to magnet mode (device
literature); 0.5 mT is where an in-vitro study of household magnets put its limit (PMID 18334784)."""

ADVISED_MM: Final = 150.0
"""Distance that patients' organisations advise to keep between a magnet and an implant [mm] (6 in)."""


@dataclass(frozen=True, slots=True)
class Harm:
    """What one loose magnet and the mounted magnets can do.

    flux_index       of one loose magnet [kG^2 mm^2], strongest of its grade; reckoned, where the standard measures
    surface_mt       greatest field at the probe's height above its pole [mT]
    pole_mm2         area of its pole [mm2]
    over_limit       flux_index >= 50
    reach_1_mt_mm    from the axle's centre to where the field of all magnets has fallen to 1 mT [mm]
    reach_0_5_mt_mm  and to 0.5 mT
    """

    flux_index: float
    surface_mt: float
    pole_mm2: float
    over_limit: bool
    reach_1_mt_mm: float
    reach_0_5_mt_mm: float


def harm(magnets: Magnets) -> Harm:
    """Flux index and reach of the magnets, at the upper end of their remanence.

    Raises
    ------
    UndeterminedError   where a size is not stated
    UsageError          a grade that is in no table

    Notes
    -----
    Closed-form field of homogeneously magnetised bodies (magpylib). Flux index = (greatest field over the pole)^2 times
    the pole's area. Reach: along the magnetisation, where a field is greatest at a given distance; the pair is taken as
    mounted, a ring or block as one body in the middle.

    Examples
    --------
    >>> discs = Magnets("disc_pair", diameter_mm=3.0, thickness_mm=1.0, flat_radius_mm=0.5, remanence_mt=(1300, 1300))
    >>> found = harm(discs)
    >>> round(found.flux_index), found.over_limit, round(found.reach_0_5_mt_mm)
    (56, True, 18)
    """
    strongest = _strongest(magnets)
    body, half, edge, area = _loose(magnets, strongest)
    across = np.linspace(0.0, edge, 200)
    plane = np.stack([across, np.zeros_like(across), np.full_like(across, half + PROBE_MM)], axis=-1)
    surface = float(np.max(np.abs(np.asarray(body.getB(plane))[:, 2])))
    index = (surface / 100) ** 2 * area  # 100 mT are 1 kG
    source, out = _mounted(magnets, strongest)
    reach = [_reach(source, out, limit) for limit in IMPLANT_MT]
    return Harm(index, surface, area, index >= FLUX_LIMIT, reach[0], reach[1])


def _strongest(magnets: Magnets) -> float:
    """Upper end of the remanence [mT]."""
    try:
        return remanence_mt(magnets)[1]
    except ValueError as error:
        raise UsageError(
            expected="a grade of the table, or a remanence_mt",
            came=str(magnets.grade or magnets.remanence_mt or "neither"),
            where="magnets",
            next_step=str(error).split(", came")[0],
        ) from None


def _loose(magnets: Magnets, br_mt: float) -> tuple[Any, float, float, float]:
    """One magnet round the origin, magnetised along z: source, half its thickness, half its pole's width, pole area."""
    thick, wide = _need(magnets.thickness_mm, "thickness_mm"), magnets.diameter_mm
    if magnets.kind == "block":
        long, wide = _need(magnets.length_mm, "length_mm"), _need(magnets.width_mm or magnets.length_mm, "width_mm")
        box: Any = magpylib.magnet.Cuboid(polarization=(0, 0, br_mt), dimension=(long, wide, thick))  # type: ignore[no-untyped-call]
        return box, thick / 2, long / 2, long * wide
    wide = _need(wide, "diameter_mm")
    bore = magnets.hole_mm or 0.0
    if bore:
        tube: Any = magpylib.magnet.CylinderSegment(  # type: ignore[no-untyped-call]
            polarization=(0, 0, br_mt), dimension=(bore / 2, wide / 2, thick, 0, 360)
        )
        return tube, thick / 2, wide / 2, math.pi / 4 * (wide**2 - bore**2)
    disc: Any = magpylib.magnet.Cylinder(polarization=(0, 0, br_mt), dimension=(wide, thick))  # type: ignore[no-untyped-call]
    return disc, thick / 2, wide / 2, math.pi / 4 * wide**2


def _mounted(magnets: Magnets, br_mt: float) -> tuple[Any, float]:
    """All magnets as they sit on the axle, magnetised along z, and how far out they reach."""
    one, half, edge, _ = _loose(magnets, br_mt)
    if magnets.kind != "disc_pair":
        return one, math.hypot(half, edge)
    far = _need(magnets.flat_radius_mm, "flat_radius_mm") + half
    pair: Any = magpylib.Collection(one, one.copy())  # type: ignore[no-untyped-call]
    pair[0].position, pair[1].position = (0, 0, far), (0, 0, -far)
    return pair, far + half


def _reach(source: Any, out: float, limit_mt: float) -> float:
    """Where the field along the magnetisation falls to the limit [mm from the centre]; `out` where it is below."""

    def over(z: float) -> float:
        return float(np.linalg.norm(source.getB((0.0, 0.0, z)))) - limit_mt

    if over(out + 0.01) <= 0:
        return out
    far = out + 1.0
    while over(far) > 0:
        far *= 2
    return float(brentq(over, out + 0.01, far, xtol=1e-4))


def _need(value: float | None, key: str) -> float:
    if value is None:
        raise UndeterminedError(
            expected=f"magnets.{key}",
            came="nothing",
            where="magnets",
            next_step="measure a magnet and add it; the caution needs its size",
        )
    return value
