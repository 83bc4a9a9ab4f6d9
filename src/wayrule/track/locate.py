"""Where on a surveyed line a wagon is, from what it has felt on the way that it came; no other position is needed.

y  felt angles on the trail's cells (3, n)      m  the same as the map has them, from a supposed place
V  covariance of y - m                          chi2 = (y - m)' V^-1 (y - m), over all three angles
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from wayrule.maths.dampedwave import correlation
from wayrule.model import Instrument, LikelyPlace, Located, Trail
from wayrule.model.arrays import Array
from wayrule.track.known import KnownLine, short_way

CERTAIN: Final = 0.998
"""Probability from which one place is called certain."""
NEAR_GAUGES: Final = 1.2
"""Places so near are one place: 20 mm in H0."""
CELLS_A_WHEELBASE: Final = 13
"""Places are tried so densely: every 5 mm for a wheelbase of 65 mm."""
MOST_TRIED: Final = 60
"""So many of the best places on that grid are looked at closely; it is coarse against how well a place can be told."""
HOPELESS_TIMES, HOPELESS = 4.0, 1000.0
"""A valley less deep than so many times the deepest, and so much, is passed over: half a step off the grid costs a few
hundred at worst."""
ROUNDS: Final = 5
"""Of Gauss and Newton's steps to the best place and scale near each; they settle in three."""
FITS: Final = 8.0
"""Mean square misfit, in sigmas, above which the wagon is not on this line. In its place it leaves 0.1 to 3 (a fault
that the map smooths); on another line a thousand, or tens where nothing is known of the wagon (simulated pushes)."""
PLACE_GAUGES: Final = 0.12
"""No place is told better than this, 2 mm in H0: the map's own chainage, the wheel's play (measured on simulated
pushes)."""
MOST_PLACES: Final = 4
LEAST_SHARE: Final = 0.02
"""A place less probable is not told."""
RUN_STRETCH_SD: Final = 3e-4
"""How far a wheel's rolling circumference differs from day to day (common practice, no source)."""
ROUGH_SHARE: Final = 0.15
"""Share of its sway by which the map's own angles err besides (measured on simulated surveys)."""


def locate(trail: Trail | None, line: KnownLine, one: Instrument) -> Located:
    """Where the wagon is.

    Parameters
    ----------
    trail : Trail        the way that it came; None: it has hardly moved
    line : KnownLine     the survey
    one : Instrument     the wagon; its sway is in the survey's angles too

    Notes
    -----
    Every place of the line is as probable beforehand as any other, and so is either way round. Each is held against
    what was felt, with the covariance of the trail and of the map; the heading at the start is free, the wheel's scale
    within its sigma. Near each good place the best one is found, and its share is that of the normal curve through it
    (Laplace): exp(-chi2 / 2) times the square root of the determinant of place's and scale's covariance. Where even the
    best place leaves more than the sigmas allow, all are widened by as much, so that a poor fit cannot be certain.
    """
    nothing = Located("unknown", (), 0.0, float("nan"))
    if trail is None:
        return nothing
    held = _Held(trail, line, [cholesky(v, lower=True) for v in _covariances(trail, line, one)])
    tried = _tried(line, trail.wheelbase_mm / CELLS_A_WHEELBASE)
    ways: tuple[Literal[1], Literal[-1]] = (1, -1)
    valleys = [(chi2, way, s) for way in ways for s, chi2 in _valleys(tried, held.chi2(tried, way), line.closed)]
    if not valleys:
        return nothing
    worst = HOPELESS_TIMES * min(valleys)[0] + HOPELESS
    good = [(way, s) for chi2, way, s in valleys if chi2 <= worst]
    peaks = [_closely(held, way, s, float(np.hypot(trail.scale_sd, RUN_STRETCH_SD))) for way, s in good]
    peaks = [peak for peak in peaks if math.isfinite(peak.chi2)]
    if not peaks:
        return nothing
    least = min(peak.chi2 for peak in peaks)
    misfit = least / (3 * len(trail.away_mm) - 2)
    if misfit > FITS:
        return Located("nowhere", (), trail.length_mm, misfit)
    found = _gathered(peaks, least, max(1.0, misfit), line, one.gauge_mm)
    sure = found[0].share >= CERTAIN and 2.0 * found[0].sd_mm <= NEAR_GAUGES * one.gauge_mm
    return Located("certain" if sure else "several", found[:1] if sure else found, trail.length_mm, misfit)


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """What was felt, to be held against the map; factors: Cholesky's of each angle's covariance."""

    trail: Trail
    line: KnownLine
    factors: list[Array]

    def left(self, places: Array, way: int, scale: Array | float) -> Array:
        """(3 n, p) felt less map in sigmas, for supposed places (p,); NaN where the trail would leave the line."""
        trail = self.trail
        felt = self.line.felt(
            places[:, None] + way * np.multiply.outer(scale * np.ones(len(places)), trail.away_mm),
            way,
            trail.wheelbase_mm,
        )
        felt[0] -= felt[0][:, trail.newest, None]
        out = [
            solve_triangular(factor, (y - np.nan_to_num(m)).T, lower=True)
            for factor, y, m in zip(self.factors, trail.angles_rad, felt, strict=True)
        ]
        left = np.concatenate(out)
        left[:, ~np.isfinite(felt[0]).all(axis=1)] = np.nan
        return left

    def chi2(self, places: Array, way: int) -> Array:
        """(p,) by the wheel's scale as it is; infinite where the trail would leave the line."""
        total = np.sum(self.left(places, way, 1.0) ** 2, axis=0)
        return np.where(np.isfinite(total), total, np.inf)


