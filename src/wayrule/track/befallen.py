"""Where on the line mishaps befell, and how far runs went unseen by their wheels."""

import numpy as np

from wayrule.model import Problem, Travel, Whereabouts, mishap_problems
from wayrule.track.adjust.adjust import Adjusted
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
                jump, sd = float(u.border[at]), float(np.sqrt(max(variance[at], 0.0)))
            sample = min(int(np.searchsorted(travel.t_s, one.first_s)), len(travel.t_s) - 1)
            placed.append(Whereabouts(float(travel.chainage_mm[sample]), jump, sd))
        out += mishap_problems(travel, placed)
    return tuple(out)
