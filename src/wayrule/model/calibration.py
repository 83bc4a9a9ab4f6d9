"""What is remembered of a wagon from one survey to the next: its constants with their covariance, and its habits."""

import math
import re
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from wayrule.model.arrays import Array, frozen
from wayrule.model.axlereference import AxleReference
from wayrule.model.inertial import Inertial
from wayrule.model.rolling import DistanceStep

CONSTANTS: Final[dict[str, tuple[str, str]]] = {
    "wheel_scale": ("1", "true distance of the wheel over that of a wheel of diameter_mm, less one"),
    "slip_mm": ("mm", "distance lost per radian turned"),
    "gyro_scale_x": ("1", "gyro scale, roll, less one"),
    "gyro_scale_y": ("1", "gyro scale, pitch, less one"),
    "gyro_scale_z": ("1", "gyro scale, yaw, less one"),
    "cross_x": ("rad", "how much of the yaw rate the roll axis sees: mounting pitch"),
    "cross_y": ("rad", "how much of the yaw rate the pitch axis sees: mounting roll"),
    "level_x": ("mm/s2", "forward specific force of a level wagon: accelerometer offset and mounting pitch"),
    "level_y": ("mm/s2", "specific force to the left of a level wagon: accelerometer offset and mounting roll"),
    "yaw": ("rad", "mounting about the upright"),
    "gyro_xy": ("1", "how much of the pitch rate the roll axis sees, beside the mounting"),
    "gyro_yx": ("1", "how much of the roll rate the pitch axis sees, beside the mounting"),
    "gyro_zx": ("1", "how much of the roll rate the yaw axis sees, beside the mounting"),
    "gyro_zy": ("1", "how much of the pitch rate the yaw axis sees, beside the mounting"),
    "force_xy": ("1", "how much of the force to the left the forward axis sees, beside the mounting"),
    "force_yx": ("1", "how much of the forward force the left axis sees, beside the mounting"),
    "lag_s": ("s", "how much later than the wheel the inertial sensor speaks"),
}
"""Name -> unit and meaning, in the order in which they are kept; the last is known only once a run has reversed."""

GYRO_MATRIX: Final = (
    ("gyro_scale_x", 0, 0, 1.0),
    ("gyro_scale_y", 1, 1, 1.0),
    ("gyro_scale_z", 2, 2, 1.0),
    ("cross_x", 0, 2, 1.0),
    ("cross_x", 2, 0, -1.0),
    ("cross_y", 1, 2, 1.0),
    ("cross_y", 2, 1, -1.0),
    ("yaw", 0, 1, 1.0),
    ("yaw", 1, 0, -1.0),
    ("gyro_xy", 0, 1, 1.0),
    ("gyro_yx", 1, 0, 1.0),
    ("gyro_zx", 2, 0, 1.0),
    ("gyro_zy", 2, 1, 1.0),
)
"""How the constants enter the matrix that turns true body rates into readings (beside the unit matrix): the
three mounting angles come in pairs of opposite sign, a rotation; what the axes' own errors add is apart and small."""

OPTIONAL: Final = frozenset({"lag_s"})

MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
"""How a time is written (ISO 8601, UTC): as text it sorts by time."""

ANGLES: Final = ("heading", "climb", "roll")


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A wagon as its runs have shown it.

    names          of the constants, in the order of `CONSTANTS`
    values         (n,) each in its unit; covariance (n, n): what of them stays from day to day
    diameter_mm    of the wagon file's wheel, to which `wheel_scale` refers; None for a speed or distance input
    rotation       (3, 3) from sensor axes to body axes, as the inertial sensor sat; None where no run had one
    sway_rad, sway_length_mm   (3,) how much the body's heading, climb and roll sway within the wheels' play, and over
                   what path that is forgotten; NaN until a line was passed often enough; sway_passes: how often
    bias_rad_s     rms of the gyro's biases over all axes and `bias_runs` runs; 0 and 0 where none is known
    runs           (name, sha256) of every recording that it rests on
    sha256         of its file; "" where it comes from none
    made           when, UTC (2026-08-01T14:05:00Z); "" where nobody said
    axle           the turning field as it was last learnt; None where it never was
    steps          every calibration of the distance, in the order in which they were made
    inertial       what is known of the inertial sensor beside the constants; None where nothing was shown

    Raises
    ------
    ValueError   for shapes that do not fit, unknown or missing names, or a covariance that is none
    """

    wagon_name: str
    wagon_sha256: str
    diameter_mm: float | None
    names: tuple[str, ...]
    values: Array
    covariance: Array
    rotation: Array | None
    sway_rad: Array
    sway_length_mm: Array
    sway_passes: float
    bias_rad_s: float
    bias_runs: int
    runs: tuple[tuple[str, str], ...]
    version: str
    sha256: str = field(default="")
    made: str = ""
    axle: AxleReference | None = None
    steps: tuple[DistanceStep, ...] = ()
    inertial: Inertial | None = None

    def __post_init__(self) -> None:
        n = len(self.names)
        for name, shape in (
            ("values", (n,)), ("covariance", (n, n)), ("rotation", (3, 3)), ("sway_rad", (3,)), ("sway_length_mm", (3,))
        ):  # fmt: skip
            if getattr(self, name) is not None:
                frozen(self, name, shape)
        if self.names != tuple(k for k in CONSTANTS if k in self.names or k not in OPTIONAL):
            raise ValueError(f"Calibration.names: expected {', '.join(CONSTANTS)}, came {', '.join(self.names)}")
        if not np.isfinite(self.values).all():
            raise ValueError("Calibration.values: expected finite numbers")
        if not _is_covariance(self.covariance):
            raise ValueError("Calibration.covariance: expected a symmetric positive definite matrix")
        if self.rotation is not None and not np.allclose(self.rotation @ self.rotation.T, np.eye(3), atol=1e-6):
            raise ValueError("Calibration.rotation: expected a rotation")
        sway = np.concatenate((self.sway_rad, self.sway_length_mm))
        if not (np.isnan(sway).all() if not self.sway_passes else (np.isfinite(sway) & (sway > 0)).all()):
            raise ValueError("Calibration.sway: expected three sizes and lengths above 0, or none of them")
        if not 0 <= self.sway_passes < math.inf:
            raise ValueError(f"Calibration.sway_passes: expected a number of passes, came {self.sway_passes}")
        if not 0 <= self.bias_rad_s < math.inf or self.bias_runs < 0:
            raise ValueError(
                f"Calibration.bias: expected a size and how many runs it rests on, came {self.bias_rad_s} "
                f"and {self.bias_runs}"
            )
        if not (self.made == "" or MOMENT.fullmatch(self.made)):
            raise ValueError(f"Calibration.made: expected a time such as 2026-08-01T14:05:00Z, came {self.made!r}")
        if self.diameter_mm is not None and not 0 < self.diameter_mm < math.inf:
            raise ValueError(f"Calibration.diameter_mm: expected mm above 0, came {self.diameter_mm}")

    def one(self, name: str) -> tuple[float, float]:
        """Value and sd of a constant."""
        i = self.names.index(name)
        return float(self.values[i]), float(np.sqrt(self.covariance[i, i]))


def _is_covariance(matrix: Array) -> bool:
    """Whether a matrix is finite, symmetric and positive definite, whatever the units of its rows."""
    variance = np.diag(matrix)
    if not (np.isfinite(matrix).all() and (variance > 0).all()):
        return False
    size = np.sqrt(variance)
    correlation = matrix / size / size[:, None]
    return bool(np.allclose(correlation, correlation.T, atol=1e-9) and np.linalg.eigvalsh(correlation).min() > 0)
