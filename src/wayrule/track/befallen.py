"""Where on the line mishaps befell, and how far runs went unseen by their wheels."""

import numpy as np

from wayrule.model import Mishap, Problem, Travel, Whereabouts, mishap_problems
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.sway import FIRST_LENGTH_WHEELBASES, PLAY_SHARE_OF_GAUGE
from wayrule.track.unbroken import breaks


def befallen(adjusted: Adjusted, travels: tuple[Travel, ...]) -> tuple[Problem, ...]:
    """What befell the runs, with its place on the adjusted line; `travels` are placed on it."""
    u, variance = adjusted.unknowns, np.diag(adjusted.border_covariance)
    out: list[Problem] = []
    for setting, travel in zip(adjusted.problem.settings, travels, strict=True):
        far, placed = breaks(travel, setting.wheelbase_mm), []
        for one in travel.mishaps:
            jump, sd = np.nan, np.nan
            if one in far and one in setting.jumps:
                at = u.names[f"jump/{setting.number}/{setting.jumps.index(one)}"].start
                jump, known = float(u.border[at]), max(float(variance[at]), 0.0)
                sd = min(float(np.sqrt(known + aligned_variance(adjusted, setting.number, one, far))), one.loose_mm)
            sample = min(int(np.searchsorted(travel.t_s, one.first_s)), len(travel.t_s) - 1)
            placed.append(Whereabouts(float(travel.chainage_mm[sample]), jump, sd))
        out += mishap_problems(travel, placed)
    return tuple(out)


def aligned_variance(adjusted: Adjusted, run: int, one: Mishap, far: tuple[Mishap, ...]) -> float:
    """How badly the play lets a run's bends before and after a break be laid on another pass's [mm2].

    The body's heading a wanders within the play, sd a forgotten over a length l, in both passes; laid on a line whose
    heading changes by k a mm, it moves the best place by (sum a k) / (sum k^2): a variance of 2 a^2 2 l / (integral of
    k^2 ds) on each side of the break. A steady curve aligns nothing, so k is less its mean. (Least squares with a
    correlated error: G. A. F. Seber and A. J. Lee, Linear Regression Analysis, 2nd ed., sec. 3.10.)
    """
    setting, wagon = adjusted.problem.settings[run], adjusted.problem.wagon
    sway = PLAY_SHARE_OF_GAUGE * wagon.gauge_mm / wagon.wheelbase_mm
    both_passes = 2.0 * sway**2 * 2.0 * FIRST_LENGTH_WHEELBASES * wagon.wheelbase_mm
    t_s, path = setting.bins.t_s, setting.bins.path_mm
    start = max((other.last_s for other in far if other.last_s <= one.first_s), default=-np.inf)
    end = min((other.first_s for other in far if other.first_s >= one.last_s), default=np.inf)
    total = 0.0
    for first_s, last_s in ((start, one.first_s), (one.last_s, end)):
        side = slice(int(np.searchsorted(t_s, first_s)), int(np.searchsorted(t_s, last_s, side="right")))
        bend, along = adjusted.runs[run].at.psi_slope[side], np.gradient(path)[side]
        if along.sum() <= 0:
            return np.inf
        bend = bend - float(bend @ along) / float(along.sum())
        total += both_passes / max(float(bend**2 @ along), 1e-300)
    return total
