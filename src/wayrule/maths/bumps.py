"""Bumps: local shapes that come back to nothing, as seen in the rate or in the bend of what they lift.

A bump of height 1 is a Gaussian g(x) = exp(-x^2 / (2 sigma^2)); a dip of the rails, a shove to the side. In the
gradient it shows as g', in the curvature as g''. Where a line is given by block means under a moving mean, only
second integrals are needed: g itself for g'', its integral for g'.

Legend: u = x - place · b length of the moving mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bump:
    """A bump at a place.

    sigma   half its width where it is 0.61 of its height
    order   how often it is differentiated in the data: 1 in a gradient, 2 in a curvature
    soft    variance that is added to the blocks that see it, as it is never quite of this shape
    """

    at: float
    sigma: float
    order: Literal[1, 2]
    soft: float = 0.0

    @property
    def reach(self) -> float:
        """How far it is seen to either side."""
        return 3.0 * self.sigma


def second_integral(u: Floats, sigma: Floats, order: Literal[1, 2]) -> tuple[Floats, Floats, Floats]:
    """Second integral of the bump's derivative, and its change per unit of u and of log sigma.

    >>> p, _, _ = second_integral(np.array([0.0]), np.array([2.0]), 2)
    >>> p.tolist()
    [1.0]
    """
    z = u / sigma
    g = np.exp(-0.5 * z * z)
    if order == 2:
        return g, -g * z / sigma, g * z * z
    run = np.sqrt(2.0 * np.pi) * sigma * ndtr(z)
    return run, g, run - u * g


def bump_means(bumps: Sequence[Bump], edge: Floats, blur: float) -> tuple[Floats, Floats, Floats]:
    """Block means of bumps of height 1, their change per unit shift of the place, and per unit of log sigma.

    Parameters
    ----------
    bumps : all of one order
    edge : (n + 1,) block edges
    blur : length b of the moving mean; less than a twentieth of a block counts as that

    Returns
    -------
    three arrays (n, bumps)

    Examples
    --------
    The bend of a bump is as much to one side as to the other.

    >>> mean, _, _ = bump_means([Bump(50.0, 5.0, 2)], np.linspace(0.0, 100.0, 41), 1.0)
    >>> bool(abs(mean.sum()) < 1e-12)
    True
    """
    width = np.diff(edge)[:, None]
    if not bumps:
        return np.zeros((len(width), 0)), np.zeros((len(width), 0)), np.zeros((len(width), 0))
    b = max(blur, 0.05 * float(edge[-1] - edge[0]) / len(width))
    place, sigma = np.array([x.at for x in bumps]), np.array([x.sigma for x in bumps])
    late = second_integral(edge[:, None] - place + b / 2, sigma, bumps[0].order)
    early = second_integral(edge[:, None] - place - b / 2, sigma, bumps[0].order)
    value, slope, wider = (np.asarray(np.diff(x - y, axis=0) / (b * width)) for x, y in zip(late, early, strict=True))
    return value, -slope, wider
