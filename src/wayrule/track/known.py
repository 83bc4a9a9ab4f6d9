"""A surveyed line as a wagon feels it: the body's heading, climb and roll, wherever it may stand on it."""

from dataclasses import dataclass

import numpy as np

from wayrule.model import Stations
from wayrule.model.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class KnownLine:
    """Running integrals of the line, from which the means over a wagon's body come at once.

    s_mm        (m,) chainages; of a closed line three laps, the middle one from 0 on
    sums        (2, m) integrals of heading and gradient over chainage; roll_rad (m,)
    closed, length_mm, first_mm   of the line
    gradient_sd, roll_sd   median sds of the map's gradient and roll, constants that no run tells included
    passes      how often it was gone over, usually
    """

    s_mm: Array
    sums: Array
    roll_rad: Array
    closed: bool
    length_mm: float
    first_mm: float
    gradient_sd: float
    roll_sd: float
    passes: float

    def felt(self, s_mm: Array, way: int, wheelbase_mm: float) -> Array:
        """(3, ...) heading, climb and roll of a body whose origin is at chainages (...); NaN where it overhangs.

        way : +1 the marked front points to growing chainage, -1 against it: it then climbs where the line falls, and
        leans the other way; its heading is told as the line's
        """
        ends = np.stack([s_mm, s_mm + way * wheelbase_mm])
        low, high = ends.min(axis=0), ends.max(axis=0)
        out = np.empty((3, *s_mm.shape))
        for row, (total, sign) in enumerate(zip(self.sums, (1, way), strict=True)):
            rise = np.interp(high, self.s_mm, total) - np.interp(low, self.s_mm, total)
            out[row] = sign * rise / wheelbase_mm
        out[2] = 0.5 * way * (np.interp(high, self.s_mm, self.roll_rad) + np.interp(low, self.s_mm, self.roll_rad))
        out[:, (low < self.s_mm[0] - 1e-6) | (high > self.s_mm[-1] + 1e-6)] = np.nan
        return out


def known_line(stations: Stations) -> KnownLine:
    """A surveyed line, ready to be matched.

    Notes
    -----
    A body's heading over a wheelbase is that of the chord between its supports: for a smooth line the mean heading
    between them; likewise its climb. Its roll is the mean of that at both supports.
    """
    s, roll = stations.s_mm, np.arcsin(np.clip(stations.cant_mm / stations.gauge_mm, -1.0, 1.0))
    values = np.stack([stations.heading_rad, stations.gradient, roll])
    if stations.closed:
        length = stations.length_mm
        lap = float(stations.heading_rad[-1] - stations.heading_rad[0])
        turned = 2 * np.pi * round(lap / (2 * np.pi))
        s = np.concatenate([s - length, s, s + length, s[:1] + 2 * length])
        values = np.hstack([values, values, values, values[:, :1]])
        values[0] += turned * np.append(np.repeat([-1.0, 0.0, 1.0], len(stations.s_mm)), 2.0)
    steps = np.diff(s) * 0.5 * (values[:2, 1:] + values[:2, :-1])
    sums = np.hstack([np.zeros((2, 1)), np.cumsum(steps, axis=1)])
    return KnownLine(
        s_mm=s,
        sums=sums,
        roll_rad=values[2],
        closed=stations.closed,
        length_mm=stations.length_mm,
        first_mm=float(stations.s_mm[0]),
        gradient_sd=_median(stations.gradient_sd),
        roll_sd=_median(stations.cant_sd_mm) / stations.gauge_mm,
        passes=max(1.0, float(np.median(stations.passes))),
    )


def short_way(gap_mm: float, line: KnownLine) -> float:
    """A difference of chainages, on a closed line the short way round."""
    if not line.closed:
        return gap_mm
    return (gap_mm + line.length_mm / 2) % line.length_mm - line.length_mm / 2


def _median(sd: Array) -> float:
    known = sd[np.isfinite(sd)]
    return float(np.median(known)) if len(known) else 0.0
