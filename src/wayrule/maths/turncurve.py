"""The closed curve that a turning vector draws, as a Fourier series in its angle; and the angle nearest to a reading.

d components of the vector (2 or 3) · K orders · c (2 K + 1, d) mean, cosines 1..K, sines 1..K
"""

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array

CURVE_SAMPLES = 40_000
"""At most so many samples, evenly spread, settle the curve."""


def terms_of(phi_rad: Array, orders: int) -> Array:
    """1, cos phi .. cos K phi, sin phi .. sin K phi: (n,) -> (n, 2 K + 1).

    >>> terms_of(np.array([0.0]), 2).tolist()
    [[1.0, 1.0, 1.0, 0.0, 0.0]]
    """
    wave = _waves(phi_rad, orders)
    return np.column_stack([np.ones(len(wave)), wave.real, wave.imag])


def _waves(phi_rad: Array, orders: int) -> NDArray[np.complex128]:
    """exp(i k phi), k = 1 .. K, (n, K), as powers of the first: a sine costs ten times a product."""
    once = np.exp(1j * phi_rad)
    return np.cumprod(np.broadcast_to(once[:, None], (len(once), orders)), axis=1)


def slopes_of(phi_rad: Array, curve: Array) -> Array:
    """Derivative of the curve c (2 K + 1, d) by the angle at (n,) angles: (n, d).

    >>> slopes_of(np.array([0.0]), np.array([[0.0], [5.0], [2.0]])).tolist()
    [[2.0]]
    """
    orders = np.arange(1, len(curve) // 2 + 1)
    wave, k = _waves(phi_rad, len(orders)), len(orders)
    return np.asarray((-wave.imag * orders) @ curve[1 : 1 + k] + (wave.real * orders) @ curve[1 + k :])


def mean_curve(phi_rad: Array, points: Array, valid: NDArray[np.bool_], orders: int) -> Array:
    """The mean curve through points (n, d) at angles (n,), by plain least squares: (2 K + 1, d).

    Examples
    --------
    >>> phi = np.linspace(0.0, 20.0, 300)
    >>> found = mean_curve(phi, np.c_[2 * np.cos(phi), np.sin(phi)], np.ones(300, bool), 1)
    >>> np.abs(found).round(9).T.tolist()
    [[0.0, 2.0, 0.0], [0.0, 0.0, 1.0]]
    """
    rows = np.flatnonzero(valid)
    some = rows[:: max(1, len(rows) // CURVE_SAMPLES)]
    return np.asarray(np.linalg.lstsq(terms_of(phi_rad[some], orders), points[some], rcond=None)[0])


def towards(phi_rad: Array, points: Array, curve: Array) -> tuple[Array, Array, Array]:
    """One Gauss-Newton step from angles to the nearest places of the curve.

    Parameters
    ----------
    phi_rad : (n,) near the true ones; points : (n, d); curve : (2 K + 1, d)

    Returns
    -------
    step_rad : (n,)     (B - B(phi)) . B' / |B'|^2, to be added to phi: the best use of all components
    across : (n, d)     what the step cannot explain
    slope : (n,)        |dB/dphi|; noise of each component over it is the sd of the angle (Cramer and Rao's bound)
    """
    tangent = slopes_of(phi_rad, curve)
    away = points - terms_of(phi_rad, len(curve) // 2) @ curve
    slope = np.maximum(np.sqrt(np.sum(tangent**2, axis=1)), 1e-9)
    step = np.sum(away * tangent, axis=1) / slope**2
    return step, away - tangent * step[:, None], slope
