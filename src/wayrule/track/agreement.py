"""Whether the steps of a day agree with each other and with what was known: each is held against all the others."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.stats import chi2

from wayrule.maths.conditioning import conditioned
from wayrule.model import Shown
from wayrule.track.adjust.remembered import Before
from wayrule.track.calibrated import as_one

CHANCE: Final = 1e-3
"""A step that contradicts the others by what chance would do less often than this is told, and loses weight."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A step that does not fit the others.

    sigmas   by how much: of a single number that were as unlikely
    factor   by which its sigmas were widened
    against  whether other steps of the day spoke of the same constants; else it contradicts what was known before
    """

    step: str
    runs: tuple[str, ...]
    sigmas: float
    factor: float
    against: bool

    @property
    def text(self) -> str:
        """For a person."""
        what = "the other steps and what was known" if self.against else "what was known before"
        return (
            f"What {', '.join(self.runs)} told ({self.step}) contradicts {what} by {self.sigmas:.1f} sigmas; "
            f"its sigmas were widened {self.factor:.1f} times."
        )


def agreed(before: Before, shown: Sequence[Shown]) -> tuple[tuple[Shown, ...], tuple[Contradiction, ...]]:
    """The same news, those that contradict the others with wider sigmas, and which they are.

    Notes
    -----
    Each step's readings v are held against what the prior and all other steps foretell of them: r' S^-1 r with
    r = v - H m and S = H P H' + R is chi squared of as many degrees of freedom as there are readings (the innovation
    test of estimation theory: Bar-Shalom, Li, Kirubarajan 2001, section 5.4; from memory). Where it is less likely
    than `CHANCE`, R is multiplied by it over its degrees of freedom.
    """
    out, found = [], []
    for i, one in enumerate(shown):
        others = (*shown[:i], *shown[i + 1 :])
        mean, spread = conditioned(before.values, before.as_met, 0.0 * before.own, *as_one(before, others))
        matrix, values, noise = as_one(before, (one,))
        left = values - matrix @ mean
        size = float(left @ np.linalg.solve(matrix @ spread @ matrix.T + noise, left))
        chance = float(chi2.sf(size, len(values)))
        if chance >= CHANCE:
            out.append(one)
            continue
        factor = size / len(values)
        names = {name for other in others for name in other.names}
        runs = tuple(dict.fromkeys(name for name, _ in one.runs))
        against = bool(names & set(one.names))
        found.append(Contradiction(one.step, runs, _as_sigmas(size, len(values)), math.sqrt(factor), against))
        out.append(replace(one, covariance=one.covariance * factor))
    return tuple(out), tuple(found)


def _as_sigmas(size: float, free: int) -> float:
    """The same chance as that of one normal number beyond so many sigmas.

    >>> round(_as_sigmas(9.0, 1), 6)
    3.0
    """
    return float(np.sqrt(chi2.isf(max(chi2.sf(size, free), 1e-300), 1)))