@dataclass(frozen=True, slots=True)
class _Peak:
    """A place that fits best among its neighbours: chi2 there, its sd, and how wide it is with the scale's width."""

    s_mm: float
    way: Literal[1, -1]
    chi2: float
    sd_mm: float
    width: float


def _valleys(tried: Array, chi2: Array, ring: bool) -> list[tuple[float, float]]:
    """The best of the places whose neighbours both fit worse, each with its chi2."""
    around = np.pad(chi2, 1, mode="wrap") if ring else np.pad(chi2, 1, constant_values=np.inf)
    at = np.flatnonzero((chi2 <= around[:-2]) & (chi2 <= around[2:]) & np.isfinite(chi2))
    return [(float(tried[k]), float(chi2[k])) for k in at[np.argsort(chi2[at])][: MOST_TRIED // 2]]


def _closely(held: _Held, way: Literal[1, -1], s_mm: float, scale_sd: float) -> _Peak:
    """The best place and scale near a place, by Gauss and Newton's steps with derivatives by differences."""
    reach = held.trail.wheelbase_mm / CELLS_A_WHEELBASE
    by, scale, chi2 = 0.1 * reach, 1.0, math.inf
    covariance: Array = np.zeros((2, 2))
    for _ in range(ROUNDS):
        places = s_mm + np.array([0.0, by, -by, 0.0, 0.0])
        left = held.left(places, way, scale + scale_sd * np.array([0.0, 0.0, 0.0, 0.5, -0.5]))
        if not np.isfinite(left).all():
            return _Peak(s_mm, way, math.inf, 0.0, 0.0)
        slopes = np.column_stack([(left[:, 1] - left[:, 2]) / (2 * by), (left[:, 3] - left[:, 4]) / scale_sd])
        covariance = np.asarray(np.linalg.inv(slopes.T @ slopes + np.diag([1e-12, scale_sd**-2])), dtype=np.float64)
        chi2 = float(left[:, 0] @ left[:, 0] + ((scale - 1.0) / scale_sd) ** 2)
        step = -covariance @ (slopes.T @ left[:, 0] + np.array([0.0, (scale - 1.0) / scale_sd**2]))
        s_mm, scale = s_mm + float(np.clip(step[0], -reach, reach)), scale + float(step[1])
    width = math.sqrt(max(float(np.linalg.det(covariance)), 0.0))
    return _Peak(s_mm, way, chi2, math.sqrt(float(covariance[0, 0])), width)


def _tried(line: KnownLine, step: float) -> Array:
    """Chainages that are tried."""
    if line.closed:
        count = max(8, round(line.length_mm / step))
        return np.asarray(np.arange(count) * (line.length_mm / count))
    return np.arange(line.s_mm[0], line.s_mm[-1], step)


def _covariances(trail: Trail, line: KnownLine, one: Instrument) -> Array:
    """(3, n, n) of felt less map: both sway, the map less for each pass; its level is no better known than it says."""
    between = np.abs(trail.away_mm[:, None] - trail.away_mm)
    out = trail.covariance.copy()
    out[0] += 1.0  # the heading at the start
    out[1] += line.gradient_sd**2
    out[2] += line.roll_sd**2
    for row in range(3):
        share = 1.0 / line.passes + ROUGH_SHARE**2
        out[row] += share * one.sway_rad[row] ** 2 * correlation(between, float(one.sway_length_mm[row]))
    return np.asarray(out)


def _gathered(
    peaks: list[_Peak], least: float, widened: float, line: KnownLine, gauge_mm: float
) -> tuple[LikelyPlace, ...]:
    """The likeliest places, what is near each and looks the same way being one with it."""
    left = sorted(peaks, key=lambda peak: peak.chi2)
    merged: list[tuple[_Peak, float]] = []
    for peak in left:
        near = [
            other
            for other, _ in merged
            if other.way == peak.way and abs(short_way(other.s_mm - peak.s_mm, line)) <= NEAR_GAUGES * gauge_mm
        ]
        if not near:
            merged.append((peak, peak.width * math.exp(-0.5 * (peak.chi2 - least) / widened)))
    total = sum(mass for _, mass in merged)
    found: list[LikelyPlace] = []
    for peak, mass in sorted(merged, key=lambda one: -one[1])[:MOST_PLACES]:
        s = peak.s_mm % line.length_mm if line.closed else peak.s_mm
        sd = math.hypot(math.sqrt(widened) * peak.sd_mm, PLACE_GAUGES * gauge_mm)
        if mass >= LEAST_SHARE * total or not found:
            found.append(LikelyPlace(s, sd, peak.way, mass / total))
    return tuple(found)
