"""What runs here: a train on a surveyed line, from its tightest curve to its speed."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from wayrule.model import Element, Met, Running, Surveyed, Train, Vehicle
from wayrule.track.judge.beside import beside
from wayrule.track.judge.geometry import least_radius_mm, swing_mm
from wayrule.track.rules import nem
from wayrule.track.running.coupling import worst_offsets_mm
from wayrule.track.running.hauling import hauling
from wayrule.track.running.speeds import speed_limits

CAR_LENGTHS: Final = 3.0
"""Radius over the longest car: the layout-design rule of thumb for stock that runs well."""

SHEET_SCALES: Final = {220: "Z", 160: "N", 120: "TT", 87: "H0", 64: "S", 45: "0", 32: "I", 22: "II"}

WIDE_GAUGES: Final = 150.0
"""Bends wider than so many gauges make no reverse that a train would feel; our choice."""


def runs(line: Surveyed, train: Train) -> Running:
    """What a train meets on a line."""
    st = line.stations
    coupler = worst_offsets_mm(st, train)
    haul = hauling(st, train, line.ratio)
    met = [*_curves(line, train), *_coupler(line, train, coupler), *_free(line, train), *haul.met, *speed_limits(line)]
    return Running(train, tuple(met), st.s_mm, coupler, haul.pull_n, haul.assumed)


def _curves(line: Surveyed, train: Train) -> Iterator[Met]:
    """Tightest radius with the swing on it, and the worst reverse."""
    arcs = [piece for piece in line.pieces["plan"] if piece.kind == "arc"]
    if not arcs:
        return
    arc = min(arcs, key=lambda a: abs(a.radius_mm))
    radius, middle = abs(arc.radius_mm), 0.5 * (arc.s0_mm + arc.s1_mm)
    tight = max(train.vehicles, key=least_radius_mm)
    fits = "" if radius > least_radius_mm(tight) else f" {tight.name} does not fit it at all."
    at = f"{middle / 1000:.2f} m"
    yield Met("radius", radius, arc.radius_sd_mm, "mm", middle, f"Tightest radius {radius:.0f} mm at {at}.{fits}")
    widest = max(train.vehicles, key=lambda v: float(np.nan_to_num(swing_mm(v, radius)[0], nan=math.inf)))
    inwards = float(swing_mm(widest, radius)[0])
    far = max(train.vehicles, key=lambda v: float(np.nan_to_num(swing_mm(v, radius)[1], nan=math.inf)))
    outwards = float(swing_mm(far, radius)[1])
    relative = arc.radius_sd_mm / radius
    yield Met("swing in", inwards, inwards * relative, "mm", middle,
              f"{widest.name} swings {inwards:.1f} mm inwards at {at}, beyond half its width.")  # fmt: skip
    yield Met("swing out", outwards, outwards * relative, "mm", middle,
              f"{far.name} swings {outwards:.1f} mm outwards at its ends at {at}.")  # fmt: skip
    yield Met("longest car", radius / CAR_LENGTHS, arc.radius_sd_mm / CAR_LENGTHS, "mm", middle,
              f"Longest body for the tightest curve: {radius / CAR_LENGTHS:.0f} mm, by the rule of thumb of three "
              "lengths to the radius.")  # fmt: skip
    yield from _widening(line, widest, arc, inwards)
    yield from _reverse(line, train)


def _widening(line: Surveyed, car: Vehicle, arc: Element, inwards: float) -> Iterator[Met]:
    """What NEM 103 asks of the clearance on the tightest curve, beside the exact swing."""
    scale, group = SHEET_SCALES.get(round(line.ratio)), nem.group_of(car.pivots_mm, line.ratio)
    if scale is None or group is None or not car.bogie_mm:
        return
    radius, s_mm = abs(arc.radius_mm), 0.5 * (arc.s0_mm + arc.s1_mm)
    table = nem.widening_mm(scale, group, radius)
    if math.isfinite(table):
        yield Met("widening", table, table * arc.radius_sd_mm / radius, "mm", s_mm,
                  f"NEM 103 widens the clearance by {table:.0f} mm on each side for group {group} at {radius:.0f} mm; "
                  f"{car.name} itself swings {inwards:.1f} mm inwards.")  # fmt: skip


def _reverse(line: Surveyed, train: Train) -> Iterator[Met]:
    """Where the curvature changes most over the longest vehicle, from one hand to the other."""
    st = line.stations
    half = 0.5 * train.longest.length_mm
    s, k = st.s_mm, np.nan_to_num(st.curvature_1_mm)
    if st.closed:
        s, k = np.concatenate([s - st.length_mm, s, s + st.length_mm]), np.tile(k, 3)
    before, after = np.interp(st.s_mm - half, s, k), np.interp(st.s_mm + half, s, k)
    gentler = np.where(before * after < 0, np.minimum(np.abs(before), np.abs(after)), 0.0)
    i = int(np.argmax(gentler))
    sd = float(st.curvature_sd_1_mm[i])
    if not gentler[i] > max(1.0 / (WIDE_GAUGES * st.gauge_mm), 2.0 * (0.0 if math.isnan(sd) else sd)):
        return
    radius, at = 1.0 / float(gentler[i]), float(st.s_mm[i])
    hands = "left to right" if before[i] > 0 else "right to left"
    yield Met("reverse", radius, radius**2 * sd, "mm", at,
              f"Worst reverse at {at / 1000:.2f} m, {hands}: within the length of {train.longest.name} the line bends "
              f"both ways by a radius of {radius:.0f} mm or less.")  # fmt: skip


def _coupler(line: Surveyed, train: Train, offsets: np.ndarray) -> Iterator[Met]:
    if len(train.vehicles) < 2 or not np.isfinite(offsets).any():
        return
    i = int(np.nanargmax(offsets))
    value, at = float(offsets[i]), float(line.stations.s_mm[i])
    lever = max((v.length_mm**2 - v.pivots_mm**2) / 8.0 for v in train.vehicles)
    sd = 2.0 * lever * float(line.stations.curvature_sd_1_mm[i])
    most = min((v.offset_mm for v in train.vehicles if math.isfinite(v.offset_mm)), default=math.nan)
    told = "" if math.isnan(most) else f"; the couplers swing {most:g} mm" + (": too little" if value > most else "")
    yield Met("coupler offset", value, sd, "mm", at,
              f"Couplers stand {value:.1f} mm beside each other at {at / 1000:.2f} m{told}.")  # fmt: skip


def _free(line: Surveyed, train: Train) -> Iterator[Met]:
    near = beside(line.stations, train)
    if not np.isfinite(near.free_mm).any():
        return
    i = int(np.nanargmin(near.free_mm))
    value, at = float(near.free_mm[i]), float(line.stations.s_mm[i])
    yield Met("clearance", value, float(near.sd_mm[i]), "mm", at,
              f"Least free space to the track beside, {near.spacing_mm[i]:.1f} mm away: {value:.1f} mm at "
              f"{at / 1000:.2f} m, with this train on both.")  # fmt: skip
