"""The turning field of an axle as a calibration has learnt it: what later runs are read by and compared with."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen

ORDERS: Final = 6
"""Highest harmonic that is kept, of the field and of the angle's error."""


@dataclass(frozen=True, slots=True, eq=False)
class AxleReference:
    """The field at the sensor over a turn of the axle, in the sensor's axes.

    The field at axle angle phi is B(phi) = a_0 + sum over k of a_k cos k phi + b_k sin k phi, k from 1 to K = `ORDERS`.
    The ring is its best ellipse: with e the field less `centre_mt` in the plane of `basis`, brought to the unit circle,
    psi = forward atan2(e_2, e_1) is the angle as read, and phi = psi - sum of A_k cos k psi + B_k sin k psi.

    basis            (2, 3) unit vectors that span the plane of the ring; 0 in an axis that was not recorded
    centre_mt        (3,) of the ring; NaN in an axis that was not recorded
    semi_axes_mt     (2,) of the ring, the larger first
    tilt_rad         of the larger semi-axis, from the first basis vector towards the second
    forward          +1: rolling forward turns from the first basis vector towards the second; -1: against it
    forward_source   how that is known; "" where it is a guess
    curve_mt         (2 K + 1, 3) a_0, a_1 .. a_K, b_1 .. b_K; NaN in an axis that was not recorded
    curve_sd_mt      (K + 1,) sd of each number of order 0 .. K
    angle_rad        (2, K) A_k and B_k; 0 where a pair cannot be told from nothing
    angle_sd_rad     (K,) sd of each number of a pair
    noise_mt         sd of one sample in each axis, as found
    residual_mt      rms of the field about the curve in each axis, slow drift included
    temperature_c    mean over the recording; NaN where it was not recorded
    turns            that it rests on, back and forth counted alike
    runs             (name, sha256) of the recordings that it rests on

    Raises
    ------
    ValueError   for shapes that do not fit, or numbers that no ring has
    """

    basis: Array
    centre_mt: Array
    semi_axes_mt: Array
    tilt_rad: float
    forward: int
    forward_source: str
    curve_mt: Array
    curve_sd_mt: Array
    angle_rad: Array
    angle_sd_rad: Array
    noise_mt: float
    residual_mt: float
    temperature_c: float
    turns: float
    runs: tuple[tuple[str, str], ...]

    def __post_init__(self) -> None:
        for name, shape in (
            ("basis", (2, 3)), ("centre_mt", (3,)), ("semi_axes_mt", (2,)), ("curve_mt", (2 * ORDERS + 1, 3)),
            ("curve_sd_mt", (ORDERS + 1,)), ("angle_rad", (2, ORDERS)), ("angle_sd_rad", (ORDERS,)),
        ):  # fmt: skip
            frozen(self, name, shape)
        for name in ("basis", "semi_axes_mt", "curve_sd_mt", "angle_rad", "angle_sd_rad"):
            if not np.isfinite(getattr(self, name)).all():
                raise ValueError(f"AxleReference.{name}: expected finite numbers")
        known = np.isfinite(self.centre_mt)
        if known.sum() < 2 or np.any(self.basis[:, ~known]):
            raise ValueError(
                "AxleReference.centre_mt: expected numbers in two axes at least, and in those of the basis"
            )
        if not np.array_equal(np.isfinite(self.curve_mt), np.broadcast_to(known, self.curve_mt.shape)):
            raise ValueError("AxleReference.curve_mt: expected numbers in the axes of the centre, in no others")
        if not np.allclose(self.basis @ self.basis.T, np.eye(2), atol=1e-6):
            raise ValueError("AxleReference.basis: expected two unit vectors at right angles")
        if not self.semi_axes_mt[0] >= self.semi_axes_mt[1] > 0.0:
            raise ValueError(f"AxleReference.semi_axes_mt: expected two above 0, came {self.semi_axes_mt.tolist()}")
        if self.forward not in (1, -1):
            raise ValueError(f"AxleReference.forward: expected 1 or -1, came {self.forward}")
        if np.any(self.curve_sd_mt < 0.0) or np.any(self.angle_sd_rad < 0.0):
            raise ValueError("AxleReference: expected no sd below 0")
        for name in ("noise_mt", "residual_mt", "turns"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"AxleReference.{name}: expected 0 or more, came {getattr(self, name)}")
        if not (math.isfinite(self.tilt_rad) and not math.isinf(self.temperature_c)):
            raise ValueError("AxleReference: expected a finite tilt_rad and temperature_c (or NaN)")

    @property
    def axes(self) -> NDArray[np.bool_]:
        """(3,) True for the axes of the sensor that were recorded."""
        return np.isfinite(self.centre_mt)

    @property
    def condition(self) -> float:
        """Larger over smaller semi-axis: 1 for a circle."""
        return float(self.semi_axes_mt[0] / self.semi_axes_mt[1])
