"""By how much single laps fail to close, before and after the adjustment, beside what their sigmas predict.

Before: the plain reading (standstill bias, caliper wheel). After: each lap by its own residuals, with the wagon's
constants as adjusted; the adjusted line itself closes exactly. A ratio near 1 says the error bars are believable.
"""

import itertools
from dataclasses import dataclass

import numpy as np

from wayrule.model import Closure, Misclosure
from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.density import densities
from wayrule.track.adjust.line import trace
from wayrule.track.adjust.unknowns import GYRO_SCALE_SD, level_sd
from wayrule.track.plain import plain_reading
from wayrule.units import G_MM_S2


@dataclass(frozen=True, slots=True)
class Gap:
    """One lap's failure to close, with the sds that were predicted for it; NaN where it cannot be had."""

    plan_mm: float
    height_mm: float
    heading_rad: float
    plan_sd_mm: float
    height_sd_mm: float


def closure(adjusted: Adjusted) -> Closure | None:
    """Closure of a closed line over all whole laps of all its runs; None for an open line or without a whole lap."""
    line = adjusted.problem.line
    if line.lap_mm is None:
        return None
    before = [g for r in range(len(adjusted.runs)) for g in _plain_gaps(adjusted, r)]
    after = [g for r in range(len(adjusted.runs)) for g in _residual_gaps(adjusted, r)]
    if not before or not after:
        return None
    length = float(trace(adjusted.unknowns, adjusted.unknowns.spline.h).s[-1])
    laps = sum(float(r.sigma.max() - r.sigma.min()) for r in adjusted.runs) / line.lap_mm
    return Closure(laps, line.turns, _summary(before, length), _summary(after, length))


def _summary(gaps: list[Gap], length: float) -> Misclosure:
    plan = np.array([g.plan_mm for g in gaps])
    height = np.array([g.height_mm for g in gaps])
    heading = np.array([g.heading_rad for g in gaps])
    plan_sd = np.array([g.plan_sd_mm for g in gaps])
    height_sd = np.array([g.height_sd_mm for g in gaps])
    rms = _rms(plan)
    return Misclosure(
        plan_mm=rms,
        height_mm=_rms(height),
        heading_rad=_rms(heading),
        plan_percent_of_length=100 * rms / length,
        ratio_plan=_rms(plan / plan_sd),
        ratio_height=_rms(height / height_sd),
    )


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _lap_edges(adjusted: Adjusted, r: int) -> list[tuple[int, int]]:
    """Index pairs of bin edges that are one lap apart, lap after lap in the order travelled."""
    sigma = adjusted.runs[r].sigma
    lap = adjusted.problem.line.lap_mm
    assert lap is not None
    moved = np.abs(sigma - sigma[0])
    count = int(np.floor(moved.max() / lap + 0.002))
    ends = [int(np.argmin(np.abs(moved - min(i * lap, moved.max())))) for i in range(count + 1)]
    return [(a, b) for a, b in itertools.pairwise(ends) if b > a]


def _reach(x: Array, y: Array) -> tuple[Array, Array]:
    """What a heading error from here on moves the end: (end - here) turned by 90 degrees."""
    return -(y[-1] - y), x[-1] - x


def _plain_gaps(adjusted: Adjusted, r: int) -> list[Gap]:
    problem = adjusted.problem
    travel, setting = problem.travels[r], problem.settings[r]
    assert travel.imu is not None
    reading = plain_reading(travel)
    at = np.searchsorted(travel.t_s, setting.bins.t_s)
    noise = densities(travel, problem.wagon)
    density, level = noise.gyro[2], level_sd(problem.wagon, noise) / G_MM_S2
    bias_sd = travel.imu.gyro_bias_sd_rad_s[2]
    scale_sd = problem.wagon.imu.gyro_scale_sd or GYRO_SCALE_SD
    out = []
    for a, b in _lap_edges(adjusted, r):
        part = slice(at[a], at[b] + 1)
        x, y, z = reading.x_mm[part], reading.y_mm[part], reading.z_mm[part]
        turn, t = reading.heading_rad[part], travel.t_s[part]
        rx, ry = _reach(x, y)
        dt, dpsi = np.diff(t), np.diff(turn)
        wander = density**2 / 2 * np.sum((rx[1:] ** 2 + ry[1:] ** 2) * dt)
        steady = bias_sd**2 * (np.sum(rx[1:] * dt) ** 2 + np.sum(ry[1:] * dt) ** 2)
        gain = scale_sd**2 * (np.sum(rx[1:] * dpsi) ** 2 + np.sum(ry[1:] * dpsi) ** 2)
        whole = 2 * np.pi * round((turn[-1] - turn[0]) / (2 * np.pi))
        out.append(
            Gap(
                float(np.hypot(x[-1] - x[0], y[-1] - y[0])),
                float(z[-1] - z[0]),
                float(turn[-1] - turn[0] - whole),
                float(np.sqrt(wander + np.nan_to_num(steady) + gain)),
                level * float(np.abs(travel.distance_mm[at[b]] - travel.distance_mm[at[a]])),
            )
        )
    return out


def _residual_gaps(adjusted: Adjusted, r: int) -> list[Gap]:
    run, setting, weight = adjusted.runs[r], adjusted.problem.settings[r], adjusted.noise.weights[r]
    seen = {one.kind: np.where(one.ok, one.residual, 0.0) for one in run.readings}
    turn = seen["gyro_z"]
    dx, dy = (np.diff(run.sigma) * f(0.5 * (run.at.psi[1:] + run.at.psi[:-1])) for f in (np.cos, np.sin))
    group = setting.bins.group
    out = []
    for a, b in _lap_edges(adjusted, r):
        x, y = (np.concatenate(([0.0], np.cumsum(d[a:b]))) for d in (dx, dy))
        rx, ry = _reach(x, y)
        e, sd = turn[a:b], weight.sigma["gyro_z"][a:b]
        gap = np.hypot(np.sum(rx[1:] * e), np.sum(ry[1:] * e))
        plan_sd = np.sqrt(np.sum((rx[1:] ** 2 + ry[1:] ** 2) * sd**2))
        height, height_sd = np.nan, np.nan
        if "force_x" in seen:
            inside = (group[:-1] >= a) & (group[1:] <= b)
            ds = np.diff(run.sigma[group])[inside] / G_MM_S2
            height = float(np.sum(ds * seen["force_x"][inside]))
            height_sd = float(np.sqrt(np.sum((ds * weight.sigma["force_x"][inside]) ** 2)))
        out.append(Gap(float(gap), height, float(np.sum(e)), float(plan_sd), height_sd))
    return out
