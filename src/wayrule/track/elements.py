"""What a line is made of: straights, arcs and transitions of the plan, grades and vertical curves of the profile."""

import math
from typing import Final

import numpy as np

from wayrule.model import Element, Stations
from wayrule.model.arrays import Array
from wayrule.track.pieces import Pieces, block_line, find_pieces

SMOOTHEST_GAUGES: Final = 1.0 / 5000.0
"""No track is laid better than this part of its gauge over one wheelbase (3 micrometres in H0): keeps noise-free
data from being cut to pieces. Our own choice, far below any roughness measured on real track."""

FLAT_SAGITTA_GAUGES: Final = 1.0 / 80.0
"""A curve that leaves its chord by less than this part of the gauge (0.2 mm in H0) is a straight to anybody's eye."""

STRAIGHT_SIGMAS: Final = 2.0
"""A curvature within this many of its sd's of zero is not told from a straight."""


def elements(stations: Stations) -> tuple[Element, ...]:
    """Elements of plan and profile.

    Parameters
    ----------
    stations : surveyed line; a quantity that is NaN throughout gives no elements of its plane

    Returns
    -------
    Plan elements in rising chainage, then profile elements. On a closed line there is no break at s = 0: the last
    element may end beyond the length. Transitions are continuous in curvature with what they join; arcs and
    straights may follow each other with a step (sectional track). Sigmas rest on the larger of the claimed sigma
    and what the line itself does.

    Notes
    -----
    The search is `maths.outline`; the method and its sources stand in the decision on elements and faults.
    """
    return plan(stations) + profile(stations)


def plan(stations: Stations) -> tuple[Element, ...]:
    """Straights, arcs and transitions; empty without heading or with fewer than two stations."""
    w = stations.wheelbase_mm
    heading = _integral(stations.heading_rad, stations.curvature_1_mm, stations.s_mm)
    if heading is None:
        return ()
    closing = None
    if stations.closed:
        step = stations.length_mm - stations.s_mm[-1]
        ahead = heading[-1] + step * float(np.nan_to_num(stations.curvature_1_mm[-1]))
        turns = (ahead - heading[0]) / math.tau
        closing = (stations.length_mm, heading[0] + round(turns) * math.tau if math.isfinite(turns) else math.nan)
    smooth = 8.0 * SMOOTHEST_GAUGES * stations.gauge_mm / w**2
    line = block_line(stations.s_mm, heading, stations.curvature_sd_1_mm, stations.heading_sd_rad, w, closing)
    return _plan_elements(find_pieces(line, smooth**2 * w, steps=True), stations.gauge_mm)


def profile(stations: Stations) -> tuple[Element, ...]:
    """Grades and vertical curves; empty without heights or with fewer than two stations."""
    w = stations.wheelbase_mm
    z = _integral(stations.z_mm, stations.gradient, stations.s_mm)
    if z is None:
        return ()
    closing = (stations.length_mm, float(z[0])) if stations.closed else None
    smooth = 4.0 * SMOOTHEST_GAUGES * stations.gauge_mm / w
    line = block_line(stations.s_mm, z, stations.gradient_sd, stations.z_sd_mm, w, closing)
    return _profile_elements(find_pieces(line, smooth**2 * w, steps=False))


def _integral(integral: Array, rate: Array, s_mm: Array) -> Array | None:
    """The integral as surveyed, or else summed up from its rate; None where there is neither."""
    if len(s_mm) < 2:
        return None
    if np.isfinite(integral).sum() >= 2:
        return integral
    if np.isfinite(rate).sum() < 2:
        return None
    steps = 0.5 * (rate[1:] + rate[:-1]) * np.diff(s_mm)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _plan_elements(pieces: Pieces, gauge_mm: float) -> tuple[Element, ...]:
    out: list[Element] = []
    for i, kind in enumerate(pieces.kinds):
        start, stop = float(pieces.start[i]), float(pieces.stop[i])
        k0, k1, sd = float(pieces.left[i]), float(pieces.right[i]), _mean_sd(pieces, i)
        straight = kind == "zero" or (kind == "flat" and _is_straight(k0, sd, stop - start, gauge_mm))
        if straight:
            k0 = k1 = 0.0
        out.append(
            Element(
                plane="plan",
                kind="straight" if straight else "arc" if kind == "flat" else "transition",
                s0_mm=start,
                s1_mm=stop,
                curvature0_1_mm=k0,
                curvature1_1_mm=k1,
                curvature_sd_1_mm=sd,
                s0_sd_mm=float(pieces.start_sd[i]),
                s1_sd_mm=float(pieces.stop_sd[i]),
                turned_rad=0.5 * (k0 + k1) * (stop - start),
                misfit=float(pieces.misfit[i]),
                length_sd_mm=float(pieces.length_sd[i]),
                turned_sd_rad=sd * (stop - start) if straight else float(pieces.area_sd[i]),
            )
        )
    return tuple(out)


def _mean_sd(pieces: Pieces, i: int) -> float:
    """Sd of a piece's mean; of one that is taken for zero, what noise makes of the mean over its length."""
    return float(pieces.mean_sd[i]) if pieces.kinds[i] != "zero" else math.sqrt(pieces.density / _length(pieces, i))


def _length(pieces: Pieces, i: int) -> float:
    return float(pieces.stop[i] - pieces.start[i])


def _is_straight(curvature: float, sd: float, length: float, gauge_mm: float) -> bool:
    """Compatible with zero, or nothing that an eye could see."""
    return abs(curvature) < STRAIGHT_SIGMAS * sd or abs(curvature) * length**2 / 8 < FLAT_SAGITTA_GAUGES * gauge_mm


def _profile_elements(pieces: Pieces) -> tuple[Element, ...]:
    return tuple(
        Element(
            plane="profile",
            kind="vertical_curve" if kind == "ramp" else "grade",
            s0_mm=float(pieces.start[i]),
            s1_mm=float(pieces.stop[i]),
            gradient0=float(pieces.left[i]),
            gradient1=float(pieces.right[i]),
            gradient_sd=_mean_sd(pieces, i),
            s0_sd_mm=float(pieces.start_sd[i]),
            s1_sd_mm=float(pieces.stop_sd[i]),
            misfit=float(pieces.misfit[i]),
            length_sd_mm=float(pieces.length_sd[i]),
            rise_sd_mm=float(pieces.area_sd[i]) if kind != "zero" else math.sqrt(pieces.density * _length(pieces, i)),
        )
        for i, kind in enumerate(pieces.kinds)
    )
