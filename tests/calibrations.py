"""A calibration of the made-up world, that several tests share."""

import numpy as np

from wayrule.model import Calibration, DistanceStep, RollingCircle
from wayrule.model.calibration import CONSTANTS


def calibration(**changed) -> Calibration:
    """Of Clerestory van 7, by two runs, with some correlation; `changed` fields replaced."""
    names = tuple(name for name in CONSTANTS if name != "lag_s")
    n = len(names)
    rng = np.random.default_rng(1)
    root = np.eye(n) + 0.2 * rng.standard_normal((n, n))
    sds = np.array([4e-4 if name == "wheel_scale" else 8.0 if name.startswith("level") else 2e-3 for name in names])
    fields = {
        "wagon_name": "Clerestory van 7",
        "wagon_sha256": "cd" * 32,
        "diameter_mm": 10.5,
        "names": names,
        "values": sds * rng.standard_normal(n),
        "covariance": root @ root.T * np.outer(sds, sds),
        "rotation": np.eye(3),
        "sway_rad": np.array([1.9e-3, 5e-5, 5e-5]),
        "sway_length_mm": np.array([300.0, 65.0, 65.0]),
        "sway_passes": 3.0,
        "bias_rad_s": 0.007,
        "bias_runs": 2,
        "runs": (("monday", "ab" * 32), ("tuesday", "ef" * 32)),
        "version": "0.1.0",
    }
    return Calibration(**(fields | changed))


def step(made: str = "2026-08-01T14:05:00Z", scale: float = 0.002, name: str = "floor") -> DistanceStep:
    """A calibration of the distance of Clerestory van 7, from three taped straights, forward only."""
    size, sd = 33.0 * (1 + scale), 1.4e-4
    circles = tuple(RollingCircle(way, scale, sd, size, 33.0 * sd, 3, 9000.0) for way in ("straight", "forward"))
    return DistanceStep(made, circles, float("nan"), float("nan"), ((name, "99" * 32),))
