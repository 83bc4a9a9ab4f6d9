"""An axle's reference, for tests of what is kept of it."""

from typing import Any

import numpy as np

from wayrule.model import AxleReference


def axle_reference(**changed: Any) -> AxleReference:
    """A ring of 2.7 x 1.3 mT above the axle, moved by the fields of Earth and wagon, bent by one per cent."""
    curve = np.zeros((13, 3))
    curve[0] = 0.02, -0.01, 0.05
    curve[1, 2], curve[7, 0], curve[2, 2], curve[9, 0] = 2.7, -1.3, 0.02, 0.01
    parts: dict[str, Any] = {
        "basis": np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
        "centre_mt": np.array([0.02, -0.01, 0.05]),
        "semi_axes_mt": np.array([2.7, 1.3]),
        "tilt_rad": 0.0,
        "forward": -1,
        "forward_source": "place and axes of the sensor",
        "curve_mt": curve,
        "curve_sd_mt": np.full(7, 0.0007),
        "angle_rad": np.array([[0.0, 0.004, 0.0, 0.0, 0.0, 0.0], [0.0, -0.003, 0.001, 0.0, 0.0, 0.0]]),
        "angle_sd_rad": np.full(6, 0.0004),
        "noise_mt": 0.031,
        "residual_mt": 0.032,
        "temperature_c": 21.4,
        "turns": 42.6,
        "runs": (("spin", "ab" * 32),),
    }
    return AxleReference(**{**parts, **changed})
