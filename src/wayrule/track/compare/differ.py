"""Later less earlier along the registered line, with sigma: curvature, gradient, cant, place sideways and height."""

import math
from typing import Final, Literal

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.stats import norm

from wayrule.model import Difference, Registered, Stations
from wayrule.model.arrays import Array
from wayrule.model.comparison import Quantity
from wayrule.track.compare.alike import Read
from wayrule.track.compare.register import grid, laid_of

FALSE_ALARM: Final = 0.05
"""Chance of one significant change or more, anywhere and in any quantity, where nothing changed."""

QUANTITIES: Final = 5

LOCAL: Final[tuple[tuple[Quantity, str, str], ...]] = (
    ("curvature", "curvature_1_mm", "curvature_sd_1_mm"),
    ("gradient", "gradient", "gradient_sd"),
    ("cant", "cant_mm", "cant_sd_mm"),
)

LOOKS_PER_BASE: Final = 2.0
"""Values of a mean over one wheelbase, that slides along the line, that count as independent for its largest one:
between one (no sliding) and infinity; measured on noise, the limit is right to a tenth with two."""

SLOW_BASES: Final = 10.0
"""Place and height wander slowly: one independent value on so many wheelbases; own choice, on the safe side."""

LEAST_SCATTER: Final = 0.05
"""However alike two surveys are on most of the line, error bars shrink to no less than this share."""

HEAVY_TAILS: Final = 1.2
"""Real differences have more outliers than a normal law: at joints, where a pass sways; limits are so much wider."""


def differences(before: Stations, after: Stations, registered: Registered) -> tuple[Difference, ...]:
    """All five quantities at the coarser of both steps; one that neither survey knows is left out."""
    s = grid(before, after)
    later = laid_of(registered).later(s)
    a, b = Read(before), Read(after)
    found = [_local(a, b, s, later, registered, *names) for names in LOCAL]
    found += [_plan(a, b, s, later, registered), _height(a, b, s, later, registered)]
    return tuple(d for d in found if d is not None)


def limit_of(count: float) -> float:
    """Two-sided limit in sigmas for the largest of `count` independent values.

    >>> round(limit_of(100.0) / HEAVY_TAILS, 2)  # Bonferroni: 1 - 0.01 / 200 of the normal law, tables: 3.89
    3.89
    """
    return float(HEAVY_TAILS * norm.isf(FALSE_ALARM / QUANTITIES / (2.0 * max(count, 1.0))))


def _local(
    a: Read, b: Read, s: Array, later: Array, registered: Registered, quantity: Quantity, name: str, sd: str
) -> Difference | None:
    """A mean over one wheelbase: what all of the line shares comes out; the rest tells how large errors really are."""
    change = b.at(name, later, registered.way) - a.at(name, s)
    base = max(a.stations.wheelbase_mm, b.stations.wheelbase_mm)
    if quantity != "cant":
        change = _mean_over(change, base / abs(float(s[1] - s[0])), closed=a.stations.closed)
    held = np.isfinite(change)
    if np.count_nonzero(held) < 3:
        return None
    slope = np.gradient(np.where(held, a.at(name, s), 0.0), s)
    both = np.hypot(a.at(sd, s), b.at(sd, later))
    sigma = np.hypot(both, slope * _off_mm(registered, s))
    offset = float(np.median(change[held]))
    count = float(np.count_nonzero(held)) * abs(s[1] - s[0]) / base
    scatter = _scatter((change - offset) / sigma, count)
    shared = float(np.nanmedian(both)) if np.isfinite(both).any() else float("nan")
    return Difference(
        quantity, s, change - offset, sigma, offset, shared, scatter, limit_of(LOOKS_PER_BASE * count)
    )  # fmt: skip


def _mean_over(value: Array, width: float, *, closed: bool) -> Array:
    """Means over one wheelbase, as sigmas are told of: what turns or climbs from axle to axle; NaN within it of a gap.

    Stations follow the track closer than that, and what they say within a wheelbase is mostly the last pass's sway.
    """
    count = max(1, round(width)) | 1
    mode: Literal["wrap", "nearest"] = "wrap" if closed else "nearest"
    mean = uniform_filter1d(np.nan_to_num(value), count, mode=mode)
    whole = uniform_filter1d(np.isfinite(value).astype(float), count, mode=mode) > 1 - 0.5 / count
    return np.where(whole, mean, np.nan)


