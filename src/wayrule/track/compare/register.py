"""Laying one survey's chainage upon another's: start, direction and stretch, from bends and grades alone.

A coarse search correlates both signatures at every shift, both ways, over a few stretches; the best few places are
then fitted by robust least squares in curvature, gradient and cant at once, and the one that fits best is taken.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import uniform_filter1d

from wayrule.errors import UndeterminedError
from wayrule.model import Registered, Stations
from wayrule.model.arrays import Array
from wayrule.track.compare.alike import Read
from wayrule.track.signature import Signature, misfit_by_shift

STRETCH: Final = 0.012
"""Two surveys' lengths differ by no more than this: three sigmas of two calipers of 0.3 %."""

MOST_STRETCHES: Final = 241
CANDIDATES: Final = 8
UNRELATED: Final = 0.6
"""Misfit of the coarse search above which two lines are not the same."""

DISPUTED: Final = 0.1
"""Share of the bending that both surveys of one line may dispute; passes of one line share all but 0.01."""

BLURS: Final = (8, 3, 1)
"""Wheelbases over which signals are smoothed, so that the fit finds its valley from a cell and a stretch away."""

STEPS: Final = 12

SET_DOWN_BASES: Final = 0.05
"""How well a wagon is set down at one place twice, in wheelbases (3 mm in H0); own choice."""

CHANNELS: Final = (("curvature_1_mm", "curvature_sd_1_mm"), ("gradient", "gradient_sd"), ("cant_mm", "cant_sd_mm"))
MOST_POINTS: Final = 20_000
POINTS_PER_BASE: Final = 4
LOCAL_BASES: Final = 20.0
"""Local misregistration is told from stretches of this many wheelbases."""


@dataclass(frozen=True, slots=True)
class Laid:
    """earlier = start + way * stretch * later."""

    way: int
    start_mm: float
    stretch: float

    def later(self, earlier_mm: Array) -> Array:
        """(n,) chainage of the later survey [mm]."""
        return (earlier_mm - self.start_mm) / (self.way * self.stretch)

    def earlier(self, later_mm: float) -> float:
        """Chainage of the earlier survey [mm], not taken round a closed line."""
        return self.start_mm + self.way * self.stretch * later_mm


