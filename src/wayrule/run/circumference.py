"""How far the wheel rolls in one turn, from legs whose length was taped: straights, curves, forward, backward.

Legend, for each leg i: L taped, d rolled by the wagon file's wheel (both > 0), T how far it turned left and right
[rad]; w the wheel's scale less one, k slip [mm].
    L = (1 + w) d + k T,   so   y = L/d - 1 = w + k T/d.
The error of L is the taping's (the same share in every leg that rests on it); that of d is each leg's own.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Shown
from wayrule.model.arrays import Array
from wayrule.model.rolling import WAYS, RollingCircle, Way
from wayrule.run.legs import Leg

STRAIGHT_RAD_M: Final = 0.1
"""A leg that turns less for each metre is straight: slip of 0.6 mm would be 6e-5 of it, a third of a day's dirt. The
sway of a body adds up to about half of that (common practice, no source)."""

LIKELY_SLIP_MM: Final = (0.3, 0.25)
"""What a leg's slip is taken to be where no curve has shown it, and how sure: as `track.adjust.unknowns` takes it."""

STEP: Final = "taped runs"

SURE_OF_WAY: Final = 3.0
"""Forward and backward differ when they do by so many sigmas."""


@dataclass(frozen=True, slots=True)
class TapedLeg:
    """A leg and the tape that it is held against.

    taping       name of the taping, gauge rod or taped lap: legs of one name share its error
    length_mm    of this leg, by the tape; sd_mm: the taping's part
    end_sd_mm    how far the wagon stopped from the tape's ends, of this leg alone
    """

    leg: Leg
    taping: str
    length_mm: float
    sd_mm: float
    end_sd_mm: float = 0.0

    @property
    def straight(self) -> bool:
        """Whether it counts as straight; without a gyro it is what was stated, and `turned_rad` says so."""
        return not self.leg.turned_rad > STRAIGHT_RAD_M * self.length_mm / 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class Taped:
    """What taped legs have shown.

    circles      each way of rolling that there was a leg for
    scale, slip_mm, covariance   w and k together (2, 2), k being `LIKELY_SLIP_MM` where no leg has shown it
    slip_known   whether straights and curves both were taped, so that k is no guess
    one_way_mm, one_way_sd_mm    circumference forward less backward, what both share left out; NaN where one is missing
    spread       how much more the legs scatter than their sigmas say, 1 or more; sigmas are widened by it already
    shown        the news for the wagon's constants
    """

    circles: tuple[RollingCircle, ...]
    scale: float
    slip_mm: float
    covariance: Array
    slip_known: bool
    one_way_mm: float
    one_way_sd_mm: float
    spread: float
    shown: Shown


