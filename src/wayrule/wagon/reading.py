"""How a turning field is read as an axle angle, and what a changed field makes of that reading.

The reading of a calibrated wagon: of the field over a drawn turn, the mean is the centre and the first harmonic the
ellipse; a field is brought to the unit circle of that ellipse and its angle is taken.

F   (3, 2) first harmonic: field = centre + F (cos phi, sin phi) + what is left    psi = atan2 of F+ (field - centre)
"""

import math
from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Reader:
    """What turns a field into an angle.

    centre_mt    (3,) mean over a turn
    unit_1_mt    (2, 3) brings a field less the centre to (cos, sin)
    signal_mt    half axes of the ellipse: the greater, the smaller
    """

    centre_mt: Array
    unit_1_mt: Array
    signal_mt: tuple[float, float]

    def __post_init__(self) -> None:
        frozen(self, "centre_mt", (3,))
        frozen(self, "unit_1_mt", (2, 3))

    def angle_rad(self, field_mt: Array) -> Array:
        """Angle read from fields (..., 3): (...,) within a turn [rad]."""
        cos_sin = (field_mt - self.centre_mt) @ self.unit_1_mt.T
        return np.asarray(np.arctan2(cos_sin[..., 1], cos_sin[..., 0]))

    def error_rad(self, field_mt: Array, phi_rad: Array) -> Array:
        """Angle read less true angle, within half a turn: (..., a) for fields (..., a, 3) [rad]."""
        return np.asarray(np.remainder(self.angle_rad(field_mt) - phi_rad + math.pi, 2 * math.pi) - math.pi)


def reader_of(field_mt: Array) -> Reader:
    """The reader that a turn calibrates.

    Parameters
    ----------
    field_mt : (a, 3) at angles evenly round a turn, the first at phi = 0

    Raises
    ------
    ValueError   a field that does not turn: the smaller half axis is below a thousandth of the greater

    >>> phi = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    >>> reader = reader_of(np.stack([np.sin(phi) + 0.2, 0 * phi, 2 * np.cos(phi)], axis=-1))
    >>> [round(axis, 3) for axis in reader.signal_mt], reader.angle_rad(np.array([1.2, 0.0, 0.0])).round(3)
    ([2.0, 1.0], np.float64(1.571))
    """
    count = len(field_mt)
    phi = np.arange(count) * (2 * math.pi / count)
    ellipse = 2 / count * (np.stack([np.cos(phi), np.sin(phi)]) @ field_mt).T
    greater, smaller = np.linalg.svd(ellipse, compute_uv=False)
    if smaller < 1e-3 * greater or greater == 0.0:
        raise ValueError(
            f"sensor: expected a field that turns, came an ellipse of {greater:.3g} by {smaller:.3g} mT: "
            "this place sees the magnets come and go but not turn"
        )
    return Reader(
        np.asarray(field_mt.mean(axis=0), dtype=np.float64),
        np.asarray(np.linalg.pinv(ellipse), dtype=np.float64),
        (float(greater), float(smaller)),
    )
