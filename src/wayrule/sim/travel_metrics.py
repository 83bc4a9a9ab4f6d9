"""What distance and speed of one run got wrong: (truth, travel) -> errors."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Travel
from wayrule.sim.register import rms
from wayrule.sim.wagonrun import RunTruth

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TravelErrors:
    """Errors of distance and speed along one run.

    distance_percent        of the whole path (back and forth added up)
    distance_rms_mm         of the distance since the start
    speed_rms_percent       where the true speed is at least the stated one; NaN where it never is
    normalised_distance     (n,) distance error over its sigma, where the sigma is above 0
    """

    distance_percent: float
    distance_rms_mm: float
    speed_rms_percent: float
    normalised_distance: Floats


def travel_errors(travel: Travel, truth: RunTruth, *, at_least_mm_s: float = 150.0) -> TravelErrors:
    """Hold distance and speed of one run against the truth; rows are matched by their time stamps."""
    path = np.interp(travel.t_s, truth.t_s, truth.path_mm)
    speed = np.interp(travel.t_s, truth.t_s, truth.path_speed_mm_s)
    error = (travel.distance_mm - travel.distance_mm[0]) - (path - path[0])
    whole = float(np.sum(np.abs(np.diff(path))))
    surveyed = float(np.sum(np.sign(np.diff(path)) * np.diff(travel.distance_mm)))
    fast = np.abs(speed) >= at_least_mm_s
    relative = (travel.speed_mm_s[fast] - speed[fast]) / np.abs(speed[fast])
    sure = travel.distance_sd_mm > 0
    return TravelErrors(
        100.0 * (surveyed / whole - 1.0) if whole else float("nan"),
        rms(error),
        100.0 * rms(relative) if fast.any() else float("nan"),
        np.asarray(error[sure] / travel.distance_sd_mm[sure]),
    )
