"""How a turning field is read once it is known: the same steps for the samples that taught it and for those to come.

psi   angle on the ring brought to the unit circle [rad]      phi   axle angle: psi less its periodic error [rad]
"""

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from wayrule.maths.harmonics import Harmonics
from wayrule.maths.turncurve import slopes_of, terms_of, towards
from wayrule.model import AxleReference
from wayrule.model.arrays import Array
from wayrule.run.axlereading import read_by
from wayrule.run.field import Ring

WILD_SHARE: Final = 0.35
"""A reading is taken as missing where it lies off a known curve by so much of the ring's smaller semi-axis."""


class FieldReading(Protocol):
    """Reads a turning field sample by sample."""

    def wrapped(self, field_mt: Array) -> tuple[Array, Array]:
        """Axle angle within a turn (n,), growing forward, NaN where there is none; and its sd (n,) [rad]."""

    @property
    def white_sd_rad(self) -> float:
        """Part of the sd that differs from sample to sample."""

    @property
    def direction_known(self) -> bool:
        """Whether it knows which way is forward."""


@dataclass(frozen=True, slots=True, eq=False)
class OwnReading:
    """What a run has taught of its own field.

    wild        radii on the unit circle further from 1 are no readings
    curve       (2 K + 1, 2) mean curve in the plane of the ring
    residual_mt, white_mt   across it: all, and what differs from sample to sample
    turns       that it rests on
    """

    ring: Ring
    axes: tuple[int, ...]
    wild: float
    harmonics: Harmonics
    curve: Array
    residual_mt: float
    white_mt: float
    turns: float

    def wrapped(self, field_mt: Array) -> tuple[Array, Array]:
        """As `FieldReading`."""
        flat = self.ring.flat(field_mt)
        circle = self.ring.ellipse.on_circle(flat)
        with np.errstate(invalid="ignore"):
            read = np.isfinite(field_mt[:, list(self.axes)]).all(axis=1)
            read &= np.abs(np.hypot(circle[:, 0], circle[:, 1]) - 1.0) <= self.wild
        psi = self.ring.forward * np.arctan2(circle[:, 1], circle[:, 0])
        phi = self.harmonics.corrected(psi)
        step, _, slope = towards(phi, flat, self.curve)
        sd = np.hypot(self.residual_mt / slope, self.harmonics.ripple_sd_rad)
        return np.where(read, phi + step, np.nan), sd

    @property
    def white_sd_rad(self) -> float:
        """As `FieldReading`."""
        return self.white_mt / _usual_slope(self.curve)

    @property
    def direction_known(self) -> bool:
        """As `FieldReading`."""
        return self.ring.direction_known


@dataclass(frozen=True, slots=True, eq=False)
class KnownReading:
    """A field that a calibration has learnt: right from the first turn on."""

    reference: AxleReference

    def wrapped(self, field_mt: Array) -> tuple[Array, Array]:
        """As `FieldReading`."""
        phi, sd = read_by(self.reference, field_mt)
        axes = self.reference.axes
        curve = self.reference.curve_mt[:, axes]
        off = field_mt[:, axes] - terms_of(np.nan_to_num(phi), len(curve) // 2) @ curve
        with np.errstate(invalid="ignore"):
            near = np.sqrt(np.sum(off**2, axis=1)) <= WILD_SHARE * self.reference.semi_axes_mt[1]
        return np.where(near, phi, np.nan), np.nan_to_num(sd)

    @property
    def white_sd_rad(self) -> float:
        """As `FieldReading`."""
        return self.reference.noise_mt / _usual_slope(self.reference.curve_mt[:, self.reference.axes])

    @property
    def direction_known(self) -> bool:
        """As `FieldReading`."""
        return bool(self.reference.forward_source)


def _usual_slope(curve: Array) -> float:
    """|dB/dphi| of a curve (2 K + 1, d), its median over a turn."""
    slopes = slopes_of(np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False), curve)
    return float(np.median(np.sqrt(np.sum(slopes**2, axis=1))))
