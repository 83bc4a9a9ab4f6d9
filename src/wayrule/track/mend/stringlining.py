"""String-lining: versines on a chord, to check and to line a curve with a ruler.

Legend: v measured, p proposed versine, e = v - p its error, all at stations half a chord apart.

The rules of the handbooks (track foremen's course TR0671 of the US Army, sections IV and V): moving a station outwards
by t makes its versine larger by t and those beside it smaller by t / 2; so the sum of errors up to a station, added up
once more, is half its throw; the last sum and the last half throw must be zero, and the throw is twice the half.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Element, Stations, StringLine
from wayrule.model.arrays import Array

CHORD_GAUGES: Final = 6.0
"""Chord that is taken where none is named: 100 mm in HO, on which a curve of 420 mm has a versine of 3 mm."""

RULER_SD_MM: Final = 0.1
"""How well a versine is read with a ruler; common practice, no source."""


def exact_versine(radius_mm: float, chord_mm: float) -> float:
    """Versine of a circle: R - sqrt(R^2 - C^2 / 4) (geometry).

    >>> round(exact_versine(360.0, 100.0), 5)
    3.48913
    """
    if not 0 < chord_mm <= 2 * abs(radius_mm):
        raise UsageError(
            expected=f"a chord above 0 and at most twice the radius, {2 * abs(radius_mm):g} mm",
            came=f"{chord_mm:g}",
            where="string-lining",
            next_step="take a shorter chord",
        )
    return abs(radius_mm) - float(np.sqrt(radius_mm**2 - chord_mm**2 / 4))


def radius_from(versine_mm: float, chord_mm: float) -> float:
    """Radius from a versine, exactly: R = C^2 / (8 v) + v / 2; infinite on a straight.

    >>> round(radius_from(3.48913, 100.0), 1)
    360.0
    """
    return chord_mm**2 / (8 * versine_mm) + versine_mm / 2 if versine_mm else float("inf")


def throws(measured: Array, proposed: Array) -> Array:
    """Throws (n,), outwards > 0, that make the measured versines the proposed ones; ends do not move.

    Raises
    ------
    UsageError   when the sum of errors or the last half throw is not zero: the curve would not meet what follows it

    Examples
    --------
    One station stands 4 in from where it should be, in eighths of an inch or whatever the ruler shows:

    >>> throws(np.array([8.0, 10.0, 6.0, 10.0, 8.0]), np.array([8.0, 8.0, 10.0, 8.0, 8.0])).tolist()
    [0.0, 0.0, 4.0, 0.0, 0.0]
    """
    error = measured - proposed
    summed = np.cumsum(error)
    half = np.concatenate([[0.0], np.cumsum(summed[:-1])])
    near = 1e-6 * max(1.0, float(np.abs(measured).max()))
    if abs(summed[-1]) > near or abs(half[-1]) > near * len(measured):
        raise UsageError(
            expected="proposed versines with the same sum as the measured ones, and a last half throw of 0",
            came=f"a sum that differs by {summed[-1]:.3g} and a last half throw of {half[-1]:.3g}",
            where="string-lining",
            next_step="change the proposed versines until both are zero",
        )
    return np.asarray(2.0 * half)


def versines(stations: Stations, s_mm: Array, chord_mm: float) -> tuple[Array, Array]:
    """Versines (n,) and their sds at chainages, left-hand curves > 0; NaN within half a chord of an open end."""
    s, x, y = stations.s_mm, stations.x_mm, stations.y_mm
    if stations.closed:
        span = stations.length_mm
        s = np.concatenate([s[-1:] - span, s, s[:1] + span])
        x, y = (np.concatenate([v[-1:], v, v[:1]]) for v in (x, y))

    def at(place: Array) -> Array:
        if stations.closed:
            place = place % stations.length_mm
        point: Array = np.interp(place, s, x, np.nan, np.nan) + 1j * np.interp(place, s, y, np.nan, np.nan)
        return point

    half = chord_mm / 2
    before, here, after = at(s_mm - half), at(s_mm), at(s_mm + half)
    way = (after - before) / np.abs(after - before)
    versine = -np.imag((here - before) * np.conj(way))
    density = np.interp(s_mm, stations.s_mm, stations.curvature_sd_1_mm) * np.sqrt(stations.wheelbase_mm)
    return np.asarray(versine), np.asarray(density * np.sqrt(chord_mm**3 / 48.0))


def string_lines(stations: Stations, plan: Sequence[Element], chord_mm: float) -> tuple[StringLine, ...]:
    """Every curve, from straight to straight, lined by its versines: least squares of the throws, ends unmoved.

    Parameters
    ----------
    plan : elements of the plan; proposed versines run straight between places half a chord before and after their ends
    chord_mm : of the string; stations are half of it apart

    Raises
    ------
    UsageError   a chord that is not above 0 or longer than a third of the line
    """
    if not 0 < chord_mm <= stations.length_mm / 3:
        raise UsageError(
            expected=f"a chord above 0 and at most a third of the line, {stations.length_mm / 3:.0f} mm",
            came=f"{chord_mm:g}",
            where="--chord",
            next_step="take one of about six gauges",
        )
    if not np.isfinite(stations.x_mm).all():
        return ()
    out: list[StringLine] = []
    for curve in _curves(plan):
        out += _lined(stations, curve, chord_mm)
    return tuple(out)


def _curves(plan: Sequence[Element]) -> list[list[Element]]:
    """Neighbouring elements that are no straights."""
    out: list[list[Element]] = [[]]
    for e in sorted(plan, key=lambda e: e.s0_mm):
        if e.kind == "straight":
            out.append([])
        else:
            out[-1].append(e)
    return [c for c in out if c]


def _lined(stations: Stations, curve: list[Element], chord_mm: float) -> list[StringLine]:
    half = chord_mm / 2
    low, high = float(stations.s_mm[0]), stations.length_mm if stations.closed else float(stations.s_mm[-1])
    a, b = max(curve[0].s0_mm - 4 * half, low + half), min(curve[-1].s1_mm + 4 * half, high - half)
    s = np.arange(a, b, half)
    if len(s) < 7:
        return []
    measured, sd = versines(stations, s, chord_mm)
    ends = sorted({e.s0_mm for e in curve} | {e.s1_mm for e in curve})
    knots = sorted({min(max(k, s[0]), s[-1]) for e in ends for k in (e - half, e + half)} | {s[0], s[-1]})
    knots = [k for i, k in enumerate(knots) if i == 0 or k - knots[i - 1] > 0.5 * half]
    hats = np.stack([np.interp(s, knots, row) for row in np.eye(len(knots))], axis=-1)
    proposed = _proposed(measured, hats)
    if proposed is None:
        return []
    moved = throws(measured, proposed)
    rows = zip(s.tolist(), measured.tolist(), sd.tolist(), proposed.tolist(), moved.tolist(), strict=True)
    return [StringLine(*row) for row in rows]


def _proposed(measured: Array, hats: Array) -> Array | None:
    """Versines of the hats (n, m) with the least squares of throws, sum of errors and last half throw zero."""
    n, m = hats.shape
    if m < 3 or not np.isfinite(measured).all():
        return None
    twice = np.tri(n, n, -1) @ np.tri(n, n, 0)  # half throw of each station by the errors of all
    held = np.stack([hats.sum(axis=0), twice[-1] @ hats])
    right = np.array([measured.sum(), twice[-1] @ measured])
    scale = np.abs(held).max(axis=1)
    held, right = held / scale[:, None], right / scale
    design = twice @ hats
    size = np.abs(design).max()
    system = np.block([[design.T @ design / size**2, held.T], [held, np.zeros((2, 2))]])
    rhs = np.concatenate([design.T @ (twice @ measured) / size**2, right])
    found = np.linalg.lstsq(system, rhs, rcond=1e-14)[0][:m]
    proposed: Array = hats @ found
    error = measured - proposed
    if abs(error.sum()) > 1e-6 or abs((twice @ error)[-1]) > 1e-6 * n:
        return None
    return proposed
