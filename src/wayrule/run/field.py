"""The ring that a turning field draws: its plane, its ellipse, and which way round is forward.

A sensor beside a turning magnet sees an ellipse, moved by the fields of Earth and wagon. Found from the run itself.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.maths.ellipse import Ellipse, even_subset, principal_plane, robust_ellipse
from wayrule.maths.robust import robust_sd, white_noise_sd
from wayrule.model.arrays import Array

DEFAULT_NOISE_MT = 0.03
"""Noise of one sample where the wagon file gives none: usual for a sensor of some tens of mT; from memory."""
STILL_FACTOR = 5.0
"""A field that stays within so many times its noise (rms, all axes) shows no turning."""
WORST_CONDITION = 25.0
"""Larger over smaller semi-axis beyond which a ring is too thin to tell forward from backward."""
RING_SPREAD = 0.25
"""Rms of the radius about 1 beyond which the points form a cloud and no ring; a round normal cloud has 0.52."""
RING_SAMPLES = 100_000
"""About so many readings at most, evenly spread in time, settle the ring."""
LEAST_ON_RING = 0.6
"""Share of the readings, spread evenly, that must lie near the ring."""
LEAST_SENSE = 0.5
"""Smallest share of the ring's normal along the axle for which its sense says which way is forward."""


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """The turning field's ring.

    basis      (2, 3) unit vectors of its plane in the sensor's axes
    ellipse    in that plane [mT]
    forward    +1 or -1: sense of the ring, from the first basis vector to the second, when the wagon rolls forward
    direction_known  False where the sensor's axes do not say which way is forward (+1 is then a guess)
    """

    basis: Array
    ellipse: Ellipse
    forward: int
    direction_known: bool

    def flat(self, field_mt: Array) -> Array:
        """Field (n, 3) in the plane of the ring: (n, 2) [mT]; an axis that was not recorded counts nothing."""
        used = np.abs(self.basis).sum(axis=0) > 0
        return field_mt[:, used] @ self.basis[:, used].T

    @property
    def offset_ratio(self) -> float:
        """Offset of the ring from zero over its smaller semi-axis; above 1 a plain arctangent loses turns."""
        return float(np.hypot(*self.ellipse.centre) / self.ellipse.semi_axes[1])


def recorded_axes(field_mt: Array, run: str) -> list[int]:
    """Which of the three axes hold anything.

    Raises
    ------
    UndeterminedError   fewer than two, or none with enough samples
    """
    axes = [i for i in range(3) if np.isfinite(field_mt[:, i]).any()]
    if len(axes) < 2:
        raise UndeterminedError(
            expected="at least two axes of the turning field",
            came=f"{len(axes)}",
            where=run,
            next_step="record two axes that the magnets' field turns through (forward and up, above the axle)",
        )
    return axes


def is_still(points_mt: Array, noise_mt: float | None) -> bool:
    """Whether the field's spread is no more than its noise: nothing turned.

    The noise is the larger of the sensor's (given or usual) and what the sample-to-sample scatter shows; the latter
    is not believed beyond four times the former, since a fast wheel scatters from sample to sample as well.

    Examples
    --------
    >>> is_still(np.random.default_rng(1).normal(0.0, 0.03, (400, 3)), None)
    True
    >>> is_still(np.c_[np.cos(np.arange(400.0)), np.zeros(400), np.sin(np.arange(400.0))], None)
    False
    """
    given = DEFAULT_NOISE_MT if noise_mt is None else noise_mt
    seen = max(white_noise_sd(column) for column in points_mt.T) if len(points_mt) > 2 else 0.0
    noise = max(given, min(seen, 4.0 * given))
    spread = max(robust_sd(column) for column in points_mt.T)
    return bool(max(spread, float(points_mt.std(axis=0).max())) < STILL_FACTOR * noise)


def find_ring(
    points_mt: Array, axes: list[int], *, noise_mt: float | None, place_mm: tuple[float, float, float] | None, run: str
) -> Ring:
    """The ring in a cloud of field readings.

    Parameters
    ----------
    points_mt : (n, m) array   finite readings of the m recorded axes
    axes : list of int         which axes of the sensor they are (0 forward, 1 left, 2 up)
    noise_mt : float           noise of a sample; the usual one where None
    place_mm : (3,)            sensor from the axle centre: forward, left, up; above the axle where None

    Raises
    ------
    UndeterminedError   no ellipse, too thin a one, or a cloud

    Notes
    -----
    Samples are thinned to an even spread first: minutes of standing must not outweigh the turns.
    """
    some = points_mt[:: max(1, len(points_mt) // RING_SAMPLES)]
    lifted = np.zeros((len(some), 3))
    lifted[:, axes] = some
    basis = np.eye(3)[axes] if len(axes) == 2 else principal_plane(lifted)[1]
    flat = lifted @ basis.T
    chosen = flat[even_subset(flat)]
    ellipse, near = robust_ellipse(chosen)
    noise = DEFAULT_NOISE_MT if noise_mt is None else noise_mt
    if ellipse is None or ellipse.semi_axes[1] < 3.0 * noise or ellipse.condition > WORST_CONDITION:
        raise _thin(ellipse, run)
    spread = ellipse.radius_spread(chosen[near])
    if spread > RING_SPREAD or near.mean() < LEAST_ON_RING:
        raise UndeterminedError(
            expected="the field to draw a ring as the axle turns",
            came=f"a cloud (radius varies by {spread:.0%} rms)",
            where=run,
            next_step="see that the magnets sit firmly, the sensor is in range and the wagon rolls at least one turn",
        )
    forward, known = _sense(np.cross(basis[0], basis[1]), place_mm)
    return Ring(basis, ellipse, forward, known)


def covered_share(psi_rad: NDArray[np.float64]) -> float:
    """Share of the turn in which there are readings, counted in 36 sectors of 10 deg.

    Examples
    --------
    >>> covered_share(np.linspace(0.0, np.pi, 500))
    0.5
    """
    sector = np.floor((psi_rad % (2.0 * np.pi)) / (2.0 * np.pi) * 36.0 * (1.0 - 1e-12)).astype(np.int64)
    return float(np.count_nonzero(np.bincount(sector, minlength=36)[:36]) / 36.0)


def _thin(ellipse: Ellipse | None, run: str) -> UndeterminedError:
    shape = "points on a line" if ellipse is None else "{:.2f} x {:.3f} mT".format(*ellipse.semi_axes)
    return UndeterminedError(
        expected="an ellipse wide enough to tell the axle's angle",
        came=f"{shape} (semi-axes)",
        where=run,
        next_step="record the axes across the axle (forward and up), or roll the wagon for several turns",
    )


def _sense(normal: Array, place_mm: tuple[float, float, float] | None) -> tuple[int, bool]:
    """Sense of the ring about its normal when rolling forward, and whether that is known.

    Rolling forward turns the magnet about +y. In the plane of turning its dipole field is (3 r r' - 1) m, whose
    determinant is 1 - 3 rho^2 with rho the share of the unit vector r in that plane: above, below, before or behind
    the axle (rho = 1) the field turns *against* the magnet, right beside its end (rho < 0.577) with it.
    """
    forward, left, up = place_mm if place_mm is not None else (0.0, 0.0, 1.0)
    far2 = forward**2 + left**2 + up**2
    rho2 = (forward**2 + up**2) / far2 if far2 else 1.0
    about_y = 1 if rho2 < 1.0 / 3.0 else -1
    return (about_y if normal[1] >= 0 else -about_y), bool(abs(normal[1]) >= LEAST_SENSE)
