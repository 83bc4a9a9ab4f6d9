"""What calibrating tells of an inertial sensor beside the constants that a survey uses; all in its own axes."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model.arrays import Array, frozen

NOISE_TERMS: Final = ("quantisation", "random walk", "bias instability", "rate random walk", "rate ramp")
"""Terms of the noise at rest, by rising slope of the Allan deviation: -1, -1/2, 0, +1/2, +1 (IEEE Std 952, annex C)."""


WAYS: Final = ("forward", "left", "up", "backward", "right", "down")
"""Which way a sensor axis may point in the wagon."""


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """Mean readings of a sensor at rest; name and sha256 of the recording that it stood still in.

    start_s, seconds              when it began on the recording's clock, and how long it lasted
    rate_rad_s, rate_sd_rad_s     (3,) mean of the gyro and sd of that mean; NaN without a gyro
    force_mm_s2, force_sd_mm_s2   (3,) mean of the accelerometer and sd of that mean; NaN without one
    temp_c                        mean temperature; NaN where none was recorded
    """

    name: str
    sha256: str
    start_s: float
    seconds: float
    rate_rad_s: Array
    rate_sd_rad_s: Array
    force_mm_s2: Array
    force_sd_mm_s2: Array
    temp_c: float = math.nan

    def __post_init__(self) -> None:
        for name in ("rate_rad_s", "rate_sd_rad_s", "force_mm_s2", "force_sd_mm_s2"):
            frozen(self, name, (3,))


@dataclass(frozen=True, slots=True, eq=False)
class Accelerometer:
    """reading = (I + diag(scale) + skew) @ force + bias; the skew is symmetric, a rotation is mounting.

    bias_mm_s2, bias_sd_mm_s2   (3,)
    scale, scale_sd             (3,) less one, against a gravity of gravity_mm_s2
    skew, skew_sd               (3,) half of what x and y, x and z, y and z see of each other
    positions                   how many rest positions it rests on
    misfit_mm_s2                rms of what is left over in the size of gravity
    runs                        (name, sha256) of the recordings
    """

    bias_mm_s2: Array
    bias_sd_mm_s2: Array
    scale: Array
    scale_sd: Array
    skew: Array
    skew_sd: Array
    gravity_mm_s2: float
    positions: int
    misfit_mm_s2: float
    runs: tuple[tuple[str, str], ...]

    def __post_init__(self) -> None:
        for name in ("bias_mm_s2", "bias_sd_mm_s2", "scale", "scale_sd", "skew", "skew_sd"):
            frozen(self, name, (3,))
            if not np.isfinite(getattr(self, name)).all():
                raise ValueError(f"Accelerometer.{name}: expected finite numbers")

    @property
    def matrix(self) -> Array:
        """(3, 3) readings over force."""
        out = np.diag(1.0 + self.scale)
        for value, (i, j) in zip(self.skew, ((0, 1), (0, 2), (1, 2)), strict=True):
            out[i, j] = out[j, i] = value
        return out


@dataclass(frozen=True, slots=True, eq=False)
class GyroBias:
    """Gyro bias at temp_c and its change with temperature: bias + per_k (T - temp_c).

    bias_rad_s, bias_sd_rad_s   (3,) the sd is of a run on another day too, where there were several
    per_k_rad_s, per_k_sd_rad_s (3,) for each kelvin; NaN where the temperature did not change enough
    temp_c                      mean temperature; NaN where none was recorded
    rests                       how many standstills it rests on
    """

    bias_rad_s: Array
    bias_sd_rad_s: Array
    per_k_rad_s: Array
    per_k_sd_rad_s: Array
    temp_c: float
    rests: int

    def __post_init__(self) -> None:
        for name in ("bias_rad_s", "bias_sd_rad_s", "per_k_rad_s", "per_k_sd_rad_s"):
            frozen(self, name, (3,))


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """Noise of three axes at rest, by the Allan deviation.

    kind               "gyro" (rad/s) or "accelerometer" (mm/s2): the unit u of what follows
    tau_s              (k,) averaging times
    deviation          (k, 3) overlapping Allan deviation [u]; low, high: its 68 % interval
    terms, terms_sd    (5, 3) of `NOISE_TERMS`: u s, u sqrt(s), u, u/sqrt(s), u/s; NaN for a term that was not found
    terms_below        (5, 3) below this with 95 %
    step               (3,) smallest step between two readings [u]
    seconds            length of the log
    """

    kind: str
    tau_s: Array
    deviation: Array
    low: Array
    high: Array
    terms: Array
    terms_sd: Array
    terms_below: Array
    step: Array
    seconds: float

    def __post_init__(self) -> None:
        if self.kind not in ("gyro", "accelerometer"):
            raise ValueError(f"Noise.kind: expected gyro or accelerometer, came {self.kind}")
        frozen(self, "tau_s", (None,))
        for name in ("deviation", "low", "high"):
            frozen(self, name, (len(self.tau_s), 3))
        for name in ("terms", "terms_sd", "terms_below"):
            frozen(self, name, (len(NOISE_TERMS), 3))
        frozen(self, "step", (3,))

    @property
    def density(self) -> Array:
        """(3,) one-sided noise density n = sqrt(2) times the random walk [u/sqrt(Hz)]; NaN where none was found."""
        return np.asarray(math.sqrt(2.0) * self.terms[1])


@dataclass(frozen=True, slots=True)
class Clock:
    """How a recorder's rows follow each other.

    rate_hz, rate_sd_hz   rows a second by the recorder's own clock
    jitter_s              sd of a row's time about an even beat
    lost                  rows that are missing; longest_gap_s: the longest time between two rows
    drift_ppm             change of the rate from the first to the second half
    nominal_hz            as the wagon file states it; NaN where it does not
    """

    rate_hz: float
    rate_sd_hz: float
    jitter_s: float
    lost: int
    longest_gap_s: float
    drift_ppm: float
    nominal_hz: float = math.nan


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """How the sensor sits, to be looked at before it is accepted.

    rotation        (3, 3) sensor axes to body axes
    points          which way each sensor axis points, nearest: ("forward", "left", "up") as mounted by the book
    off_rad         (3,) how far each is from that way
    gyro_columns    which gyro column reads about each of the accelerometer's axes: ("+x", "+y", "+z") by the book
    gyro_known      whether the recordings showed that, or it is taken for granted
    up_known, forward_known   whether they showed which way is up and forward, or it is taken as mounted
    text            sentences for a person
    """

    rotation: Array
    points: tuple[str, str, str]
    off_rad: Array
    gyro_columns: tuple[str, str, str]
    gyro_known: bool
    text: str
    up_known: bool = True
    forward_known: bool = True

    def __post_init__(self) -> None:
        frozen(self, "rotation", (3, 3))
        frozen(self, "off_rad", (3,))


@dataclass(frozen=True, slots=True, eq=False)
class Inertial:
    """All that is known of an inertial sensor beside a survey's constants; None where nothing was shown."""

    accelerometer: Accelerometer | None = None
    gyro_bias: GyroBias | None = None
    gyro_noise: Noise | None = None
    force_noise: Noise | None = None
    clock: Clock | None = None
