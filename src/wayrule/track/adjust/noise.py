"""How noisy the observations are: from standstill or the wagon file, and from what is left over.

A gyro increment over a bin of dt has variance q dt (q = density^2 / 2, one-sided density), the mean specific force of a
group of T has density^2 / (2 T) + floor^2. On the move a body also sways within its flange play and shakes. That is
bounded: it scatters single bins widely but does not add up along the line, so the gyro keeps the weight of its
density (which sets how a misclosure is spread), outliers are judged against the bins' own scatter, and what the swaying
leaves in the result is taken from how the passes disagree (`passes.py`). Specific force has no such bound: its weight
follows its residuals.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from wayrule.model import Travel
from wayrule.model.arrays import Array
from wayrule.track.adjust.bins import Bins
from wayrule.track.adjust.density import Density
from wayrule.track.adjust.rows import Readings
from wayrule.units import G_MM_S2

FORCE_FLOOR_G = 1e-4
"""What an accelerometer's bias and a wagon's springs leave however long one averages: 0.1 mg (common practice)."""

HUBER = 3.0
"""Residuals beyond this many sigmas weigh less (P. J. Huber, Robust Statistics, ch. 7; 3 rather than 1.345: knocks are
rare and what is lost to good data is then under 1 %)."""


@dataclass(frozen=True, slots=True)
class Weights:
    """Sigma of every reading of a run, by kind; factors say how far residuals departed from first expectations."""

    sigma: dict[str, Array]

    @classmethod
    def first(cls, bins: Bins, density: Density, travel: Travel) -> "Weights":
        """From densities, and from what shakes too quickly to be track."""
        dt = bins.dt_s
        step = float(np.median(np.diff(travel.t_s)))
        out = {}
        for i, a in enumerate("xyz"):
            quiet = density.gyro[i] * np.sqrt(np.maximum(dt, step) / 2)
            out[f"gyro_{a}"] = np.maximum(quiet, _shaking(bins, i))
        duration = np.diff(bins.t_s[bins.group])
        for i, a in enumerate("xy"):
            out[f"force_{a}"] = np.hypot(density.force[i] * np.sqrt(0.5 / duration), FORCE_FLOOR_G * G_MM_S2)
        return cls(out)

    def scaled(self, factors: dict[str, float]) -> "Weights":
        """Every sigma of a kind times its factor."""
        return Weights({kind: sigma * factors.get(kind, 1.0) for kind, sigma in self.sigma.items()})


SHAKING_BINS = 5


def _shaking(bins: Bins, axis: int) -> Array:
    """(b,) sd of a rolling bin's increment, from its rate's scatter about the mean of five bins (robust); 0 at rest.

    A body carried at two places a wheelbase apart cannot follow the track so quickly: what changes from bin to bin is
    noise, vibration included.
    """
    travel, dt = np.abs(np.diff(bins.d_mm)), bins.dt_s
    rolling = travel > 0.3 * np.median(travel)
    rate = bins.gyro_rad[:, axis] / dt
    quick = (rate - uniform_filter1d(rate, SHAKING_BINS, mode="nearest"))[rolling & bins.gyro_ok[:, axis]]
    if len(quick) < 4 * SHAKING_BINS:
        return np.zeros_like(dt)
    sd = 1.4826 * float(np.median(np.abs(quick))) / np.sqrt(1 - 1 / SHAKING_BINS)
    return np.where(rolling, sd * np.sqrt(dt * np.median(dt[rolling])), 0.0)


def row_weights(seen: Readings, sigma: Array, beyond: float = HUBER) -> Array:
    """1 / sigma^2, falling `beyond` so many times the readings' own robust scatter; 0 where samples are missing."""
    if not seen.ok.any():
        return np.zeros_like(sigma)
    u = np.abs(seen.residual) / sigma
    own = max(1.0, 1.4826 * float(np.median(u[seen.ok])))
    return np.where(seen.ok, np.minimum(1.0, beyond * own / np.maximum(u, 1e-12)) / sigma**2, 0.0)


def scatter(seen: Readings, sigma: Array) -> float:
    """Robust scatter of residuals in units of their sigma (1 as expected); NaN with too few."""
    if seen.ok.sum() < 8:
        return float("nan")
    return float(1.4826 * np.median(np.abs(seen.residual[seen.ok]) / sigma[seen.ok]))