def _scatter(z: Array, count: float) -> float:
    """Robust sd of normed differences, widened by its own uncertainty; 1 where sigmas are not known to be otherwise."""
    held = np.abs(z[np.isfinite(z)])
    if len(held) == 0:
        return 1.0
    usual = 1.4826 * float(np.median(held))
    return max(usual * (1.0 + 1.2 / math.sqrt(max(count, 1.0))), LEAST_SCATTER)


def _off_mm(registered: Registered, s: Array) -> Array:
    """(n,) how far places may be off each other along the track [mm]."""
    middle = 0.5 * (s[0] + s[-1])
    at_middle = np.sqrt(max(registered.start_sd_mm**2 - (registered.stretch_sd * middle) ** 2, 0.0))
    return np.asarray(np.sqrt(at_middle**2 + (registered.stretch_sd * (s - middle)) ** 2 + registered.local_sd_mm**2))


def _plan(a: Read, b: Read, s: Array, later: Array, registered: Registered) -> Difference | None:
    """Sideways, left > 0, the later line shifted, turned and stretched to lie best on the earlier one."""
    one = a.at("x_mm", s) + 1j * a.at("y_mm", s)
    two = registered.stretch * (b.at("x_mm", later) + 1j * b.at("y_mm", later))
    heading = a.at("heading_rad", s) if not a.stations.closed else _heading(one)
    held = np.isfinite(one) & np.isfinite(two) & np.isfinite(heading)
    if np.count_nonzero(held) < 3:
        return None
    aside = _aside(one[held], two[held], heading[held])
    change = np.full(len(s), np.nan)
    change[held] = aside
    sigma = np.hypot(_across(a, s, heading), _across(b, later, np.angle(np.gradient(two))))
    return _slow("plan", a, b, s, change, sigma)


def _heading(places: Array) -> Array:
    """Direction of a closed line from its own places: a heading must not be interpolated across the seam."""
    return np.asarray(np.angle(np.roll(places, -1) - np.roll(places, 1)))


def _across(read: Read, at: Array, heading: Array) -> Array:
    """(n,) sd across the line [mm]; `heading` in the survey's own frame."""
    return np.hypot(np.sin(heading) * read.at("x_sd_mm", at), np.cos(heading) * read.at("y_sd_mm", at))


def _aside(one: Array, two: Array, heading: Array) -> Array:
    """Robust rigid fit of `two` on `one`; what is left across the line."""
    weight = np.ones(len(one))
    aside = np.zeros(len(one))
    for _ in range(12):
        total = weight.sum()
        middle_one, middle_two = (weight @ one) / total, (weight @ two) / total
        cross = np.vdot(two - middle_two, weight * (one - middle_one))
        turn = cross / abs(cross) if abs(cross) > 0 else 1.0
        gap = (two - middle_two) * turn + middle_one - one
        aside = np.imag(gap * np.exp(-1j * heading))
        scale = max(1.4826 * float(np.median(np.abs(aside))), 1e-9)
        weight = 1.0 / np.maximum(1.0, np.abs(aside) / (2.0 * scale)) ** 2
    return np.asarray(aside)


def _height(a: Read, b: Read, s: Array, later: Array, registered: Registered) -> Difference | None:
    """Upwards, the later line raised or lowered to lie best on the earlier one."""
    change = b.at("z_mm", later) - a.at("z_mm", s)
    held = np.isfinite(change)
    if np.count_nonzero(held) < 3:
        return None
    sigma = np.hypot(a.at("z_sd_mm", s), b.at("z_sd_mm", later))
    sigma = np.hypot(sigma, a.at("gradient", s) * _off_mm(registered, s))
    return _slow("height", a, b, s, change - np.median(change[held]), sigma)


def _slow(quantity: Quantity, a: Read, b: Read, s: Array, change: Array, sigma: Array) -> Difference:
    """A place: its errors wander along the line, so that one line does not tell how large they are; bars stay.

    They hold the scale's share too, which the registration has taken out, and are on the safe side. Taking the scatter
    of the line itself instead, where smaller, was tried: 4 of 20 lines measured twice then showed changes, not 1.
    """
    base = max(a.stations.wheelbase_mm, b.stations.wheelbase_mm)
    count = float(np.count_nonzero(np.isfinite(change))) * abs(s[1] - s[0]) / (SLOW_BASES * base)
    return Difference(quantity, s, change, sigma, 0.0, float("nan"), 1.0, limit_of(max(count, 4.0)))
