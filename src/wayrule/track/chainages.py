"""Runs written out along the surveyed line: chainage, and distance and speed on the adjusted scale."""

import dataclasses

import numpy as np

from wayrule.model import Facts, Travel
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.findings import wheel_source
from wayrule.track.adjust.line import trace
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS
from wayrule.track.adjust.stations import zero_of


def placed_travels(adjusted: Adjusted) -> tuple[Travel, ...]:
    """Every run with its chainage (closed line: 0 .. length), distance and speed as the adjusted line has them."""
    u, lap = adjusted.unknowns, adjusted.problem.line.lap_mm
    line = trace(u, u.spline.h * TRACE_STEP_KNOTS)
    length = float(line.s[-1])
    climb = 1 / np.cos(u.spline.value_rows(line.sigma) @ u.gamma)
    zero = zero_of(adjusted, line)
    variance = np.diag(adjusted.border_covariance)
    scale_sd = float(np.sqrt(max(variance[u.names["scale"].start], 0.0)))
    out = []
    for travel, setting, run in zip(adjusted.problem.travels, adjusted.problem.settings, adjusted.runs, strict=True):
        offset = np.interp(travel.t_s, setting.bins.t_s, run.sigma - setting.way * setting.bins.d_mm)
        sigma = setting.way * travel.distance_mm + offset
        wrapped = np.mod(sigma, lap) if lap else sigma
        chainage = line.length(wrapped) - zero
        stretch = line.metric_at(wrapped) * np.interp(wrapped, line.sigma, climb)
        step = np.diff(travel.distance_mm) * 0.5 * (stretch[1:] + stretch[:-1])
        distance = np.concatenate(([0.0], np.cumsum(step)))
        loose = np.sqrt(np.maximum(travel.distance_sd_mm**2 - (travel.scale_sd * travel.distance_mm) ** 2, 0.0))
        out.append(
            dataclasses.replace(
                travel,
                chainage_mm=np.mod(chainage, length) if lap else chainage,
                distance_mm=distance,
                distance_sd_mm=np.hypot(loose, scale_sd * distance),
                speed_mm_s=travel.speed_mm_s * stretch,
                speed_sd_mm_s=travel.speed_sd_mm_s * stretch,
                scale_sd=scale_sd,
                scale_source=scale_source(adjusted.problem.facts, wheel_source(adjusted.problem, travel)),
            )
        )
    return tuple(out)


def scale_source(facts: Facts, wheel: str) -> str:
    """What the length scale rests on once the line is adjusted: tapes and control points first, then the wheel's own.

    >>> from wayrule.model import Tape
    >>> scale_source(Facts(tapes=(Tape("lap", 9012.0, 5.0),)), "caliper: 10.50 +- 0.04 mm")
    'tape: lap 9012 +- 5 mm; caliper: 10.50 +- 0.04 mm'
    """
    known = [f"{t.what} {t.length_mm:g} +- {t.sd_mm:g} mm" for t in facts.tapes]
    points = ["control points"] if sum(c.has_plan for c in facts.controls) > 1 else []
    tapes = [f"tape: {', '.join(known)}"] if known else []
    return "; ".join([*tapes, *points, wheel])
