"""Runs written out along the surveyed line: chainage, and distance and speed on the adjusted scale."""

import dataclasses

import numpy as np

from wayrule.model import Facts, Travel
from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.findings import wheel_source
from wayrule.track.adjust.line import Traced, trace
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS
from wayrule.track.adjust.stations import zero_of


def placed_travels(adjusted: Adjusted) -> tuple[Travel, ...]:
    """Every run with its chainage (closed line: 0 .. length), distance and speed as the adjusted line has them."""
    u = adjusted.unknowns
    line = trace(u, u.spline.h * TRACE_STEP_KNOTS)
    climb = 1 / np.cos(u.spline.value_rows(line.sigma) @ u.gamma)
    variance = float(np.diag(adjusted.border_covariance)[u.names["scale"].start])
    scale_sd = float(np.sqrt(max(variance, 0.0)))
    out = []
    for r, travel in enumerate(adjusted.problem.travels):
        sigma = _places(adjusted, r)
        stretch = line.metric_at(sigma) * np.interp(sigma, line.sigma, climb)
        distance = _distance(travel, stretch)
        out.append(
            dataclasses.replace(
                travel,
                chainage_mm=_chainage(adjusted, line, sigma),
                distance_mm=distance,
                distance_sd_mm=np.hypot(_loose(travel), scale_sd * distance),
                speed_mm_s=travel.speed_mm_s * stretch,
                speed_sd_mm_s=travel.speed_sd_mm_s * stretch,
                scale_sd=scale_sd,
                scale_source=scale_source(adjusted.problem.facts, wheel_source(adjusted.problem, travel)),
            )
        )
    return tuple(out)


def _places(adjusted: Adjusted, r: int) -> Array:
    """(n,) sigma of a run's samples, within one lap of a closed line."""
    setting, run, travel = adjusted.problem.settings[r], adjusted.runs[r], adjusted.problem.travels[r]
    sigma = np.interp(travel.t_s, setting.bins.t_s, run.sigma - setting.way * setting.bins.d_mm)
    sigma += setting.way * travel.distance_mm
    lap = adjusted.problem.line.lap_mm
    return np.mod(sigma, lap, out=sigma) if lap else sigma


def _chainage(adjusted: Adjusted, line: Traced, sigma: Array) -> Array:
    chainage = line.length(sigma)
    chainage -= zero_of(adjusted, line)
    closed = adjusted.problem.line.lap_mm is not None
    return np.mod(chainage, float(line.s[-1]), out=chainage) if closed else chainage


def _distance(travel: Travel, stretch: Array) -> Array:
    """(n,) distance rolled along the rails, on the adjusted scale."""
    out = np.zeros_like(stretch)
    np.cumsum(np.diff(travel.distance_mm) * 0.5 * (stretch[1:] + stretch[:-1]), out=out[1:])
    return out


def _loose(travel: Travel) -> Array:
    """(n,) sd of the distance without its scale's part [mm]."""
    whole = np.square(travel.distance_sd_mm)
    whole -= np.square(travel.scale_sd * travel.distance_mm)
    return np.sqrt(np.maximum(whole, 0.0))


def scale_source(facts: Facts, wheel: str) -> str:
    """What the length scale rests on once the line is adjusted: tapes and control points first, then the wheel's own.

    >>> from wayrule.model import Tape
    >>> scale_source(Facts(tapes=(Tape("lap", 9012.0, 5.0),)), "caliper: 10.50 +- 0.04 mm")
    'tape: lap 9012 +- 5 mm; caliper: 10.50 +- 0.04 mm'
    """
    known = [f"{t.what} {t.length_mm:g} +- {t.sd_mm:g} mm" for t in facts.tapes]
    points = ["control points"] if sum(c.has_plan for c in facts.controls) > 1 else []
    points += ["relations"] if any(one.tells_scale for one in facts.relations) else []
    tapes = [f"tape: {', '.join(known)}"] if known else []
    return "; ".join([*tapes, *points, wheel])
