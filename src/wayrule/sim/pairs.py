"""What a survey says of two places, held against the truth."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize_scalar

from wayrule.model import Between, Stations
from wayrule.sim.railway import Railway
from wayrule.sim.register import Laid, lay
from wayrule.sim.wagonrun import RunTruth

FOOT_WITHIN_MM = 100.0
"""The true foot of a gap is looked for so near the surveyed one."""


def pair_errors(
    railway: Railway, first_run: RunTruth, stations: Stations, pairs: Sequence[Between]
) -> dict[str, list[float]]:
    """Errors over claimed sigmas of distance, along, rise, turned and gap, a value for each pair that has it.

    Nothing is registered but the chainage (see `lay`): none of these depends on where the map lies.
    """
    laid = lay(railway, first_run, stations)
    out: dict[str, list[float]] = {name: [] for name in ("distance", "along", "rise", "turned", "gap")}
    for pair in pairs:
        ends = np.array([pair.a_mm, pair.a_mm + pair.along_mm])
        s = laid.railway_mm(ends)
        a, b = _plan(railway, s)
        turned = float(np.diff(railway.heading(s))[0])
        out["distance"].append((pair.distance_mm - abs(b - a)) / pair.distance_sd_mm)
        out["along"].append((pair.along_mm - laid.ratio * pair.along_mm) / pair.along_sd_mm)
        out["rise"].append((pair.rise_mm - float(np.diff(railway.z(s))[0])) / pair.rise_sd_mm)
        out["turned"].append((pair.turned_rad - turned) / pair.turned_sd_rad)
        if np.isfinite(pair.gap_mm):
            out["gap"].append((pair.gap_mm - _true_gap(railway, laid, a, pair.foot_mm)) / pair.gap_sd_mm)
    return out


def _plan(railway: Railway, s: np.ndarray) -> np.ndarray:
    x, y = railway.xy(s)
    return np.asarray(x + 1j * y)


def _true_gap(railway: Railway, laid: Laid, a: complex, foot_mm: float) -> float:
    """Least true distance from point a to the railway near the surveyed foot."""
    near = float(laid.railway_mm(np.array(foot_mm)))
    found = minimize_scalar(
        lambda s: abs(_plan(railway, np.array([s]))[0] - a),
        bounds=(near - FOOT_WITHIN_MM, near + FOOT_WITHIN_MM),
        method="bounded",
        options={"xatol": 1e-4},
    )
    return float(found.fun)
