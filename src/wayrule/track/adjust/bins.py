"""A run reduced to bins of travel: what the gyro turned and the accelerometer felt between places a few mm apart.

Increments (integrals over a bin) are the observations, not instantaneous rates: they add up to what was travelled,
whatever the sample rate, and a jolt at a rail joint stays inside one bin.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from wayrule.model import Mishap, Travel
from wayrule.model.arrays import Array
from wayrule.track.plain import filled, running_integral

STANDING_BIN_S = 0.5
"""A bin ends after this time even when the wagon stands: the gyro's bias is seen there, and it wanders."""

GROUP_S, LEAST_GROUP_S = 0.8, 0.4
"""Specific force is averaged over at most this long and a wheelbase of travel: the wheel's dv/dt is then known well,
and the gyro carries the shape between (gyro and accelerometer of this class cross over at about a second)."""


GYRO_SPOILT = frozenset({"knock", "gap", "hand", "lift"})
FORCE_SPOILT = GYRO_SPOILT | {"slide", "spin"}
"""Mishaps that leave the gyro, and the specific force less the wheel's own acceleration, with nothing to say."""

MOST_BINS = 8192
"""Bins of one part of a run: its derivatives are then small beside the recording."""


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a run: its bins, their edges (one more), and the groups of specific force that they make up."""

    bins: slice
    edges: slice
    groups: slice


@dataclass(frozen=True, slots=True)
class Bins:
    """b bins between b + 1 edges; g groups of bins for the specific force.

    t_s, d_mm, v_mm_s  (b + 1,) at the edges: time, wheel distance, wheel speed
    path_mm            (b + 1,) distance rolled so far, never falling
    gyro_rad           (b, 3) integrated rates over each bin
    gyro_ok            (b, 3) whether every sample in it is there
    group              (g + 1,) edges (indices into the edges above) of the groups
    force_mm_s2        (g, 3) mean specific force over each group; empty without accelerometer
    force_ok           (g, 3)
    period_s           time between the recording's rows
    """

    t_s: Array
    d_mm: Array
    v_mm_s: Array
    path_mm: Array
    gyro_rad: Array
    gyro_ok: NDArray[np.bool_]
    group: NDArray[np.int64]
    force_mm_s2: Array
    force_ok: NDArray[np.bool_]
    period_s: float

    @property
    def dt_s(self) -> Array:
        """(b,) duration of each bin."""
        return np.diff(self.t_s)

    @property
    def path_span(self) -> tuple[float, float]:
        """Where the path begins and ends [mm]."""
        return float(self.path_mm[0]), float(self.path_mm[-1])

    def parts(self) -> tuple[Part, ...]:
        """The run cut between groups into parts of about `MOST_BINS` bins."""
        groups, bins = len(self.group) - 1, len(self.t_s) - 1
        wanted = np.searchsorted(self.group, np.arange(MOST_BINS, bins, MOST_BINS))
        cuts = np.unique(np.concatenate(([0], wanted, [groups])))
        edges = itertools.pairwise(self.group[cuts].tolist())
        return tuple(
            Part(slice(a, b), slice(a, b + 1), slice(first, last))
            for (a, b), (first, last) in zip(edges, itertools.pairwise(cuts.tolist()), strict=True)
        )


def reduce_run(travel: Travel, bin_mm: float, wheelbase_mm: float) -> Bins:
    """Cut a run into bins of about `bin_mm` of travel, or `STANDING_BIN_S` where it stands."""
    assert travel.imu is not None
    t_s = travel.t_s
    distance = smooth_distance(travel)
    edges = _edges(t_s, distance, bin_mm)
    gyro, gyro_ok = _integrals(travel.imu.gyro_rad_s, t_s, edges)
    gyro_ok &= ~_befallen(t_s[edges], travel.mishaps, GYRO_SPOILT)[:, None]
    group = _group(t_s[edges], distance[edges], wheelbase_mm)
    force = np.empty((len(group) - 1, 3))
    force_ok = np.zeros((len(group) - 1, 3), dtype=bool)
    if travel.imu.acc_mm_s2 is not None:
        at = edges[group]
        total, force_ok = _integrals(travel.imu.acc_mm_s2, t_s, at)
        force = total / np.diff(t_s[at])[:, None]
        force_ok &= ~_befallen(t_s[at], travel.mishaps, FORCE_SPOILT)[:, None]
    path = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(distance[edges])))))
    return Bins(
        t_s=t_s[edges],
        d_mm=distance[edges],
        v_mm_s=travel.speed_mm_s[edges],
        path_mm=path,
        gyro_rad=gyro,
        gyro_ok=gyro_ok,
        group=group,
        force_mm_s2=force,
        force_ok=force_ok,
        period_s=float(np.median(np.diff(t_s))),
    )


SMOOTH_S = 0.25
"""Noise of the wheel's reading is averaged over about this long, about the path that its smoothed speed predicts."""


