"""Curves whose curvature is linear in their length: lines, circles and clothoids by one rule.

Legend: k0, k1 curvature at start and end [1/mm], left > 0 · L length [mm] · t heading [rad] · a = sqrt(R L).
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fresnel as _fresnel

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_TURN_PER_PANEL_RAD: Final = 0.5
"""A 12-point rule integrates cos and sin over half a radian to better than 1e-15 of the panel's length."""

_MAX_TURN_RAD: Final = 200.0 * math.pi
"""Hundred turns; beyond that the heading itself has lost digits and the question is no longer about a curve."""

Floats = NDArray[np.float64]


def fresnel(x: ArrayLike) -> tuple[Floats, Floats]:
    """Fresnel integrals C(x), S(x) of cos and sin(pi t^2 / 2) from 0 to x (Abramowitz and Stegun 7.3.1, 7.3.2).

    Parameters
    ----------
    x : any shape, any real number; NaN gives NaN

    Returns
    -------
    (C, S), each of the shape of x

    Examples
    --------
    >>> c, s = fresnel(1.0)
    >>> print(f"{c:.10f} {s:.10f}")
    0.7798934004 0.4382591474
    """
    s, c = _fresnel(np.asarray(x, dtype=float))
    return c, s


def turn_rad(k0_1_mm: float, k1_1_mm: float, length_mm: float) -> float:
    """Heading change along a piece: mean curvature times length [rad], left > 0."""
    return 0.5 * (k0_1_mm + k1_1_mm) * length_mm


def points(k0_1_mm: float, k1_1_mm: float, length_mm: float, s_mm: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Where a line, arc or clothoid that starts at the origin along x has got to after s.

    Parameters
    ----------
    k0_1_mm, k1_1_mm : curvature at start and end, left > 0, 0 = straight [1/mm]
    length_mm : length over which the curvature changes, > 0
    s_mm : (n,) places along the piece, any order, 0 <= s <= length [mm]

    Returns
    -------
    x_mm, y_mm, heading_rad : (n,) each

    Raises
    ------
    ValueError   for a length not above 0, an s outside the piece, or more than a hundred turns

    Notes
    -----
    x = int cos t, y = int sin t with t = k0 u + (k1 - k0) u^2 / (2 L), by Gauss-Legendre panels of at most half a
    radian of turn: no series, so no loss at a large turn. Checked against Fresnel integrals up to 100 turns: error
    below 1e-12 of the length.

    Examples
    --------
    Worked example of a surveying manual, A = 80 m, R = 100 m: 63.348 along the tangent.

    >>> x, y, t = points(0.0, 1 / 100.0, 64.0, [64.0])
    >>> print(f"{x[0]:.3f} {y[0]:.3f} {t[0]:.2f}")
    63.348 6.777 0.32
    """
    s = np.atleast_1d(np.asarray(s_mm, dtype=float))
    if not length_mm > 0:
        raise ValueError(f"clothoid.points: length_mm must be above 0, came {length_mm}")
    if np.any((s < -1e-9 * length_mm) | (s > length_mm * (1 + 1e-9))):
        raise ValueError(f"clothoid.points: s_mm must lie between 0 and {length_mm}, came {s.min()} to {s.max()}")
    steepest = max(abs(k0_1_mm), abs(k1_1_mm)) * length_mm
    if not steepest <= _MAX_TURN_RAD:
        raise ValueError(f"clothoid.points: at most {_MAX_TURN_RAD:.0f} rad of turn, came {steepest:.0f}")
    order = np.argsort(s, kind="stable")
    panels = max(1, math.ceil(steepest / _TURN_PER_PANEL_RAD))
    edges = np.union1d(np.linspace(0.0, length_mm, panels + 1), s[order])
    rate = (k1_1_mm - k0_1_mm) / length_mm

    half = 0.5 * np.diff(edges)
    u = 0.5 * (edges[1:] + edges[:-1])[:, None] + half[:, None] * _NODES
    heading = u * (k0_1_mm + 0.5 * rate * u)
    x = np.concatenate([[0.0], np.cumsum(half * (np.cos(heading) @ _WEIGHTS))])
    y = np.concatenate([[0.0], np.cumsum(half * (np.sin(heading) @ _WEIGHTS))])
    at = np.searchsorted(edges, s)
    return x[at], y[at], s * (k0_1_mm + 0.5 * rate * s)


def end(k0_1_mm: float, k1_1_mm: float, length_mm: float) -> tuple[float, float, float]:
    """End point and heading of a piece that starts at the origin along x: (x_mm, y_mm, heading_rad); see `points`.

    >>> x, y, t = end(1 / 100.0, 1 / 100.0, math.pi / 2 * 100.0)  # a quarter circle
    >>> print(f"{x:.6f} {y:.6f} {math.degrees(t):.6f}")
    100.000000 100.000000 90.000000
    """
    x, y, heading = points(k0_1_mm, k1_1_mm, length_mm, [length_mm])
    return float(x[0]), float(y[0]), float(heading[0])


def shift(radius_mm: float, length_mm: float) -> tuple[float, float]:
    """How far a transition from the straight moves its circle.

    Parameters
    ----------
    radius_mm : of the circle at the transition's end, > 0
    length_mm : of the transition, > 0

    Returns
    -------
    (p, k) : offset of the circle from the tangent, and place of the circle's centre along the tangent from the
        transition's start, both mm; p = y - R (1 - cos t), k = x - R sin t at its end (surveying handbooks)

    Examples
    --------
    >>> p, k = shift(100.0, 64.0)
    >>> print(f"{p:.6f} {k:.5f}")
    1.700439 31.89108
    """
    x, y, heading = end(0.0, 1.0 / radius_mm, length_mm)
    return y - radius_mm * (1.0 - math.cos(heading)), x - radius_mm * math.sin(heading)
