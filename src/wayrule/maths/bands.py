"""Bands of wavelength: a zero-phase Butterworth filter of a series sampled evenly along a line.

Low-pass and high-pass of order n, each run forwards and backwards, have the amplitude 1 / (1 + (f / c)^2n). The corners
c are set so that it is 1 / sqrt(2) (-3 dB) at the band's ends, as a filter run once would have it.
Source of the amplitude: S. Butterworth, Experimental Wireless 7 (1930) 536; run twice: squared.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt, sosfreqz

Array = NDArray[np.float64]

ORDER = 4

TWICE = (2.0**0.5 - 1.0) ** (1.0 / (2 * ORDER))
"""f / c at which the filter run twice has 1 / sqrt(2)."""

NYQUIST_SHARE = 0.9
"""A low-pass corner above so much of half the sampling rate would filter nothing and is left out."""


@dataclass(frozen=True, slots=True)
class Band:
    """Waves from `shortest` to `longest`, in the unit of the sampling step.

    >>> Band("D2", 287.0, 805.0).end
    805.0
    """

    name: str
    shortest: float
    longest: float

    def __post_init__(self) -> None:
        if not 0.0 < self.shortest < self.longest:
            raise ValueError(f"Band {self.name}: expected 0 < shortest < longest, came {self.shortest}, {self.longest}")

    @property
    def end(self) -> float:
        """Length at either end of a series that is not to be believed: there the values lean on what is beyond the
        series, and on how it starts and stops."""
        return self.longest

    def filtered(self, values: Array, step: float) -> Array:
        """(n,) the waves of this band in (n,) values; no phase shift, a straight trend taken out with the long waves.

        Raises ValueError for a series shorter than the longest wave.
        """
        if len(values) * step < self.longest:
            raise ValueError(f"Band {self.name}: a series of {len(values) * step:g} is shorter than {self.longest:g}")
        reach = min(round(self.longest / step), len(values) - 1)
        place = np.linspace(-1.0, 1.0, len(values))
        level = values - np.polynomial.Polynomial.fit(place, values, 1)(place)
        return np.asarray(sosfiltfilt(self._sections(step), level, padlen=reach))

    def gain(self, wavelengths: Array, step: float) -> Array:
        """Amplitude that waves keep."""
        _, response = sosfreqz(self._sections(step), worN=2 * np.pi * step / wavelengths)
        return np.asarray(np.abs(response) ** 2)

    def variance(self, density: Array, wavelengths: Array, step: float) -> float:
        """Variance that is left in this band of a process of two-sided spectral density (m,) at falling or rising
        wavelengths (m,), by the trapezium rule in frequency."""
        frequency = 1.0 / wavelengths
        order = np.argsort(frequency)
        left = density * self.gain(wavelengths, step) ** 2
        return float(2.0 * np.trapezoid(left[order], frequency[order]))

    def _sections(self, step: float) -> Array:
        low, high = (step / wave for wave in (self.longest, self.shortest))
        sections = [butter(ORDER, 2 * low * TWICE, "highpass", output="sos")]
        corner = 2 * high / TWICE
        if corner < NYQUIST_SHARE:
            sections.append(butter(ORDER, corner, "lowpass", output="sos"))
        return np.vstack(sections)