@dataclass(frozen=True, slots=True)
class Fit:
    """A laying, how much bending both share there, its misfit, and sigmas."""

    laid: Laid
    gain: float
    misfit: float
    start_sd_mm: float
    stretch_sd: float
    local_sd_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Places, later less earlier over sigma, and what that changes by for 1 mm; all channels one after the other."""

    at: Array
    residual: Array
    slope: Array

    @property
    def scale(self) -> float:
        """Robust sd of the residuals."""
        return max(1.4826 * float(np.median(np.abs(self.residual))), 1e-9)

    @property
    def weight(self) -> Array:
        """(n,) weights that let outliers go: 1 within two sigmas, then falling with the square."""
        return np.asarray(1.0 / np.maximum(1.0, np.abs(self.residual) / (2.0 * self.scale)) ** 2)


def register(before: Stations, after: Stations, *, same_start: bool = False) -> Registered:
    """How `after` lies on `before`.

    Parameters
    ----------
    same_start : both start at one place and run one way (a line without bends tells neither)

    Raises
    ------
    UndeterminedError   for lines without a common stretch that bends or grades could tell
    """
    for st, which in ((before, "earlier"), (after, "later")):
        if np.count_nonzero(np.isfinite(st.curvature_1_mm)) < 2:
            raise UndeterminedError(
                expected="two surveys with curvature",
                came=f"the {which} one without",
                where="laying one survey on the other",
                next_step="survey with a gyro",
            )
    a, b = Read(before), Read(after)
    cell = max(before.wheelbase_mm, after.wheelbase_mm)
    if same_start:
        found = [(0.0, Laid(1, 0.0, _ratio(before, after)))]
    else:
        found = _apart(sorted(_coarse(before, after, cell), key=lambda one: one[0]), 2 * cell)
        if not found or not found[0][0] < UNRELATED:
            raise _unrelated(found[0][0] if found else 1.0)
    fits = [fit for _, laid in found if (fit := _fine(a, b, laid, cell)) is not None]
    if same_start and (not fits or fits[0].misfit > DISPUTED or abs(fits[0].laid.start_mm) > cell):
        fits = [Fit(found[0][1], 0.0, 1.0, SET_DOWN_BASES * cell, 0.0, 0.0)]  # no bends: it lies as stated
    if not fits:
        raise UndeterminedError(
            expected=f"two surveys that share at least {10 * cell:.0f} mm of known curvature, gradient or cant",
            came="less",
            where="laying one survey on the other",
            next_step="give surveys that overlap",
        )
    fit = max(fits, key=lambda one: one.gain)
    if fit.misfit > DISPUTED and not same_start:
        raise _unrelated(fit.misfit)
    start = fit.laid.start_mm
    if before.closed:  # the least start of those that mean the same
        start -= before.length_mm * round(start / before.length_mm)
    laid = replace(fit.laid, start_mm=start)
    s = grid(before, after)
    overlap = float(np.mean(np.isfinite(b.at("s_mm", laid.later(s))))) * (a.reaches()[1] - a.reaches()[0])
    return Registered(
        laid.way, start, laid.stretch, fit.start_sd_mm, fit.stretch_sd, fit.local_sd_mm, overlap, fit.misfit
    )  # fmt: skip


def _unrelated(misfit: float) -> UndeterminedError:
    return UndeterminedError(
        expected="two surveys of one line, whose bends and grades agree somewhere",
        came=f"a misfit of {misfit:.2f} at best (0 equal, 1 unrelated)",
        where="laying one survey on the other",
        next_step="give surveys of the same track, or say --same-start where a straight line starts alike",
    )


def laid_of(registered: Registered) -> Laid:
    """The laying that a registration tells."""
    return Laid(registered.way, registered.start_mm, registered.stretch)


def grid(before: Stations, after: Stations) -> Array:
    """(n,) chainages of the earlier line at the coarser of both steps."""
    low, high = Read(before).reaches()
    step = max(float(np.median(np.diff(st.s_mm))) if len(st.s_mm) > 1 else 1.0 for st in (before, after))
    count = max(2, int((high - low) / step) + (0 if before.closed else 1))
    return np.linspace(low, high, count, endpoint=not before.closed)


def _ratio(before: Stations, after: Stations) -> float:
    return before.length_mm / after.length_mm if before.closed and after.closed else 1.0


def _signature(read: Read, cell: float, stretch: float, laps: int = 1) -> Signature:
    """Curvature and change of gradient on cells of `cell` mm of the earlier line."""
    low, high = read.reaches()
    count = max(4, round(stretch * laps * (high - low) / cell))
    s = np.asarray(low + (np.arange(count) + 0.5) * (cell / stretch), dtype=np.float64)
    rise = np.gradient(read.at("gradient", s), cell)
    known = np.isfinite(rise).any()
    return Signature(stretch * low, cell, read.at("curvature_1_mm", s), rise if known else np.zeros(count))


def _coarse(before: Stations, after: Stations, cell: float) -> Iterator[tuple[float, Laid]]:
    """(misfit, laying): the lowest valleys of the misfit, over ways and stretches."""
    a, b = Read(before), Read(after)
    length = min(before.length_mm, after.length_mm)
    cell = max(cell, max(before.length_mm, after.length_mm) / 16384)
    if before.closed and after.closed:
        stretches = [_ratio(before, after)]
    else:
        count = int(min(MOST_STRETCHES, 2 * round(STRETCH * length / cell) + 1))
        stretches = np.linspace(1 - STRETCH, 1 + STRETCH, max(count, 3)).tolist()
    one = _signature(a, cell, 1.0)
    period = len(one.turn) if before.closed else None
    for stretch in stretches:
        other = _signature(b, cell, stretch, 2 if after.closed and not before.closed else 1)
        least = max(10, round(0.2 * min(len(one.turn), len(other.turn))))
        for way in (1, -1):
            seen = other if way > 0 else other.mirrored()
            shift, misfit = misfit_by_shift(one, seen, period=period, least=least)
            for k in _valleys(misfit):
                first = one.start_mm + cell * shift[k]  # where the seen signature's first cell begins
                start = first - seen.start_mm
                yield float(misfit[k]), Laid(way, float(start), float(stretch))


def _apart(found: list[tuple[float, Laid]], near_mm: float) -> list[tuple[float, Laid]]:
    """The best places, each once: of several stretches about one place the best is enough."""
    kept: list[tuple[float, Laid]] = []
    for misfit, laid in found:
        if all(one.way != laid.way or abs(one.start_mm - laid.start_mm) > near_mm for _, one in kept):
            kept.append((misfit, laid))
        if len(kept) == CANDIDATES:
            break
    return kept


def _valleys(misfit: Array) -> list[int]:
    """Indices of the lowest local minima."""
    low = np.where(np.isfinite(misfit), misfit, np.inf)
    dip = np.flatnonzero((low <= np.roll(low, 1)) & (low <= np.roll(low, -1)) & np.isfinite(low))
    return [int(k) for k in dip[np.argsort(low[dip])][:CANDIDATES]]


def _fine(a: Read, b: Read, laid: Laid, base: float) -> Fit | None:
    """Robust Gauss-Newton in start and stretch (fixed where both lines are closed), first on smoothed signals."""
    low, high = a.reaches()
    count = int(min(MOST_POINTS, max(40.0, POINTS_PER_BASE * (high - low) / base)))
    s = np.linspace(low, high, count, endpoint=not a.stations.closed)
    free = not (a.stations.closed and b.stations.closed)
    middle, covariance = 0.0, np.full((2, 2), np.nan)
    for blur in BLURS:
        for _ in range(STEPS):
            seen = _seen(a, b, laid, s, blur)
            if len(seen.at) < 10 * POINTS_PER_BASE:
                return None
            middle = float(np.mean(seen.at))
            move, bend, covariance = _step(seen, middle, free=free)
            move = float(np.clip(move, -blur * base, blur * base))
            start = laid.start_mm - move + bend * (middle - laid.start_mm)
            laid = Laid(laid.way, start, laid.stretch * (1 - bend))
            if abs(move) < 1e-3 and abs(bend) * (high - low) < 1e-3:
                break
    seen = _seen(a, b, laid, s, 1)
    if abs(laid.stretch - 1.0) > 2 * STRETCH or len(seen.at) < 10 * POINTS_PER_BASE:
        return None
    stretch_sd = float(np.sqrt(covariance[1, 1])) if free else 0.0
    start_sd = float(np.hypot(np.sqrt(covariance[0, 0]), stretch_sd * (middle - laid.start_mm)))
    return Fit(laid, *_agreement(a, b, laid, s), start_sd, stretch_sd, _local_sd(seen, base))


def _step(seen: Seen, middle: float, *, free: bool) -> tuple[float, float, Array]:
    """(move of the later line's reading [mm], relative stretch about `middle`, covariance of both)."""
    scale = seen.scale
    weight = seen.weight
    columns = [seen.slope] + ([seen.slope * (seen.at - middle)] if free else [])
    jacobian = np.stack(columns, axis=1)
    normal = jacobian.T @ (weight[:, None] * jacobian)
    normal[np.diag_indices(len(columns))] *= 1 + 1e-9
    normal[np.diag_indices(len(columns))] += 1e-300
    moved = np.linalg.solve(normal, -jacobian.T @ (weight * seen.residual))
    bend = float(np.clip(moved[1], -3e-3, 3e-3)) if free else 0.0
    covariance = np.linalg.inv(normal) * scale**2 * POINTS_PER_BASE
    return float(moved[0]), bend, np.asarray(covariance, dtype=np.float64)


def _seen(a: Read, b: Read, laid: Laid, s: Array, blur: int) -> Seen:
    """Both surveys' curvature, gradient and cant at the places `s`, as means over `blur` wheelbases."""
    later = laid.later(s)
    places, values, slopes = [], [], []
    for name, sd in CHANNELS:
        one, two = a.at(name, s), b.at(name, later, laid.way)
        held = np.isfinite(one) & np.isfinite(two)
        if np.count_nonzero(held) < 10:
            continue
        sigma = _usual(np.hypot(a.at(sd, s), b.at(sd, later)), one)
        width = POINTS_PER_BASE * blur if blur > 1 else 1
        gap = uniform_filter1d(np.where(held, two - one, 0.0), width)
        slope = uniform_filter1d(np.gradient(np.where(held, two, 0.0), s), width)
        inside = uniform_filter1d(held.astype(float), width + 2) > 1 - 1e-9  # no step of what one survey lacks
        places.append(s[inside])
        values.append((gap[inside] - (np.median(gap[inside]) if inside.any() else 0.0)) / sigma)
        slopes.append(slope[inside] / sigma)
    if not places:
        return Seen(np.zeros(0), np.zeros(0), np.zeros(0))
    return Seen(np.concatenate(places), np.concatenate(values), np.concatenate(slopes))


def _usual(sigma: Array, value: Array) -> float:
    """The usual sigma of a channel; where none is told, a hundredth of what the channel does."""
    held = sigma[np.isfinite(sigma) & (sigma > 0)]
    return float(np.median(held)) if len(held) else 0.01 * float(np.nanstd(value)) + 1e-12


def _agreement(a: Read, b: Read, laid: Laid, s: Array) -> tuple[float, float]:
    """(how much bending both share less what they dispute, misfit: 0 equal, about 1 unrelated)."""
    gain, misfit = 0.0, 1.0
    later = laid.later(s)
    for name, sd in CHANNELS[:2]:
        one, two = a.at(name, s), b.at(name, later, laid.way)
        held = np.isfinite(one) & np.isfinite(two)
        if np.count_nonzero(held) < 10:
            continue
        middle = 0.0 if name == "curvature_1_mm" else float(np.mean(one[held]))
        one, two = one[held] - middle, two[held] - middle
        both, gap = 0.5 * (one @ one + two @ two), float(np.sum((two - one) ** 2))
        gain += float(both - gap) / _usual(np.hypot(a.at(sd, s), b.at(sd, later)), one) ** 2
        if name == "curvature_1_mm":
            misfit = gap / max(2.0 * float(both), 1e-300)
    return gain, misfit


def _local_sd(seen: Seen, base: float) -> float:
    """Sd [mm] of what stretches of `LOCAL_BASES` wheelbases still lie off, their own noise taken out."""
    cell = ((seen.at - seen.at.min()) // (LOCAL_BASES * base)).astype(np.int64)
    strength = np.bincount(cell, seen.weight * seen.slope**2)
    off = np.bincount(cell, seen.weight * seen.slope * seen.residual)
    told = strength > 0.2 * np.median(strength[strength > 0]) if (strength > 0).any() else strength > 0
    if np.count_nonzero(told) < 3:
        return 0.0
    own = float(np.median(seen.scale**2 * POINTS_PER_BASE / strength[told]))
    return float(np.sqrt(max((1.4826 * float(np.median(np.abs(off[told] / strength[told])))) ** 2 - own, 0.0)))
