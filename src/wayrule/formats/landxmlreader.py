"""LandXML read: alignments with their profile, and what each file states of itself that does not fit.

Any namespace is taken (national profiles have their own). Headings come from points and centres; directions are only
checked, since files count them clockwise or counter-clockwise from north.
"""

import itertools
import math
import xml.etree.ElementTree as ET
from typing import Final

from wayrule.errors import WayruleError
from wayrule.model import Alignment, GradePiece, PlanPiece

SCHEMA: Final = "http://www.landxml.org/schema/LandXML-1.2"

UNITS_MM: Final = {
    "meter": 1000.0, "millimeter": 1.0, "centimeter": 10.0, "kilometer": 1e6, "foot": 304.8, "inch": 25.4,
    "USSurveyFoot": 1200e3 / 3937, "mile": 1609344.0,
}  # fmt: skip
"""Linear units of the schema [mm]; the US survey foot is 1200/3937 m."""

FITS_MM: Final = 1e-3
"""What a file of micrometres may be off by rounding; beyond, a note."""

MOST_BYTES: Final = 64 * 1024 * 1024


def read_landxml(data: bytes, name: str, which: str = "") -> Alignment:
    """One alignment of a LandXML file.

    Parameters
    ----------
    which : its name; "" for the only one

    Raises
    ------
    WayruleError   for what is no LandXML, has no such alignment, or pieces that cannot be read
    """
    root = _parsed(data, name)
    unit = _unit(root, name)
    found = [e for e in root.iter() if _tag(e) == "Alignment"]
    named = [e for e in found if not which or e.get("name") == which]
    if len(named) != 1:
        known = ", ".join(repr(e.get("name", "")) for e in found) or "none"
        raise WayruleError(
            expected="the name of one alignment" if found else "an alignment",
            came=f"{which!r}; the file has {known}" if which or found else "none",
            where=name,
            next_step="name one of them" if found else "export the line as an alignment",
        )
    line = named[0]
    start = unit * _float(line, "staStart", name, 0.0)
    declared = unit * _float(line, "length", name, math.nan)
    geometry = next((e for e in line if _tag(e) == "CoordGeom"), None)
    pieces: list[PlanPiece] = []
    notes: list[str] = []
    for element in geometry if geometry is not None else ():
        if _tag(element) in ("Line", "Curve", "Spiral"):
            piece, told = _piece(element, unit, f"{name}, piece {len(pieces) + 1}")
            pieces.append(piece)
            notes += told
    if not pieces:
        raise WayruleError(
            expected="lines, curves and spirals (CoordGeom)", came="none", where=name, next_step="export the geometry"
        )
    profile = _profile(line, unit, name)
    drawn = Alignment(line.get("name", ""), start, tuple(pieces), profile, declared)
    return Alignment(drawn.name, start, drawn.plan, profile, declared, (*notes, *unfit(drawn)))


def unfit(alignment: Alignment) -> tuple[str, ...]:
    """What an alignment states of itself that does not fit: length, joints, range of its profile; a sentence each."""
    notes = []
    off = alignment.length_mm - alignment.declared_mm
    if abs(off) > 1e-4:  # NaN, nothing declared, is not larger
        declared, summed = alignment.declared_mm / 1000, alignment.length_mm / 1000
        notes.append(f"Declared length {declared:.6f} m, its elements sum to {summed:.6f} m: {off:+.4f} mm.")
    for number, (one, two) in enumerate(itertools.pairwise(alignment.plan), 1):
        gap = math.hypot(two.x0_mm - one.x1_mm, two.y0_mm - one.y1_mm)
        kink = math.remainder(two.heading0_rad - one.heading1_rad, 2 * math.pi)
        if gap > FITS_MM:
            notes.append(f"Pieces {number} and {number + 1} are {gap:.3f} mm apart.")
        if abs(kink) > 1e-4:
            notes.append(f"Pieces {number} and {number + 1} meet at {math.degrees(kink):+.4f} deg.")
    if alignment.profile:
        low, high = alignment.profile[0].s0_mm, alignment.profile[-1].s1_mm
        ends = (low - alignment.s0_mm, high - alignment.s0_mm - alignment.length_mm)
        if max(map(abs, ends)) > FITS_MM:
            notes.append(
                f"The profile begins {ends[0]:+.3f} mm from the plan's start and ends {ends[1]:+.3f} mm from its end."
            )
    return tuple(notes)


def _parsed(data: bytes, name: str) -> ET.Element:
    """The root; a document type, by which a small file may grow without end, is refused unread."""
    next_step = "export the alignment as LandXML 1.2"
    if len(data) > MOST_BYTES or b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise WayruleError(
            expected="LandXML without a document type, of at most 64 MB",
            came=f"{len(data)} bytes" if len(data) > MOST_BYTES else "one with a document type",
            where=name,
            next_step=next_step,
        )
    try:
        root = ET.fromstring(data)
    except ET.ParseError as error:
        raise WayruleError(expected="XML", came=str(error), where=name, next_step=next_step) from None
    if _tag(root) != "LandXML":
        raise WayruleError(expected="LandXML", came=f"<{_tag(root)}>", where=name, next_step=next_step)
    return root


def _tag(element: ET.Element) -> str:
    return element.tag.rsplit("}", 1)[-1] if isinstance(element.tag, str) else ""


