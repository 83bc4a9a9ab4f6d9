"""What a plain arctangent of two readings makes of a turning vector, order by order, in closed form.

z    x + i y = z_0 + sum over k of P_k e^(ik phi) + N_k e^(-ik phi)
e    error of the angle read: arg z - phi - arg P_1
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array

Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class ByOrder:
    """Amplitudes of e at orders 1 to K [rad]; NaN throughout where the offset makes the arctangent lose turns.

    raw      (K,) as it is
    offset   (K,) of the offset alone: rho^k / k, rho = |z_0 / P_1|
    axes     (K,) of unlike gains and a skew of the axes alone: kappa^j / j at order 2 j, kappa = |N_1 / P_1|
    shape    (K,) of what is no ellipse, to first order: |P_(k+1) - N*_(k-1)| / |P_1|, N_0 and N_1 left out
    """

    raw: Array
    offset: Array
    axes: Array
    shape: Array


def by_order(curve: Array, orders: int) -> ByOrder:
    """The error by order of a curve: (2 M + 1, 2) mean, cosines 1..M, sines 1..M of the two readings.

    Notes
    -----
    e = Im log(z e^(-i phi) / P_1). With z = P_1 e^(i phi) (1 + rho e^(-i phi + ..)) alone, the logarithm's series gives
    rho^k / k at order k, and with N_1 instead of z_0 the same in steps of two (Mercator 1668). To first order all
    others add up: z_0 and P_2 at order 1, N_1 and P_3 at order 2, P_(k+1) and N_(k-1) at order k.
    A vector that turns the other way has N_1 above P_1: it is looked at in a mirror.

    Examples
    --------
    A circle of radius 1 about (0.1, 0):

    >>> found = by_order(np.array([[0.1, 0.0], [1.0, 0.0], [0.0, 1.0]]), 2)
    >>> found.raw.round(6).tolist(), found.offset.round(6).tolist()
    ([0.1, 0.005], [0.1, 0.005])
    """
    most = len(curve) // 2
    x, y = curve.T
    if _winding(curve) < 0:
        y = -y
    z = x + 1j * y
    middle, cosine, sine = z[0], z[1 : 1 + most], z[1 + most :]
    ahead, back = (cosine - 1j * sine) / 2, (cosine + 1j * sine) / 2
    first = ahead[0]
    ahead, back, middle = ahead / first, back / first, middle / first
    k = np.arange(1, orders + 1)
    rho, kappa = abs(middle), abs(back[0])
    shape = np.abs(
        np.append(ahead[1:], np.zeros(orders))[:orders]
        - np.concatenate([np.zeros(2), back[1:].conj(), np.zeros(orders)])[:orders]
    )
    raw = _amplitudes(middle, ahead, back, orders)
    axes = np.where(k % 2 == 0, kappa ** (k / 2) / (k / 2), 0.0)
    offset = rho**k / k if rho < 1 else np.full(orders, math.nan)
    return ByOrder(raw, offset, axes, shape)


def _winding(curve: Array) -> float:
    """Above 0 where the first harmonic turns from x towards y."""
    most = len(curve) // 2
    return float(curve[1, 0] * curve[1 + most, 1] - curve[1, 1] * curve[1 + most, 0])


def _amplitudes(middle: complex, ahead: Complexes, back: Complexes, orders: int) -> Array:
    phi = np.linspace(0.0, 2 * math.pi, 720, endpoint=False)
    k = np.arange(1, len(ahead) + 1)
    turn = np.exp(1j * np.outer(phi, k))
    error = np.unwrap(np.angle((middle + turn @ ahead + turn.conj() @ back) * np.exp(-1j * phi)))
    if abs(error[-1] - error[0]) > 1.0:  # the curve does not go round zero
        return np.full(orders, math.nan)
    down = np.exp(-1j * np.outer(np.arange(1, orders + 1), phi))
    return np.asarray(2.0 / len(phi) * np.abs(down @ error))