def smooth_distance(travel: Travel) -> Array:
    """Wheel distance freed of the reading's quick noise: a wagon has no such jerks, and in a curve each would look like
    a turn that the gyro missed. Edges of bins must not be chosen by that noise either."""
    predicted = running_integral(travel.speed_mm_s, travel.t_s)
    samples = max(1, round(SMOOTH_S / float(np.median(np.diff(travel.t_s))))) | 1
    return np.asarray(predicted + uniform_filter1d(travel.distance_mm - predicted, samples, mode="nearest"))


def _edges(t_s: Array, d_mm: Array, bin_mm: float) -> NDArray[np.int64]:
    """Sample numbers at which bins begin, the last sample included."""
    cell = np.floor(d_mm / bin_mm).astype(np.int64)
    tick = np.floor((t_s - t_s[0]) / STANDING_BIN_S).astype(np.int64)
    change = np.flatnonzero((np.diff(cell) != 0) | (np.diff(tick) != 0)) + 1
    return np.unique(np.concatenate(([0], change, [len(t_s) - 1])))


def _group(t_s: Array, d_mm: Array, wheelbase_mm: float) -> NDArray[np.int64]:
    """Edges of groups of bins: `GROUP_S` or a wheelbase, whichever is sooner, but at least `LEAST_GROUP_S`."""
    dt = np.diff(t_s)
    progress = np.minimum(dt / LEAST_GROUP_S, np.maximum(dt / GROUP_S, np.abs(np.diff(d_mm)) / wheelbase_mm))
    tick = np.floor(np.concatenate(([0.0], np.cumsum(progress)))).astype(np.int64)
    change = np.flatnonzero(np.diff(tick) != 0) + 1
    edges = np.unique(np.concatenate(([0], change, [len(t_s) - 1])))
    if len(edges) > 2 and tick[edges[-1]] == tick[edges[-2]]:
        edges = np.delete(edges, -2)
    return edges


def _befallen(edges_s: Array, mishaps: Sequence[Mishap], kinds: frozenset[str]) -> NDArray[np.bool_]:
    """(b,) which intervals between edges something of these kinds befell."""
    out = np.zeros(len(edges_s) - 1, dtype=bool)
    for one in mishaps:
        if one.kind in kinds:
            first = np.searchsorted(edges_s, one.first_s, side="right") - 1
            out[max(first, 0) : np.searchsorted(edges_s, one.last_s)] = True
    return out


def _integrals(values: Array, t_s: Array, edges: NDArray[np.int64]) -> tuple[Array, NDArray[np.bool_]]:
    """(b, 3) trapezoidal integrals between edges, and whether no sample was missing on the way."""
    out = np.empty((len(edges) - 1, 3))
    ok = np.empty((len(edges) - 1, 3), dtype=bool)
    for axis in range(3):
        total = running_integral(filled(values[:, axis], t_s), t_s)
        out[:, axis] = np.diff(total[edges])
        missing = np.concatenate(([0], np.cumsum(~np.isfinite(values[:, axis]))))
        ok[:, axis] = missing[edges[1:] + 1] == missing[edges[:-1]]
    return out, ok
