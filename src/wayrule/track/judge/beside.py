"""Where the line runs beside itself: spacing of the tracks, and free space between the stock on them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wayrule.model import Finding, Rule, Stations, Train
from wayrule.model.arrays import Array
from wayrule.track.judge.geometry import swing_mm
from wayrule.track.judge.subject import Subject
from wayrule.track.rules import nem

Mask = NDArray[np.bool_]

REACH_GAUGES = 6.0
"""Tracks farther apart than this are not side by side."""

APART_GAUGES = 20.0
"""So much track at least lies between two places that are beside each other."""

LEVEL_GAUGES = 1.5
"""Tracks that differ more in height pass over each other."""

PARALLEL = 0.9
"""Least cosine of the angle between them (26 deg)."""


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """At every station the track beside it, NaN where there is none: spacing, its sigma, and the free space [mm]."""

    spacing_mm: Array
    sd_mm: Array
    free_mm: Array


def beside_findings(subject: Subject) -> Iterator[Finding]:
    """Spacing and clearance where the line runs beside itself; nothing where it never does."""
    if not (subject.rules.of("spacing") or subject.rules.of("clearance")):
        return
    near = beside(subject.line.stations, subject.train)
    if not np.isfinite(near.spacing_mm).any():
        return
    window = 4.0 * subject.gauge_mm
    for rule in subject.rules.of("spacing"):
        for limit, there in _limits(subject, rule):
            size = np.where(there, near.spacing_mm, np.nan)
            if np.isfinite(size).any():
                yield from subject.scanned(rule, size, near.sd_mm, window_mm=window, limit=limit)
    for rule in subject.rules.of("clearance"):
        yield from subject.scanned(rule, near.free_mm, near.sd_mm, window_mm=window)


def _limits(subject: Subject, rule: Rule) -> Iterator[tuple[float, Mask]]:
    """Limits and where they hold: the rule's own, and for long stock on curves what NEM 112 gives for each radius.

    Long: pivots farther apart than group A of NEM 103. Curves tighter than the table's first row take its limit.
    """
    st = subject.line.stations
    bends = np.abs(np.nan_to_num(st.curvature_1_mm))
    scale = {160: "N", 120: "TT", 87: "H0"}.get(round(subject.line.ratio))
    rows = sorted(r for r in nem.SPACING.get(scale or "", {}) if np.isfinite(r))
    long = any(v.pivots_mm * subject.line.ratio > 1000.0 * nem.BODIES["A"][1] for v in subject.train.vehicles)
    own = subject.limit(rule)
    if rule.document != "NEM 112" or not (long and rows):
        yield own, np.full(len(bends), True)
        return
    # 1 % of slack, so that a curve built to a row of the table is judged by that row
    yield own, bends <= 0.99 / rows[-1]
    for k, radius in enumerate(rows):
        tighter = bends > 0.99 / radius
        looser = bends <= (0.99 / rows[k - 1] if k else np.inf)
        yield nem.SPACING[scale or ""][radius], tighter & looser


def beside(stations: Stations, train: Train) -> Beside:
    """What lies beside each station, looked at about once a gauge.

    The sigma is that of two places of the free network, taken as independent: an upper bound where they are not.
    """
    n, gauge = len(stations.s_mm), stations.gauge_mm
    out = Beside(np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan))
    if n < 2 or not (np.isfinite(stations.x_mm).all() and np.isfinite(stations.y_mm).all()):
        return out
    stride = max(1, int(gauge / float(np.median(np.diff(stations.s_mm)))))
    pick = np.arange(0, n, stride)
    tree = cKDTree(np.stack([stations.x_mm[pick], stations.y_mm[pick]], axis=-1))
    pairs = tree.query_pairs(REACH_GAUGES * gauge, output_type="ndarray")
    i, j = (np.concatenate([pairs[:, a], pairs[:, 1 - a]]) for a in (0, 1))
    i, j = pick[i], pick[j]
    far = _beside_each_other(stations, i, j)
    i, j = i[far], j[far]
    square, ahead = _offset(stations, i, j)
    abreast = np.abs(ahead) <= stride * float(np.median(np.diff(stations.s_mm)))
    i, j, square = i[abreast], j[abreast], square[abreast]
    from_j = -square * _same_way(stations, i, j)  # i lies on the other side of j, where both run the same way
    free = np.abs(square) - _reach(stations, train, i, square) - _reach(stations, train, j, from_j)
    order = np.argsort(-np.abs(square), kind="stable")  # the nearest is written last
    i, j, square, free = i[order], j[order], square[order], free[order]
    out.spacing_mm[i] = np.abs(square)
    sd = np.hypot(stations.x_sd_mm, stations.y_sd_mm) / np.sqrt(2.0)
    out.sd_mm[i] = np.hypot(sd[i], sd[j])
    out.free_mm[i] = free
    return out


def _beside_each_other(st: Stations, i: Array, j: Array) -> Array:
    """Far apart along the track, at one level, and parallel."""
    along = np.abs(st.s_mm[i] - st.s_mm[j])
    if st.closed:
        along = np.minimum(along, st.length_mm - along)
    level = np.nan_to_num(np.abs(st.z_mm[i] - st.z_mm[j]))
    parallel = np.abs(np.cos(st.heading_rad[i] - st.heading_rad[j]))
    gauge = st.gauge_mm
    return np.asarray((along > APART_GAUGES * gauge) & (level < LEVEL_GAUGES * gauge) & (parallel > PARALLEL))


def _offset(st: Stations, i: Array, j: Array) -> tuple[Array, Array]:
    """Of station j from station i: to the left, and ahead."""
    dx, dy = st.x_mm[j] - st.x_mm[i], st.y_mm[j] - st.y_mm[i]
    cos, sin = np.cos(st.heading_rad[i]), np.sin(st.heading_rad[i])
    return dy * cos - dx * sin, dx * cos + dy * sin


def _same_way(st: Stations, i: Array, j: Array) -> Array:
    """+1 where both chainages run the same way, -1 where against each other."""
    return np.asarray(np.sign(np.cos(st.heading_rad[i] - st.heading_rad[j])))


def _reach(st: Stations, train: Train, at: Array, left: Array) -> Array:
    """How far the train reaches from the track's centre towards a side (left > 0), on the curve there."""
    curvature = st.curvature_1_mm[at]
    with np.errstate(divide="ignore"):
        radius = np.where(np.abs(curvature) > 1e-6, 1.0 / np.abs(curvature), np.inf)
    inside = np.sign(curvature) == np.sign(left)
    reach = np.zeros(len(at))
    for one in {v.name: v for v in train.vehicles}.values():
        inwards, outwards = swing_mm(one, radius)
        reach = np.fmax(reach, 0.5 * one.width_mm + np.where(inside, inwards, outwards))
    return reach
