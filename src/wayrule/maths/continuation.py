"""The field behind or before plane sheets from the field in air: shifted copies of it with weights.

A field that plane sheets pass on with the factor T(k) for each wavenumber k is a sum of the free field's copies, each
taken further along the normal:

    F(x, y, z) = integral of a(k) e^{-kz} T(k)   ->   sum over j of W_j F_free(x, y, z + s_j)

F_free along the normal is u^3 times a smooth function of u = d/(d + s): the field of a multipole of degree l, right
above it, is u^{l+2}. So F_free is taken at J places u_j and the polynomial through them is passed on exactly.

k     wavenumber in the sheet's plane [1/mm]      d   distance of the place from the source's middle, along the normal
s_j   shift of a copy [mm], s_0 = 0               T   factor, relative to no sheet; complex where currents lag
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen

Complexes = NDArray[np.complex128]
Factor = Callable[[Array], Complexes]

COPIES: Final = 10
"""J: multipoles up to degree 10 straight above are exact; a dipole off to one side by as much as it is below is right
to 1e-6 for any steel (`tests/maths/test_continuation.py`), by half as much to 1e-8."""


@dataclass(frozen=True, slots=True, eq=False)
class Continuation:
    """Copies of a free field, with weights for each harmonic of its turning.

    A copy of a place (x, y, z) is at (x, y, side z + shift); its field's parts in the plane are multiplied by `side`.

    side       (J,)   +1, or -1 for what comes back from a sheet beyond: the free field mirrored
    shift_mm   (J,)   along the normal
    weight     (H, J) complex: row h is for the part that turns as e^{i h phi}; row 0 stands still, the last one goes on
    """

    side: Array
    shift_mm: Array
    weight: Complexes

    def __post_init__(self) -> None:
        frozen(self, "side", (None,))
        frozen(self, "shift_mm", (len(self.side),))
        frozen(self, "weight", (None, len(self.side)), dtype=np.complex128)


def continuation(factors: Sequence[Factor], distance_mm: float, *, copies: int = COPIES) -> Continuation:
    """The copies that stand for sheets, at one distance.

    Parameters
    ----------
    factors : T of each harmonic; each takes (n,) wavenumbers [1/mm]
    distance_mm : d

    Notes
    -----
    The copies' places in u are the Chebyshev points of (0, 1] with u = 1 among them. W solves
    sum_j W_j u_j^{p+1} = integral of x^p e^{-x} T(x / d) / p! for p = 2 .. J + 1. Only T - T(infinity) goes through it,
    so that a sheet that does nothing gives W = (1, 0, ...) exactly.

    >>> transparent = continuation([lambda k: np.ones_like(k, dtype=complex)], 10.0)
    >>> bool(np.all(transparent.weight == np.eye(1, COPIES)))
    True
    """
    u = (1 + np.cos(math.pi * np.arange(copies) / copies)) / 2
    powers = np.arange(2, copies + 2)
    x, weight = _to_eighty()
    terms = np.exp(powers[:, None] * np.log(x) - x - np.array([math.lgamma(p + 1) for p in powers])[:, None]) * weight
    passed = np.stack([factor(x / distance_mm) for factor in factors], axis=1)
    plain = passed[-1]
    weights = np.linalg.solve(u[None, :] ** (powers[:, None] + 1), terms @ (passed - plain)).T
    weights[:, 0] += plain
    return Continuation(np.ones(copies), distance_mm * (1 / u - 1), weights)


def mirrored(copies: Continuation, plane_mm: float) -> Continuation:
    """The same copies seen in a mirror at height `plane_mm`, for what comes back from there."""
    return Continuation(-copies.side, 2 * plane_mm + copies.shift_mm, copies.weight)


def together(first: Continuation, second: Continuation) -> Continuation:
    """Both sums of copies as one; they must have as many harmonics."""
    return Continuation(
        np.concatenate([first.side, second.side]),
        np.concatenate([first.shift_mm, second.shift_mm]),
        np.concatenate([first.weight, second.weight], axis=1),
    )


@lru_cache(maxsize=1)
def _to_eighty() -> tuple[Array, Array]:
    """Nodes and weights for integrals over x from 0 to 80: panels that shrink towards 0, 12 Gauss points in each.

    A thick steel plate's T rises as 1/(1 + x L/d) with L/d up to thousands: no single Gauss rule sees that.
    """
    edges = np.concatenate([[0.0], np.geomspace(1e-5, 1.0, 18), np.linspace(1.0, 80.0, 41)[1:]])
    node, weight = np.polynomial.legendre.leggauss(12)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half * (1 + node)).ravel(), (half * weight).ravel()
