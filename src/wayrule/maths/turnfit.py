"""What is left of an angle that is read from a turning vector, calibrated by itself; thousands of turns at once.

n turns · a angles, even round each turn, the first at phi = 0 · K highest harmonic

F    (3, 2) first harmonic: vector = centre + F (cos phi, sin phi) + what is left
psi  angle of F+ (vector - centre), the one that is read      e = psi - phi      h(psi) what a calibration takes for e
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen

ORDERS: Final = 6
ROUNDS: Final = 3
"""Corrections of h after the first guess; the k-th leaves (K |e|)^k of it (tests/maths/test_turnfit.py)."""

LEAST_SHAPE: Final = 1e-6
"""Smaller over greater half axis below which rounding alone would tell the angle."""

AT_ONCE: Final = 16_000
"""Readings worked on at once: their arrays then stay in the processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """Centre and ellipse of n turning vectors.

    centre      (n, 3)
    to_circle   (n, 2, 3) F+: brings a vector less the centre to (cos, sin)
    half_axes   (n, 2) of the ellipse, the greater first; where it is a line the smaller is 0 and F+ infinite
    """

    centre: Array
    to_circle: Array
    half_axes: Array

    def __post_init__(self) -> None:
        n = len(self.centre)
        for name, shape in (("centre", (n, 3)), ("to_circle", (n, 2, 3)), ("half_axes", (n, 2))):
            frozen(self, name, shape)

    @property
    def per_unit(self) -> Array:
        """(n,) rms over a turn of the angle's change when every axis of the vector has noise of sd 1 [rad].

        Notes
        -----
        d psi = t' F+ dB with t = (-sin, cos): over a turn the mean square is |F+|^2 / 2, half the sum of 1 / axis^2.
        """
        return np.asarray(np.sqrt(0.5 * np.sum(self.to_circle**2, axis=(1, 2))))


def rings_of(vectors: Array) -> Rings:
    """Centre and ellipse of each turn.

    Parameters
    ----------
    vectors : (n, a, 3)

    Notes
    -----
    Mean and first harmonic are the least-squares ones: on even angles the Fourier terms are orthogonal.

    >>> phi = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    >>> rings = rings_of(np.stack([np.sin(phi) + 0.2, 0 * phi, 2 * np.cos(phi)], axis=-1)[None])
    >>> rings.half_axes[0].round(6).tolist(), round(float(rings.per_unit[0]), 6) == round((0.5 * (1 + 0.25))**0.5, 6)
    ([2.0, 1.0], True)
    """
    count = vectors.shape[1]
    phi = np.arange(count) * (2 * math.pi / count)
    waves = np.stack([np.ones(count), 2 * np.cos(phi), 2 * np.sin(phi)]) / count
    terms = waves @ vectors  # (n, 3 waves, 3 axes)
    first = terms[:, 1:]
    gram = first @ np.swapaxes(first, 1, 2)
    one, both, other = gram[:, 0, 0], gram[:, 0, 1], gram[:, 1, 1]
    determinant = one * other - both * both
    middle, spread = (one + other) / 2, np.hypot((one - other) / 2, both)
    greater = middle + spread
    turns = determinant > LEAST_SHAPE**2 * greater**2
    swapped = np.stack([other, -both, -both, one], axis=-1).reshape(-1, 2, 2)
    to_circle = swapped @ first / np.where(turns, determinant, 1.0)[:, None, None]
    to_circle[~turns] = np.inf
    smaller = np.where(turns, determinant, 0.0) / np.where(greater > 0, greater, 1.0)
    axes = np.sqrt(np.stack([greater, smaller], axis=-1))
    return Rings(terms[:, 0].copy(), to_circle, axes)


def angle_errors(vectors: Array, centre: Array, to_circle: Array) -> Array:
    """Angle read less true angle, within half a turn: (n, a) [rad].

    Parameters
    ----------
    vectors : (n, a, 3)
    centre, to_circle : (n or 1, 3), (n or 1, 2, 3): of each turn, or of one for all (read as drawn)
    """
    count = vectors.shape[1]
    back = np.exp(-2j * math.pi * np.arange(count) / count)
    out = np.empty(vectors.shape[:2])
    for part in _parts(len(vectors), count):
        own = part if len(centre) > 1 else slice(None)
        out[part] = np.angle(_on_circle(vectors[part], centre[own], to_circle[own]) * back)
    return out


def calibrated(vectors: Array, rings: Rings, orders: int = ORDERS, rounds: int = ROUNDS) -> tuple[Array, Array]:
    """Error of the angle read by each turn's own centre and ellipse, and what K harmonics of it leave: (n, a) each.

    Parameters
    ----------
    vectors : (n, a, 3)

    Returns
    -------
    errors, left : (n, a) [rad], the mean over the turn taken off

    Notes
    -----
    The correction h is a series in the angle *as read*, since a run knows no other. It is sought so that e - h(psi) is
    free of harmonics 1 to K of the true angle: each round adds those of what is left, by the one pseudo-inverse of the
    even angles (their Fourier terms). It converges while K |e| is below 1; a larger e has lost turns anyway.

    Examples
    --------
    Six harmonics of the angle as read (here e = 0.01 sin psi) are taken out whole; the seventh stays:

    >>> phi = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    >>> psi = phi + 0.01 * np.sin(phi + 0.01 * np.sin(phi + 0.01 * np.sin(phi))) + 1e-3 * np.cos(7 * phi)
    >>> turn = np.stack([np.cos(psi), np.sin(psi), 0 * psi], -1)[None]
    >>> as_read = Rings(np.zeros((1, 3)), np.eye(2, 3)[None], np.ones((1, 2)))
    >>> [round(float(e.std() * 2**0.5), 5) for e in calibrated(turn, as_read)]
    [0.01005, 0.001]
    """
    count = vectors.shape[1]
    phi = np.arange(count) * (2 * math.pi / count)
    down = np.exp(-1j * np.outer(phi, np.arange(1, orders + 1))) * (2 / count)
    turn = np.exp(1j * phi)
    errors, out = np.empty(vectors.shape[:2]), np.empty(vectors.shape[:2])
    for part in _parts(len(vectors), count):
        z = _on_circle(vectors[part], rings.centre[part], rings.to_circle[part])
        z /= np.abs(z)
        e = np.angle(z * turn.conj())
        e -= e.mean(axis=1, keepdims=True)
        left = e
        terms: NDArray[np.complex128] = np.zeros((len(e), orders), dtype=complex)
        for _ in range(1 + rounds):
            terms = terms + left @ down
            left = e - _series(terms, z)
        errors[part], out[part] = e, left - left.mean(axis=1, keepdims=True)
    return errors, out


def _on_circle(vectors: Array, centre: Array, to_circle: Array) -> NDArray[np.complex128]:
    """cos + i sin of the angle read, not brought to length 1: (n, a)."""
    middle = np.einsum("nwk,nk->nw", to_circle, centre)
    circle = vectors @ np.swapaxes(to_circle, 1, 2)
    circle -= middle[:, None]
    return circle.view(np.complex128)[..., 0]


def _series(terms: NDArray[np.complex128], z: NDArray[np.complex128]) -> Array:
    """Real part of sum over k of terms_k z^k, k from 1 (Horner): (n, a)."""
    total = np.broadcast_to(terms[:, -1:], z.shape) * z
    for k in range(terms.shape[1] - 2, -1, -1):
        total += terms[:, k : k + 1]
        total *= z
    return np.asarray(total.real)


def _parts(turns: int, angles: int) -> list[slice]:
    step = max(1, AT_ONCE // angles)
    return [slice(begin, begin + step) for begin in range(0, turns, step)]
