"""An inertial sensor with its faults: bias and wander, scale, cross-axis, mounting, noise, filter, steps, range.

Noise densities n are one-sided: a sample's sd is n sqrt(rate / 2).
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt, sosfilt_zi

from wayrule.units import DEG, G_MM_S2

Floats = NDArray[np.float64]

WANDER_TIMES_S: Final = (30.0, 300.0, 3000.0)
"""Bias wander is the sum of three first-order Gauss-Markov processes of equal sd, a decade apart: close to flicker."""

WANDER_SHARE: Final = 1.28
"""Sd of each process over the floor of the Allan deviation. One process peaks at 0.617 of its sd (IEEE 952: 0.437 q
sqrt(T) with q = sd sqrt(2 / T)); its two neighbours raise that to about 0.78 of one sd, and 1 / 0.78 = 1.28."""


@dataclass(frozen=True, slots=True)
class ImuQuality:
    """How good an inertial sensor is; every *_sd is what one specimen is drawn with.

    gyro_noise_dps_rthz, acc_noise_g_rthz   one-sided densities
    gyro_bias_sd_dps, acc_bias_sd_g         turn-on bias, each axis
    acc_repeat_sd_g                         how much the accelerometer's bias differs when switched on again
    gyro_wander_dph, acc_wander_g           floor of the Allan deviation of the wander, 30 s to 3000 s
    gyro_scale_sd, acc_scale_sd             relative; cross_axis_sd for the terms off the diagonal
    mounting_sd_deg                         each of the three small angles by which it is stuck in askew
    filter_hz                               corner of its second-order low-pass (at most 0.4 of the row rate)
    vibration_acc_g, vibration_gyro_dps     sd per 100 mm/s of speed; the gyro's is shaking to and fro, not a walk
    """

    name: str
    gyro_noise_dps_rthz: float = 0.004
    gyro_bias_sd_dps: float = 0.4
    gyro_wander_dph: float = 3.0
    gyro_scale_sd: float = 0.005
    gyro_range_dps: float = 250.0
    acc_noise_g_rthz: float = 90e-6
    acc_bias_sd_g: float = 0.010
    acc_repeat_sd_g: float = 0.0002
    acc_wander_g: float = 30e-6
    acc_scale_sd: float = 0.003
    acc_range_g: float = 2.0
    cross_axis_sd: float = 0.002
    mounting_sd_deg: float = 0.7
    bits: int = 16
    filter_hz: float = 60.0
    vibration_acc_g: float = 0.003
    vibration_gyro_dps: float = 0.03


GOOD: Final = ImuQuality("good")
CHEAP: Final = ImuQuality(
    "cheap", gyro_noise_dps_rthz=0.012, gyro_bias_sd_dps=1.6, gyro_wander_dph=12.0, acc_noise_g_rthz=270e-6,
    acc_bias_sd_g=0.040, acc_repeat_sd_g=0.0008, acc_wander_g=120e-6,
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class ImuSpecimen:
    """One sensor as drawn: reading = matrix @ (body quantity) + bias + wander + noise.

    gyro_matrix, acc_matrix   (3, 3) scale, cross-axis, mounting and axes together
    gyro_bias_rad_s, acc_bias_mm_s2   (3,) turn-on bias in sensor axes
    """

    quality: ImuQuality
    gyro_matrix: Floats
    acc_matrix: Floats
    gyro_bias_rad_s: Floats
    acc_bias_mm_s2: Floats


def coarse_axes(axes: tuple[str, str, str]) -> Floats:
    """Rotation body -> sensor from axis names: row i is the body axis that sensor axis i points along.

    Raises
    ------
    ValueError   unless the three names make a right-handed frame

    >>> coarse_axes(("y", "-x", "z")).tolist()
    [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    rows = np.zeros((3, 3))
    for i, name in enumerate(axes):
        letter = name.lstrip("-")
        if letter not in ("x", "y", "z"):
            raise ValueError(f"axes: expected x, y, z with or without '-', came {name!r}")
        rows[i, "xyz".index(letter)] = -1.0 if name.startswith("-") else 1.0
    if not math.isclose(np.linalg.det(rows), 1.0):
        raise ValueError(f"axes: expected a right-handed frame, came {', '.join(axes)}")
    return rows


def draw_imu(quality: ImuQuality, rng: np.random.Generator) -> ImuSpecimen:
    """Draw one specimen, as it is stuck into the wagon (coarse axes straight)."""
    a, b, c = rng.normal(0.0, quality.mounting_sd_deg * DEG, 3)
    # small angles: body -> sensor, exact enough at 1 deg (second order 1.5e-4) since the matrix *is* the truth
    mounting = np.array([[1.0, c, -b], [-c, 1.0, a], [b, -a, 1.0]])
    matrices = []
    for scale_sd in (quality.gyro_scale_sd, quality.acc_scale_sd):
        error = rng.normal(0.0, quality.cross_axis_sd, (3, 3))
        np.fill_diagonal(error, rng.normal(0.0, scale_sd, 3))
        matrices.append((np.eye(3) + error) @ mounting)
    return ImuSpecimen(
        quality,
        matrices[0],
        matrices[1],
        rng.normal(0.0, quality.gyro_bias_sd_dps * DEG, 3),
        rng.normal(0.0, quality.acc_bias_sd_g * G_MM_S2, 3),
    )


def turn_on(specimen: ImuSpecimen, rng: np.random.Generator) -> ImuSpecimen:
    """The same sensor, switched on again: another gyro bias, nearly the same accelerometer bias."""
    q = specimen.quality
    return replace(
        specimen,
        gyro_bias_rad_s=rng.normal(0.0, q.gyro_bias_sd_dps * DEG, 3),
        acc_bias_mm_s2=specimen.acc_bias_mm_s2 + rng.normal(0.0, q.acc_repeat_sd_g * G_MM_S2, 3),
    )


def wander(n: int, rate_hz: float, floor: float, rng: np.random.Generator) -> Floats:
    """Bias wander (n, 3) whose Allan deviation has its floor at `floor`, in the same unit; see WANDER_TIMES_S."""
    out = np.zeros((n, 3))
    sd = WANDER_SHARE * floor
    for time_s in WANDER_TIMES_S:
        keep = math.exp(-1.0 / (rate_hz * time_s))
        kicks = rng.standard_normal((n, 3)) * sd * math.sqrt(1 - keep**2)
        kicks[:1] = rng.standard_normal((1, 3)) * sd
        out += lfilter([1.0], [1.0, -keep], kicks, axis=0)
    return out


def low_pass(values: Floats, rate_hz: float, corner_hz: float) -> Floats:
    """Second-order Butterworth low-pass (n, m), at rest in its first value; delays by about 0.225 / corner seconds."""
    sos = butter(2, corner_hz, fs=rate_hz, output="sos")
    out, _ = sosfilt(sos, values, axis=0, zi=sosfilt_zi(sos)[:, :, None] * values[0])
    return np.asarray(out)


def delay_s(corner_hz: float) -> float:
    """Group delay of the low-pass at low frequency: sqrt(2) / (2 pi corner) [s].

    >>> round(delay_s(60.0) * 1e3, 2)
    3.75
    """
    return math.sqrt(2) / (2 * math.pi * corner_hz)


def steps(values: Floats, full_range: float, bits: int) -> Floats:
    """Round to the steps of a converter and cut at its range (+- full_range).

    >>> steps(np.array([0.3, 9.0]), 4.0, 4).tolist()
    [0.5, 3.5]
    """
    step = 2 * full_range / 2**bits
    return np.asarray(np.clip(np.round(values / step), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1) * step)


@dataclass(frozen=True, slots=True, eq=False)
class ImuReading:
    """Readings in sensor axes, and the biases that are in them; each (n, 3)."""

    gyro_rad_s: Floats
    acc_mm_s2: Floats
    gyro_bias_rad_s: Floats
    acc_bias_mm_s2: Floats


def read(
    specimen: ImuSpecimen,
    rate_rad_s: Floats,
    force_mm_s2: Floats,
    speed_mm_s: Floats,
    rate_hz: float,
    axes: Floats,
    rng: np.random.Generator,
) -> ImuReading:
    """What the sensor writes down for filtered true rates and forces in body axes, one per row.

    Parameters
    ----------
    rate_rad_s, force_mm_s2 : (n, 3) in body axes, already through `low_pass`
    speed_mm_s : (n,) for the vibration
    axes : (3, 3) body -> sensor, see `coarse_axes`
    """
    q, n = specimen.quality, len(speed_mm_s)
    hundred = np.abs(speed_mm_s)[:, None] / 100.0
    white = math.sqrt(rate_hz / 2)
    gyro_bias = specimen.gyro_bias_rad_s + wander(n, rate_hz, q.gyro_wander_dph / 3600 * DEG, rng)
    acc_bias = specimen.acc_bias_mm_s2 + wander(n, rate_hz, q.acc_wander_g * G_MM_S2, rng)
    gyro = rate_rad_s @ (axes @ specimen.gyro_matrix).T + gyro_bias
    acc = force_mm_s2 @ (axes @ specimen.acc_matrix).T + acc_bias
    gyro += rng.standard_normal((n, 3)) * q.gyro_noise_dps_rthz * white * DEG
    acc += rng.standard_normal((n, 3)) * q.acc_noise_g_rthz * white * G_MM_S2
    shake = rng.standard_normal((n + 1, 3))
    gyro += np.diff(shake, axis=0) / math.sqrt(2) * q.vibration_gyro_dps * DEG * hundred
    acc += rng.standard_normal((n, 3)) * q.vibration_acc_g * G_MM_S2 * hundred
    return ImuReading(
        steps(gyro, q.gyro_range_dps * DEG, q.bits),
        steps(acc, q.acc_range_g * G_MM_S2, q.bits),
        gyro_bias,
        acc_bias,
    )
