"""LandXML 1.2, written: an alignment with its profile and cant.

Points are "north east"; here x is east and y north. Directions are clockwise from north, lengths are metres.
"""

import math
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.landxmlreader import SCHEMA
from wayrule.model import Alignment, PlanPiece

Cants = Sequence[tuple[float, float]]

XSI: Final = "http://www.w3.org/2001/XMLSchema-instance"
M: Final = 1e-3
DIGITS: Final = 9
"""Decimals of a metre: a micrometre's thousandth, so that nothing is lost against the 0.1 mm that is promised."""


def write_landxml(
    alignment: Alignment, *, date: str, time: str, version: str, gauge_mm: float, cant: Cants = ()
) -> bytes:
    """An alignment as a LandXML 1.2 file, in metres.

    Parameters
    ----------
    date, time : of writing, as 2026-08-01 and 14:05:00
    cant : (chainage [mm], cant [mm], left rail high > 0)

    Raises
    ------
    WayruleError   for a transition through zero curvature, which LandXML cannot say
    """
    root = ET.Element(
        "LandXML",
        {
            "xmlns": SCHEMA,
            "xmlns:xsi": XSI,
            "xsi:schemaLocation": f"{SCHEMA} {SCHEMA}/LandXML-1.2.xsd",
            "version": "1.2",
            "date": date,
            "time": time,
            "readOnly": "false",
            "language": "English",
        },
    )
    units = ET.SubElement(root, "Units")
    ET.SubElement(
        units,
        "Metric",
        {
            "areaUnit": "squareMeter", "linearUnit": "meter", "volumeUnit": "cubicMeter", "temperatureUnit": "celsius",
            "pressureUnit": "HPA", "angularUnit": "radians", "directionUnit": "radians",
        },
    )  # fmt: skip
    ET.SubElement(root, "Project", {"name": alignment.name})
    ET.SubElement(root, "Application", {"name": "Wayrule", "version": version})
    group = ET.SubElement(root, "Alignments")
    sta = _number(alignment.s0_mm * M)
    line = ET.SubElement(
        group, "Alignment", {"name": alignment.name, "length": _number(alignment.length_mm * M), "staStart": sta}
    )
    geometry = ET.SubElement(line, "CoordGeom")
    at = alignment.s0_mm
    for piece in alignment.plan:
        _write_piece(geometry, piece, at)
        at += piece.length_mm
    if alignment.profile:
        _write_profile(line, alignment)
    if cant:
        _write_cant(line, alignment.name, cant, gauge_mm)
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def _number(value: float) -> str:
    text = f"{value:.{DIGITS}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text


def _point(parent: ET.Element, tag: str, x_mm: float, y_mm: float) -> None:
    ET.SubElement(parent, tag).text = f"{_number(y_mm * M)} {_number(x_mm * M)}"


def direction(heading_rad: float) -> str:
    """Clockwise from north, 0 to 2 pi.

    >>> direction(0.0)
    '1.570796327'
    """
    return _number((math.pi / 2 - heading_rad) % (2 * math.pi))


def _write_piece(parent: ET.Element, p: PlanPiece, at_mm: float) -> None:
    k0, k1 = p.curvature0_1_mm, p.curvature1_1_mm
    if k0 * k1 < 0:
        raise WayruleError(
            expected="transitions that keep their hand",
            came=f"one from {k0:g} to {k1:g} 1/mm",
            where="LandXML",
            next_step="split it where its curvature is zero",
        )
    common = {"length": _number(p.length_mm * M), "staStart": _number(at_mm * M)}
    turn = {"rot": "ccw" if k0 + k1 > 0 else "cw"}
    ends = {"dirStart": direction(p.heading0_rad), "dirEnd": direction(p.heading1_rad)}
    if p.kind == "straight":
        element = ET.SubElement(parent, "Line", common | {"dir": direction(p.heading0_rad)})
        inner: tuple[tuple[str, float, float], ...] = ()
    elif p.kind == "arc":
        radius = 1.0 / k0
        chord = math.hypot(p.x1_mm - p.x0_mm, p.y1_mm - p.y0_mm)
        more = {"radius": _number(abs(radius) * M), "chord": _number(chord * M), "crvType": "arc"}
        element = ET.SubElement(parent, "Curve", common | turn | ends | more)
        centre = (p.x0_mm - radius * math.sin(p.heading0_rad), p.y0_mm + radius * math.cos(p.heading0_rad))
        inner = (("Center", *centre),)
    else:
        radii = {"radiusStart": _radius(k0), "radiusEnd": _radius(k1), "spiType": "clothoid"}
        element = ET.SubElement(parent, "Spiral", common | turn | ends | radii)
        inner = (("PI", *_corner(p)),)
    _point(element, "Start", p.x0_mm, p.y0_mm)
    for tag, x, y in inner:
        _point(element, tag, x, y)
    _point(element, "End", p.x1_mm, p.y1_mm)


def _radius(curvature: float) -> str:
    return "INF" if curvature == 0 else _number(abs(1.0 / curvature) * M)


def _corner(p: PlanPiece) -> tuple[float, float]:
    """Where the tangents at both ends meet."""
    c0, s0, c1, s1 = (f(h) for h in (p.heading0_rad, p.heading1_rad) for f in (math.cos, math.sin))
    across = c0 * s1 - s0 * c1
    along = ((p.x1_mm - p.x0_mm) * s1 - (p.y1_mm - p.y0_mm) * c1) / across if abs(across) > 1e-12 else p.length_mm / 2
    return p.x0_mm + along * c0, p.y0_mm + along * s0


def _write_profile(line: ET.Element, alignment: Alignment) -> None:
    """Points of intersection, and parabolas about them."""
    profile = ET.SubElement(line, "Profile", {"name": alignment.name})
    drawn = ET.SubElement(profile, "ProfAlign", {"name": alignment.name})
    pieces = alignment.profile
    ET.SubElement(drawn, "PVI").text = f"{_number(pieces[0].s0_mm * M)} {_number(pieces[0].z0_mm * M)}"
    for index, p in enumerate(pieces):
        if p.gradient0 != p.gradient1:
            half = 0.5 * (p.s1_mm - p.s0_mm)
            curve = ET.SubElement(drawn, "ParaCurve", {"length": _number(2 * half * M)})
            curve.text = f"{_number((p.s0_mm + half) * M)} {_number((p.z0_mm + half * p.gradient0) * M)}"
        after = pieces[index + 1] if index + 1 < len(pieces) else None
        straight = p.gradient0 == p.gradient1
        if after is not None and straight and after.gradient0 == after.gradient1:
            ET.SubElement(drawn, "PVI").text = f"{_number(p.s1_mm * M)} {_number(p.z1_mm * M)}"
    last = pieces[-1]
    ET.SubElement(drawn, "PVI").text = f"{_number(last.s1_mm * M)} {_number(last.z1_mm * M)}"


def _write_cant(line: ET.Element, name: str, cant: Iterable[tuple[float, float]], gauge_mm: float) -> None:
    """Cant stations: applied cant in mm; the rail that is raised is the outer one of the curve that is named."""
    element = ET.SubElement(line, "Cant", {"name": name, "gauge": _number(gauge_mm * M), "rotationPoint": "center"})
    for s_mm, value in cant:
        hand = "cw" if value > 0 else "ccw"  # left rail high: the outer rail of a right-hand curve
        ET.SubElement(
            element,
            "CantStation",
            {"station": _number(s_mm * M), "appliedCant": f"{abs(value):.3f}", "curvature": hand},
        )
