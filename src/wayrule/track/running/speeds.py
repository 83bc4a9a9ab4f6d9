"""Speeds on curves: where the sideways acceleration is reached, and what full-size practice would allow at scale."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from wayrule.model import Element, Met, Surveyed
from wayrule.units import G_MM_S2, scale_km_h

SIDEWAYS_G: Final = 0.2
"""Half of what tips a body whose mass lies 1.25 gauges above the rail: 0.5 / 1.25 / 2; judgement, no source."""

DEFICIENCY_MM: Final = 100.0
"""Cant that may be lacking on full-size track of 1500 mm between rail centres; from memory."""

BASE_MM: Final = 1500.0


def outer_cant_mm(line: Surveyed, arc: Element) -> float:
    """Mean height of the outer over the inner rail on an arc; 0 where cant is not known."""
    st = line.stations
    on_it = (st.s_mm >= arc.s0_mm) & (st.s_mm <= arc.s1_mm) & np.isfinite(st.cant_mm)
    return -math.copysign(1.0, arc.radius_mm) * float(np.mean(st.cant_mm[on_it])) if on_it.any() else 0.0


def sideways_speed_mm_s(radius_mm: float, cant_mm: float, gauge_mm: float, limit_g: float = SIDEWAYS_G) -> float:
    """Speed at which v^2 / R less g cant / gauge reaches a limit.

    >>> round(sideways_speed_mm_s(500.0, 0.0, 16.5))
    990
    """
    return math.sqrt(max(radius_mm * G_MM_S2 * (limit_g + cant_mm / gauge_mm), 0.0))


def scale_speed_mm_s(radius_mm: float, cant_mm: float, gauge_mm: float, ratio: float) -> float:
    """Model speed of what full-size practice allows on the curve's prototype: E = G V^2 / (g R) with E the cant there
    and what may be lacking (EN 13803's form).

    >>> round(scale_km_h(scale_speed_mm_s(500.0, 0.0, 16.5, 87.0), 87.0))  # R = 43.5 m: sqrt(43.5 * 100 / 11.8)
    19
    """
    full_mm = radius_mm * ratio
    cant = cant_mm * BASE_MM / gauge_mm + DEFICIENCY_MM
    return math.sqrt(max(cant * G_MM_S2 * full_mm / BASE_MM, 0.0)) / ratio


def speed_limits(line: Surveyed) -> Iterator[Met]:
    """The slowest curve by either measure."""
    arcs = [piece for piece in line.pieces["plan"] if piece.kind == "arc"]
    if not arcs:
        return
    gauge = line.stations.gauge_mm
    curves = [(abs(arc.radius_mm), outer_cant_mm(line, arc), arc) for arc in arcs]
    sideways = [sideways_speed_mm_s(radius, cant, gauge) for radius, cant, _ in curves]
    scale = [scale_speed_mm_s(radius, cant, gauge, line.ratio) for radius, cant, _ in curves]
    practice = f"full-size practice at scale, {DEFICIENCY_MM:g} mm of cant lacking (from memory)"
    for name, told, speeds in (
        ("speed, sideways", f"sideways {SIDEWAYS_G:g} g (judgement)", sideways),
        ("speed, scale", practice, scale),
    ):
        i = int(np.argmin(speeds))
        radius, _, arc = curves[i]
        value, middle = speeds[i], 0.5 * (arc.s0_mm + arc.s1_mm)
        words = (
            f"{value:.0f} mm/s (scale {scale_km_h(value, line.ratio):.0f} km/h) in the curve of {radius:.0f} mm "
            f"at {middle / 1000:.2f} m: {told}."
        )
        yield Met(name, value, 0.5 * value * arc.radius_sd_mm / radius, "mm/s", middle, words)
