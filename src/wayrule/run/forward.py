"""Which way is forward: what the wheel knows of the accelerations, against what the accelerometer feels.

In the horizontal plane as complex numbers, x forward and y left: p = dv/dt + i v gz is what a wagon rolling forward
feels, a = ax + i ay what the sensor feels; a = c p with c = exp(i angle) when the sensor is turned by -angle.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.maths.robust import robust_sd
from wayrule.model.arrays import Array
from wayrule.units import G_MM_S2

STEP_S = 0.1
"""Everything is averaged over such steps first, against vibration."""
SLOW_S = 3.0
"""Changes slower than this are left to gravity: gradient, cant, bias."""
CORRELATED_STEPS = 4.0
"""Residuals hang together over about so many steps; the sd of the angle is widened accordingly."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Angle from the body's forward to the direction that the accelerometer calls x.

    angle_rad  direction, in the sensor's levelled axes, in which the wagon accelerates; 0 when x is forward
    sd_rad     its sd
    gain       felt over expected size; about 1 when both sensors are what they seem
    """

    angle_rad: float
    sd_rad: float
    gain: float

    @property
    def strong(self) -> bool:
        """Enough to turn something round: sd below 8 deg and a gain between 0.5 and 1.6."""
        return self.sd_rad < np.radians(8.0) and 0.5 < self.gain < 1.6

    @property
    def leaning(self) -> bool:
        """Enough to choose among quarter turns where nothing else does: half a quarter is three sd of 15 deg."""
        return self.sd_rad < np.radians(15.0) and 0.35 < self.gain < 1.6

    @property
    def words(self) -> str:
        """The evidence for a person."""
        return f"{np.degrees(self.angle_rad):.0f} +- {np.degrees(self.sd_rad):.1f} deg, gain {self.gain:.2f}"


def forward_evidence(t_s: Array, v_mm_s: Array, gyro_rad_s: Array | None, acc_mm_s2: Array) -> Evidence | None:
    """Direction of forward in the sensor's levelled axes.

    Parameters
    ----------
    t_s, v_mm_s : (n,) arrays   time and signed speed
    gyro_rad_s : (n, 3) array   rates in axes whose z is up; None where there is no gyro
    acc_mm_s2 : (n, 3) array    specific force in the same axes

    Returns
    -------
    Evidence, or None where the speed never changes or the run is too short (3 times `SLOW_S`)

    Notes
    -----
    Gravity moves in the body as it pitches and rolls: d(fx)/dt = -gy g, d(fy)/dt = +gx g. That is summed up from the
    gyro and taken off, or a cant ramp would pass for a centripetal force. Then all is high-passed (less its running
    mean over `SLOW_S`), and c found by complex least squares, jolts left out (beyond four robust sd).
    """
    if t_s[-1] - t_s[0] < 3.0 * SLOW_S:
        return None
    rates = np.zeros_like(acc_mm_s2) if gyro_rad_s is None else gyro_rad_s
    table = _averaged(t_s, np.column_stack([v_mm_s, rates, acc_mm_s2]))
    v, gx, gy, gz, ax, ay = (table[:, k] for k in (0, 1, 2, 3, 4, 5))
    gravity_x, gravity_y = np.cumsum(-gy) * STEP_S * G_MM_S2, np.cumsum(gx) * STEP_S * G_MM_S2
    expected = _fast(np.gradient(v, STEP_S)) + 1j * _fast(v * gz)
    felt = _fast(ax - gravity_x) + 1j * _fast(ay - gravity_y)
    weight = np.ones(len(v))
    c = 0j
    for _ in range(3):
        power = float(np.sum(weight * np.abs(expected) ** 2))
        if power < 1e-6 * len(v):
            return None
        c = complex(np.sum(weight * np.conj(expected) * felt) / power)
        rest = felt - c * expected
        scale = np.hypot(robust_sd(rest.real), robust_sd(rest.imag)) + 1e-9
        weight = (np.abs(rest) < 4.0 * scale).astype(np.float64)
    variance = float(np.sum(weight * np.abs(rest) ** 2) / max(weight.sum(), 1.0)) * CORRELATED_STEPS / power
    gain = abs(c)
    sd = float(np.sqrt(variance / 2.0) / gain) if gain > 0 else np.inf
    return Evidence(float(np.angle(c)), sd, gain)


def _averaged(t_s: Array, columns: Array) -> Array:
    """Columns (n, m) averaged over steps of `STEP_S`; empty steps interpolated, NaN left out."""
    step = np.floor((t_s - t_s[0]) / STEP_S).astype(np.int64)
    size = int(step[-1]) + 1
    out = np.empty((size, columns.shape[1]))
    at = np.arange(size)
    for k, column in enumerate(columns.T):
        known = np.isfinite(column)
        count = np.bincount(step[known], minlength=size)
        total = np.bincount(step[known], weights=column[known], minlength=size)
        full = count > 0
        out[:, k] = np.interp(at, at[full], total[full] / count[full]) if full.any() else 0.0
    return out


def _fast(values: Array) -> Array:
    """Values less their running mean over `SLOW_S`."""
    width = round(SLOW_S / STEP_S) | 1
    kernel = np.ones(width)
    weight = np.convolve(np.ones(len(values)), kernel, mode="same")
    return values - np.convolve(values, kernel, mode="same") / weight
