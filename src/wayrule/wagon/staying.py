"""What the harmonic calibration of a run leaves of shape, build errors and an out-of-round wheel.

A harmonic is taken out where it stands out of the noise, else it stays. Build errors of a wagon that is not yet built
are a normal cloud about the drawing's harmonic; the mean over that cloud is taken.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array

RINGS: Final = 24
SPOKES: Final = 16
"""Points of a normal cloud in the plane: rings of equal probability, evenly round."""


@dataclass(frozen=True, slots=True)
class Staying:
    """Rms over a turn [rad] before and after calibration, by cause."""

    shape_before: float
    shape_after: float
    build_before: float
    build_after: float
    out_before: float
    out_after: float


def staying(
    drawn: NDArray[np.complex128],
    errors: NDArray[np.complex128],
    told_rad: float,
    leak_rad: Array,
    out_rad: float,
    rest_rad: float,
) -> Staying:
    """Harmonics before and after, split by cause.

    Parameters
    ----------
    drawn : (K,) harmonics of the drawing, complex amplitudes [rad]
    errors : (p, K) change of them by one sd of each build error; the errors are independent
    told_rad : amplitude above which a harmonic is taken out
    leak_rad : (K,) amplitude that each fit takes from jerks of the motion, at a phase that nobody knows
    out_rad : amplitude of an out-of-round wheel, once a turn at a phase that nobody knows
    rest_rad : rms of the drawing's error beyond the K-th, which always stays

    Notes
    -----
    What stays of a harmonic is split among its causes in the ratio of their mean squares.

    Examples
    --------
    >>> none = np.zeros((0, 1), dtype=complex)
    >>> split = staying(np.array([0.02 + 0j]), none, 0.01, np.zeros(1), 0.0, 0.0)
    >>> round(split.shape_before, 4), split.shape_after
    (0.0141, 0.0)
    """
    shape, build = np.abs(drawn) ** 2, np.sum(np.abs(errors) ** 2, axis=0)
    out = np.zeros(len(drawn))
    out[0] = out_rad**2
    whole = shape + build + out
    stays = _power_that_stays(drawn, errors, told_rad, leak_rad, out_rad) / np.where(whole > 0, whole, 1.0)

    def rms(power: Array, more: float = 0.0) -> float:
        return math.sqrt(float(np.sum(power)) / 2 + more**2)

    return Staying(
        rms(shape, rest_rad), rms(shape * stays, rest_rad), rms(build), rms(build * stays), rms(out), rms(out * stays)
    )


def _power_that_stays(
    drawn: NDArray[np.complex128], errors: NDArray[np.complex128], told_rad: float, leak_rad: Array, out_rad: float
) -> Array:
    """Mean square amplitude of each harmonic, (K,): whole where what is found of it is below what is told from noise;
    else what its fit took from the motion."""
    radius = np.sqrt(-2 * np.log(1 - (np.arange(RINGS) + 0.5) / RINGS))
    radius *= math.sqrt(2 / float(np.mean(radius**2)))  # so many rings cut the tail; the variance is put right
    angle = np.arange(SPOKES) * (2 * math.pi / SPOKES)
    normal = (radius[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], -1)).reshape(-1, 2)
    phases = np.exp(2j * math.pi * np.arange(24) / 24)
    found = np.empty(len(drawn))
    for k, mean in enumerate(drawn):
        parts = np.stack([errors[:, k].real, errors[:, k].imag])
        values, axes = np.linalg.eigh(parts @ parts.T)
        cloud = normal @ (axes * np.sqrt(np.maximum(values, 0.0))).T
        amplitude = mean + cloud[:, 0] + 1j * cloud[:, 1]
        if k == 0 and out_rad:
            amplitude = (amplitude[:, None] + out_rad * phases).ravel()
        seen = np.abs(amplitude[:, None] + leak_rad[k] * phases)
        found[k] = np.mean(np.where(seen <= told_rad, np.abs(amplitude[:, None]) ** 2, leak_rad[k] ** 2))
    return found