def taped(legs: Sequence[TapedLeg], circumference_mm: float, runs: tuple[tuple[str, str], ...]) -> Taped:
    """The wheel's circumference from legs with a tape.

    Parameters
    ----------
    legs : one or more
    circumference_mm : of the wagon file's wheel; NaN for a speed or distance input
    runs : (name, sha256) of the recordings that the legs come from

    Returns
    -------
    Taped

    Notes
    -----
    Generalised least squares with the tapings' shared errors. Where the legs contradict each other beyond their sigmas
    all sigmas are widened by the root of chi squared over its degrees of freedom (Particle Data Group, Review of
    Particle Physics, Introduction 5.2.2: scale factor S).

    Examples
    --------
    >>> one = Leg("there", 3006.0, 0.1, 0.02, 3.0, 20.0)  # 3 m by the tape: the wheel rolls less in a turn than it says
    >>> found = taped([TapedLeg(one, "floor", 3000.0, 0.7)], 33.0, (("there", ""),))
    >>> round(found.circles[0].circumference_mm, 2), round(found.circles[0].circumference_sd_mm, 4)
    (32.93, 0.0078)
    """
    readings = _readings(legs)
    straight = np.array([one.straight for one in legs])
    slip_known = bool(straight.any() and not straight.all())
    readings = readings.widened(_spread(legs, readings, slip_known=slip_known))
    one_way, one_way_sd = _one_way(legs, readings, straight)
    news = readings.both_ways(one_way, one_way_sd)
    scale, slip, covariance = _scale_and_slip(news, slip_known=slip_known)
    circles = tuple(_circles(legs, readings, straight, circumference_mm))
    names = ("wheel_scale", "slip_mm")
    shown = Shown(STEP, names, news.design, news.y, news.covariance, runs, _words(circles, slip_known))
    return Taped(
        circles, scale, slip, covariance, slip_known,
        one_way * circumference_mm, one_way_sd * circumference_mm, readings.spread, shown,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """y (n,), design (n, 2) of w and k, covariance (n, n), widened by `spread` already."""

    y: Array
    design: Array
    covariance: Array
    spread: float = 1.0

    def widened(self, spread: float) -> "_Readings":
        return replace(self, covariance=self.covariance * spread**2, spread=spread)

    def both_ways(self, one_way: float, sd: float) -> "_Readings":
        """The same for a wheel of which nobody asks which way it rolls: half of what the ways differ by is unknown."""
        half = 0.25 * max(one_way**2 - sd**2, 0.0) if math.isfinite(one_way) else 0.0
        return replace(self, covariance=self.covariance + half)

    def at_likely_slip(self, which: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Some of y with the likely slip taken off, and their covariance with what is not known of it."""
        slip, slip_sd = LIKELY_SLIP_MM
        bend = self.design[which, 1]
        return self.y[which] - slip * bend, self.covariance[np.ix_(which, which)] + slip_sd**2 * np.outer(bend, bend)


def _readings(legs: Sequence[TapedLeg]) -> _Readings:
    """What the legs say, in shares of what was rolled."""
    rolled = np.array([abs(one.leg.rolled_mm) for one in legs])
    length = np.array([one.length_mm for one in legs])
    turned = np.array([0.0 if math.isnan(one.leg.turned_rad) else one.leg.turned_rad for one in legs])
    own = np.array([math.hypot(one.leg.sd_mm, one.end_sd_mm) for one in legs]) / rolled
    share = np.array([one.sd_mm for one in legs]) / rolled
    same = np.array([[a.taping == b.taping for b in legs] for a in legs])
    covariance = np.diag(own**2) + np.outer(share, share) * same
    return _Readings(length / rolled - 1.0, np.column_stack([np.ones(len(legs)), turned / rolled]), covariance)


def _fit(y: Array, design: Array, covariance: Array) -> tuple[Array, Array]:
    """Generalised least squares: (p,) unknowns and their covariance (p, p)."""
    weight = np.asarray(np.linalg.inv(covariance), dtype=float)
    found = np.asarray(np.linalg.inv(design.T @ weight @ design), dtype=float)
    return found @ design.T @ weight @ y, found


def _spread(legs: Sequence[TapedLeg], readings: _Readings, *, slip_known: bool) -> float:
    """How much more the legs scatter, each among those of its way, than their sigmas say; 1 where they do not, or are
    too few to tell."""
    forward = np.array([one.leg.rolled_mm > 0 for one in legs])
    if slip_known:
        y, covariance = readings.y, readings.covariance
    else:
        y, covariance = readings.at_likely_slip(np.ones(len(legs), dtype=bool))
    ways = [way for way in (forward, ~forward) if way.any()]
    design = np.column_stack([*ways, *([readings.design[:, 1]] if slip_known else [])]).astype(float)
    root = np.linalg.cholesky(covariance)
    white, flat = np.linalg.solve(root, y), np.linalg.solve(root, design)
    best, _, rank, _ = np.linalg.lstsq(flat / np.linalg.norm(flat, axis=0), white)  # a way may have curved legs only
    free = len(y) - int(rank)
    left = white - flat / np.linalg.norm(flat, axis=0) @ best
    return math.sqrt(max(float(left @ left) / free, 1.0)) if free > 0 else 1.0


def _scale_and_slip(readings: _Readings, *, slip_known: bool) -> tuple[float, float, Array]:
    """w, k and their covariance (2, 2); k as it is likely where no leg has shown it."""
    if slip_known:
        best, covariance = _fit(readings.y, readings.design, readings.covariance)
        return float(best[0]), float(best[1]), covariance
    slip, slip_sd = LIKELY_SLIP_MM
    plain, own = _fit(readings.y, readings.design[:, :1], readings.covariance)
    weight = np.linalg.inv(readings.covariance)
    bend = float((own @ readings.design[:, :1].T @ weight @ readings.design[:, 1])[0])  # how far 1 mm of k moves w
    both = np.array([[own[0, 0] + (bend * slip_sd) ** 2, -bend * slip_sd**2], [-bend * slip_sd**2, slip_sd**2]])
    return float(plain[0] - bend * slip), slip, both


def _circles(
    legs: Sequence[TapedLeg], readings: _Readings, straight: NDArray[np.bool_], circumference_mm: float
) -> Iterator[RollingCircle]:
    """Each way of rolling that there is a leg for."""
    forward = np.array([one.leg.rolled_mm > 0 for one in legs])
    ways: tuple[tuple[Way, NDArray[np.bool_]], ...] = (
        ("straight", straight),
        ("forward", straight & forward),
        ("backward", straight & ~forward),
        ("curves", ~straight),
    )
    for way, which in ways:
        if not which.any():
            continue
        y, covariance = readings.at_likely_slip(which)
        if way == "curves":  # as it rolls there, slip and all
            y, covariance = readings.y[which], readings.covariance[np.ix_(which, which)]
        best, found = _fit(y, np.ones((len(y), 1)), covariance)
        scale, sd = float(best[0]), math.sqrt(found[0, 0])
        length = sum(one.length_mm for one, counts in zip(legs, which, strict=True) if counts)
        size = (1 + scale) * circumference_mm, sd * circumference_mm
        yield RollingCircle(way, scale, sd, *size, int(which.sum()), length)


def _one_way(legs: Sequence[TapedLeg], readings: _Readings, straight: NDArray[np.bool_]) -> tuple[float, float]:
    """Scale forward less backward on straights, and its sd: a taping that both share says nothing of it."""
    forward = np.array([one.leg.rolled_mm > 0 for one in legs])[straight]
    if not forward.any() or forward.all():
        return math.nan, math.nan
    y, covariance = readings.at_likely_slip(straight)
    best, found = _fit(y, np.column_stack([forward, ~forward]).astype(float), covariance)
    return float(best[0] - best[1]), math.sqrt(found[0, 0] + found[1, 1] - 2 * found[0, 1])


def _words(circles: Sequence[RollingCircle], slip_known: bool) -> str:
    """What was found, in one sentence."""
    told = [f"{_size(one)} {WAYS[one.way]}" for one in circles if one.way in ("straight", "curves")]
    legs = sum(one.legs for one in circles if one.way in ("straight", "curves"))
    slip = "; slip in curves from the two" if slip_known else ""
    return f"One turn of the wheel rolls {', '.join(told)} ({legs} taped {'leg' if legs == 1 else 'legs'}){slip}."


def _size(one: RollingCircle) -> str:
    """A circumference with its sd, or a scale where there is no wheel's diameter."""
    if math.isfinite(one.circumference_mm):
        return f"{one.circumference_mm:.3f} +- {one.circumference_sd_mm:.2g} mm"
    return f"{100 * one.scale:+.3f} +- {100 * one.scale_sd:.2g} % of what the input says"