def _unit(root: ET.Element, name: str) -> float:
    for element in root.iter():
        if _tag(element) in ("Metric", "Imperial"):
            word = element.get("linearUnit", "")
            if word not in UNITS_MM:
                raise WayruleError(
                    expected=f"linearUnit one of {', '.join(UNITS_MM)}",
                    came=repr(word),
                    where=name,
                    next_step="export in metres",
                )
            return UNITS_MM[word]
    raise WayruleError(expected="Units", came="none", where=name, next_step="export with units")


def _float(element: ET.Element, key: str, where: str, default: float | None = None) -> float:
    text = element.get(key)
    if text is None and default is not None:
        return default
    try:
        value = float(text or "")
    except ValueError:
        raise WayruleError(
            expected=f"a number {key}", came=repr(text), where=where, next_step="export the alignment again"
        ) from None
    if not math.isfinite(value):
        raise WayruleError(
            expected=f"a finite number {key}", came=repr(text), where=where, next_step="export the alignment again"
        )
    return value


def _point(element: ET.Element, tag: str, unit: float, where: str) -> complex:
    """x + i y [mm] of a child "north east"."""
    child = next((e for e in element if _tag(e) == tag), None)
    words = (child.text or "").split() if child is not None else []
    try:
        return complex(unit * float(words[1]), unit * float(words[0]))
    except (IndexError, ValueError):
        raise WayruleError(
            expected=f'{tag} as "north east"',
            came=repr(child.text) if child is not None else "none",
            where=where,
            next_step="export the alignment again",
        ) from None


def _piece(element: ET.Element, unit: float, where: str) -> tuple[PlanPiece, list[str]]:
    """A line, curve or spiral by its points; and what its own numbers dispute."""
    kind = _tag(element)
    a, b = _point(element, "Start", unit, where), _point(element, "End", unit, where)
    if kind == "Line":
        heading = math.atan2((b - a).imag, (b - a).real)
        stated = unit * _float(element, "length", where, abs(b - a) / unit)
        return _made(a, b, heading, heading, 0.0, 0.0, stated), _disputed(where, stated, abs(b - a))
    side = 1.0 if element.get("rot") == "ccw" else -1.0
    if kind == "Curve":
        centre = _point(element, "Center", unit, where)
        radius = unit * _float(element, "radius", where, abs(a - centre) / unit)
        h0, h1 = (math.atan2(side * (p - centre).real, -side * (p - centre).imag) for p in (a, b))
        turn = side * ((side * (h1 - h0)) % (2 * math.pi))
        stated = unit * _float(element, "length", where, abs(turn) * radius / unit)
        k = side / radius
        return _made(a, b, h0, h0 + turn, k, k, stated), _disputed(where, stated, abs(turn) * radius)
    return _spiral(element, a, b, side, unit, where), []


def _spiral(element: ET.Element, a: complex, b: complex, side: float, unit: float, where: str) -> PlanPiece:
    if element.get("spiType", "clothoid") != "clothoid":
        raise WayruleError(
            expected="spirals of type clothoid",
            came=repr(element.get("spiType")),
            where=where,
            next_step="export clothoids",
        )
    k0, k1 = (
        0.0 if element.get(key, "").upper() == "INF" else side / (unit * _float(element, key, where))
        for key in ("radiusStart", "radiusEnd")
    )
    length = unit * _float(element, "length", where)
    corner = _point(element, "PI", unit, where)
    h0 = math.atan2((corner - a).imag, (corner - a).real)
    return _made(a, b, h0, h0 + 0.5 * (k0 + k1) * length, k0, k1, length)


def _made(a: complex, b: complex, h0: float, h1: float, k0: float, k1: float, length: float) -> PlanPiece:
    return PlanPiece(a.real, a.imag, h0, b.real, b.imag, h1, k0, k1, length)


def _disputed(where: str, stated: float, found: float) -> list[str]:
    off = stated - found
    text = f"{where}: stated length {stated / 1000:.6f} m, by its points {found / 1000:.6f} m."
    return [text] if abs(off) > max(FITS_MM * 2, 1e-8 * found) else []


def _profile(line: ET.Element, unit: float, name: str) -> tuple[GradePiece, ...]:
    """Grades and vertical curves from points of intersection; a circular curve as the parabola of its slopes."""
    drawn = next((e for e in line.iter() if _tag(e) == "ProfAlign"), None)
    points: list[tuple[float, float, float]] = []
    for element in drawn if drawn is not None else ():
        if _tag(element) in ("PVI", "ParaCurve", "CircCurve"):
            words = (element.text or "").split()
            try:
                s, z = (unit * float(word) for word in words)
            except ValueError:
                raise WayruleError(
                    expected='a point of the profile as "station height"',
                    came=repr(element.text),
                    where=name,
                    next_step="export the profile again",
                ) from None
            length = 0.0 if _tag(element) == "PVI" else unit * _float(element, "length", name)
            points.append((s, z, length))
    if len(points) < 2:
        return ()
    slopes = [(z1 - z0) / (s1 - s0) for (s0, z0, _), (s1, z1, _) in itertools.pairwise(points)]
    out: list[GradePiece] = []
    at, z_at = points[0][0], points[0][1]
    for index, (s, z, length) in enumerate(points[1:], 1):
        before = slopes[index - 1]
        after = slopes[index] if index < len(slopes) else before
        half = 0.5 * length
        if s - half - at > 1e-6:
            out.append(GradePiece(at, s - half, z_at, before, before))
        if length:
            out.append(GradePiece(s - half, s + half, z - half * before, before, after))
        at, z_at = s + half, z + half * after
    return tuple(out)
