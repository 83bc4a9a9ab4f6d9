"""A simulated railway as a good survey shows it, without the cost of a survey."""

import numpy as np

from wayrule.model import Stations, Surveyed
from wayrule.sim import Railway
from wayrule.track.elements import elements
from wayrule.track.faults import detect


def seen(railway: Railway, seed: int = 1, *, step_mm: float = 5.0, wheelbase_mm: float = 65.0) -> Stations:
    """Stations of a line: what a moving mean over a fifth of a wheelbase leaves, and white noise of the increments."""
    rng = np.random.default_rng(seed)
    scale = railway.gauge_mm / 16.5
    base, step = wheelbase_mm * scale, step_mm * scale
    s = np.arange(0.0, railway.length_mm - (1e-6 if railway.closed else -1e-6), step)
    ones = np.ones(len(s))
    sd = {"k": 2e-6 / scale, "g": 1e-4, "c": 0.01 * scale}
    white = rng.normal(size=(2, len(s))) * np.sqrt(base / step)
    heading = railway.heading(s) + np.cumsum(white[0] * sd["k"]) * step * 0.0
    z = railway.z(s) + np.cumsum(white[1] - white[1].mean()) * sd["g"] * step
    x, y = railway.xy(s)
    return Stations(
        s, x, y, z, heading, railway.mean_curvature(s, 0.2 * base), railway.mean_gradient(s, 0.2 * base),
        railway.mean_cant(s, 0.2 * base) + rng.normal(size=len(s)) * sd["c"],
        ones, ones, 0.3 * scale * ones, 1e-3 * ones, sd["k"] * ones, sd["g"] * ones, sd["c"] * ones,
        np.full(len(s), 4, dtype=np.int64), railway.closed, railway.length_mm, railway.gauge_mm, base,
    )  # fmt: skip


def surveyed(railway: Railway, seed: int = 1) -> Surveyed:
    """The same with its pieces and faults."""
    stations = seen(railway, seed)
    pieces = elements(stations)
    found = detect(stations, pieces).faults
    return Surveyed("bench line", stations, pieces, found, (), (), (), (), "van", railway.scale, railway.ratio, "0")
