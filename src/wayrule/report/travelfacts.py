"""What a practitioner asks of a run first: how far, how long, how fast, and where it stood."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import State, Travel
from wayrule.model.arrays import Array

SHORTEST_STOP_S: Final = 0.5
"""A standstill shorter than this [s] is a jerk at a joint or a coupling taking up its slack, not a stop."""

TOP_SPEED_S: Final = 1.0
"""Top speed is the fastest mean over this time [s]: a peak of single samples would be noise."""


FAST_MM_S: Final = 5000.0
"""From this speed [mm/s] on speeds are told in metres a second."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A standstill: when it began and ended [s], and where [mm] (chainage where the run is placed, else NaN)."""

    t0_s: float
    t1_s: float
    distance_mm: float
    chainage_mm: float

    @property
    def lasted_s(self) -> float:
        """How long it lasted [s]."""
        return self.t1_s - self.t0_s


@dataclass(frozen=True, slots=True)
class TravelFacts:
    """Totals of one run.

    duration_s, rolling_s, unsure_s   whole recording, and of it rolling and unsure [s]
    net_mm, net_sd_mm                 distance from first to last sample, signed as the wagon's front looks [mm]
    path_mm                           the same with every reversal counted forwards [mm]
    top_mm_s, top_sd_mm_s             fastest mean speed over `TOP_SPEED_S`, as a magnitude [mm/s]
    mean_mm_s                         path over rolling time [mm/s]
    stops                             standstills of at least `SHORTEST_STOP_S`, those at the ends included
    """

    duration_s: float
    rolling_s: float
    unsure_s: float
    net_mm: float
    net_sd_mm: float
    path_mm: float
    top_mm_s: float
    top_sd_mm_s: float
    mean_mm_s: float
    stops: tuple[Stop, ...]


def travel_facts(travel: Travel) -> TravelFacts:
    """Totals of a run; NaN where it is too short to have them.

    >>> z = np.zeros(3)
    >>> still = Travel("a", np.arange(3.0), z, z, z, z, np.ones(3), z, 0.0, "")
    >>> facts = travel_facts(still)
    >>> facts.duration_s, facts.net_mm, len(facts.stops), facts.rolling_s
    (2.0, 0.0, 1, 0.0)
    """
    t, d = travel.t_s, travel.distance_mm
    held = np.flatnonzero(np.isfinite(d))
    nan = math.nan
    if len(t) < 2 or len(held) < 2:
        return TravelFacts(float(t[-1] - t[0]) if len(t) else 0.0, 0.0, 0.0, nan, nan, nan, nan, nan, nan, ())
    own = np.gradient(t)
    own[[0, -1]] *= 0.5
    rolling = float(own[travel.state == State.ROLLING].sum())
    path = float(np.abs(np.diff(d[held])).sum())
    top, at = _fastest(t[held], d[held])
    sd = travel.speed_sd_mm_s
    return TravelFacts(
        duration_s=float(t[-1] - t[0]),
        rolling_s=rolling,
        unsure_s=float(own[travel.state == State.UNSURE].sum()),
        net_mm=float(d[held[-1]] - d[held[0]]),
        net_sd_mm=float(travel.distance_sd_mm[held[-1]]),
        path_mm=path,
        top_mm_s=top,
        top_sd_mm_s=float(np.interp(at, t, sd)) if np.isfinite(sd).all() else nan,
        mean_mm_s=path / rolling if rolling > 0 else nan,
        stops=stops(travel),
    )


def stops(travel: Travel) -> tuple[Stop, ...]:
    """Every unbroken standstill of at least `SHORTEST_STOP_S`, in order."""
    standing = travel.state == State.STANDING
    edges = np.flatnonzero(np.diff(np.r_[False, standing, False].astype(np.int8)))
    found = []
    for a, b in zip(edges[::2].tolist(), (edges[1::2] - 1).tolist(), strict=True):
        if travel.t_s[b] - travel.t_s[a] >= SHORTEST_STOP_S:
            found.append(
                Stop(
                    float(travel.t_s[a]),
                    float(travel.t_s[b]),
                    float(travel.distance_mm[a]),
                    float(travel.chainage_mm[a]),
                )
            )
    return tuple(found)


def speed_unit(speed_mm_s: Array) -> tuple[str, float]:
    """The unit that suits speeds as fast as the fastest of these, and its size in mm/s.

    >>> speed_unit(np.array([120.0])), speed_unit(np.array([28000.0, np.nan]))
    (('mm/s', 1.0), ('m/s', 1000.0))
    """
    held = speed_mm_s[np.isfinite(speed_mm_s)]
    fast = len(held) > 0 and float(np.abs(held).max()) >= FAST_MM_S
    return ("m/s", 1000.0) if fast else ("mm/s", 1.0)


def _fastest(t_s: Array, d_mm: Array) -> tuple[float, float]:
    """Largest mean speed over `TOP_SPEED_S` (over the whole run when it is shorter) and the middle of that time."""
    width = min(TOP_SPEED_S, float(t_s[-1] - t_s[0]))
    begin = t_s[t_s <= t_s[-1] - width + 1e-9]
    mean = np.abs(np.interp(begin + width, t_s, d_mm) - np.interp(begin, t_s, d_mm)) / width
    best = int(np.argmax(mean))
    return float(mean[best]), float(begin[best]) + width / 2
