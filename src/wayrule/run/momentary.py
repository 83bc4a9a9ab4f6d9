"""Slope, cant and curvature under a wagon now, from the last seconds of its run."""

import math
from typing import Final

import numpy as np

from wayrule.model import Instrument, Travel
from wayrule.model.now import UNTOLD, Told
from wayrule.run.trail import CELLS_A_WHEELBASE, trail
from wayrule.units import G_MM_S2

QUICK_SHARE: Final = 0.33
"""Share of the heading's sway that changes within a wheelbase, beside the slow wave by which it is known (measured on
simulated pulls)."""
STANDING_S: Final = 1.0
"""A wagon that stands tells its slope by so long a mean."""


def slope_cant_curvature(travel: Travel, one: Instrument) -> tuple[Told, Told, Told]:
    """Gradient, cant [mm] and curvature [1/mm] at the end of a run, as seen towards the marked front.

    Parameters
    ----------
    travel : Travel     its last seconds; the scale of its distance is the best there is
    one : Instrument    what is known of the wagon

    Returns
    -------
    gradient : over the wheelbase, climbing > 0; cant : mean of both supports, left high > 0
    curvature : change of the body's heading over the last wheelbase of its way, left > 0; not known until it has gone
        so far

    Notes
    -----
    All three are read off the trail (`run.trail`), whose covariance gives their sigmas. A wagon that has hardly moved
    tells slope and cant by its accelerometer alone.
    """
    came = trail(travel, one)
    if came is None:
        return (*_at_rest(travel, one), UNTOLD)
    now = came.newest
    climb, roll = (
        Told(float(came.angles_rad[row, now]), float(np.sqrt(came.covariance[row, now, now]))) for row in (1, 2)
    )
    known = travel.imu is not None and travel.imu.acc_mm_s2 is not None
    sides = (now + side * CELLS_A_WHEELBASE for side in (came.came, -came.came))
    before = next((row for row in sides if 0 <= row < len(came.away_mm)), None)
    bend = UNTOLD
    if before is not None:
        apart = float(came.away_mm[now] - came.away_mm[before])
        turned = float(came.angles_rad[0, now] - came.angles_rad[0, before])
        corners = came.covariance[0][np.ix_([now, before], [now, before])]
        variance = max(float(corners[0, 0] + corners[1, 1] - 2 * corners[0, 1]), 0.0)
        variance += 2.0 * (QUICK_SHARE * float(one.sway_rad[0])) ** 2
        bend = Told(turned / apart, math.sqrt(variance) / abs(apart))
    return _gradient(climb) if known else UNTOLD, _cant(roll, one) if known else UNTOLD, bend


def _at_rest(travel: Travel, one: Instrument) -> tuple[Told, Told]:
    """Slope and cant of a wagon that has not moved."""
    if travel.imu is None or travel.imu.acc_mm_s2 is None:
        return UNTOLD, UNTOLD
    last = travel.imu.acc_mm_s2[travel.t_s > travel.t_s[-1] - STANDING_S, :2]
    last = last[np.isfinite(last).all(axis=1)]
    if len(last) < 2:
        return UNTOLD, UNTOLD
    felt = (last.mean(axis=0) - one.level_mm_s2) / G_MM_S2
    sd = np.hypot(last.std(axis=0) / G_MM_S2 / math.sqrt(len(last)), one.level_sd_rad)
    climb, roll = (Told(float(a), float(s)) for a, s in zip(felt, sd, strict=True))
    return _gradient(climb), _cant(roll, one)


def _gradient(climb: Told) -> Told:
    return Told(math.tan(climb.value), climb.sd)


def _cant(roll: Told, one: Instrument) -> Told:
    return Told(one.gauge_mm * math.sin(roll.value), one.gauge_mm * roll.sd)
