"""What a survey would say after the work: the sheet laid upon the stations, and the faults looked for again."""

import dataclasses
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
from scipy.ndimage import gaussian_filter1d

from wayrule.model import Element, Fault, Stations, WorkSheet
from wayrule.model.arrays import Array
from wayrule.track.faults import detect

RAIL_GAUGES: Final = 0.5
"""A rail does not follow the steps from shim to shim: it rounds them off over about so much (sd); our choice."""


def worked(stations: Stations, sheet: WorkSheet) -> Stations:
    """The stations after boards are set, rails lifted and slewed; sigmas as they were."""
    s = stations.s_mm

    def on(values: Array) -> Array:
        if len(sheet.s_mm) == 0:
            return np.zeros(len(s))
        period = stations.length_mm if stations.closed else None
        step = float(np.median(np.diff(s)))
        mode: Literal["wrap", "nearest"] = "wrap" if stations.closed else "nearest"
        amounts = np.interp(s, sheet.s_mm, values, period=period)
        return np.asarray(gaussian_filter1d(amounts, RAIL_GAUGES * stations.gauge_mm / step, mode=mode))

    left, right = on(sheet.left_mm + sheet.board_left_mm), on(sheet.right_mm + sheet.board_right_mm)
    slew = on(sheet.slew_mm)
    middle = 0.5 * (left + right)
    turn = np.gradient(slew, s)
    return dataclasses.replace(
        stations,
        x_mm=stations.x_mm - slew * np.sin(stations.heading_rad),
        y_mm=stations.y_mm + slew * np.cos(stations.heading_rad),
        z_mm=stations.z_mm + middle,
        heading_rad=stations.heading_rad + turn,
        curvature_1_mm=stations.curvature_1_mm + np.gradient(turn, s),
        gradient=stations.gradient + np.gradient(middle, s),
        cant_mm=stations.cant_mm + left - right,
    )


def predicted(
    stations: Stations, sheet: WorkSheet, target: tuple[Element, ...], before: Sequence[Fault]
) -> tuple[tuple[Fault, ...], tuple[Fault, ...]]:
    """Faults that would be found, and those of them that were not there before (of their kind, within a wheelbase)."""
    found = detect(worked(stations, sheet), target).faults
    new = tuple(f for f in found if not any(same(f, b, stations) for b in before))
    return found, new


def same(a: Fault, b: Fault, stations: Stations) -> bool:
    """Whether two faults are one: of a kind, and no more than a wheelbase apart."""
    away = abs(a.s_mm - b.s_mm)
    if stations.closed:
        away = min(away, stations.length_mm - away)
    return a.kind == b.kind and away <= stations.wheelbase_mm
