"""Every way in which a wagon's axle moves against its sensor, and how much of each goes into a distance."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import Wagon
from wayrule.model.arrays import Array, frozen
from wayrule.wagon.budget import SHARP_GAUGES, swing
from wayrule.wagon.motion import plays, sunk

SIDEWAYS: Final = 1
"""Which of the plays is along the axle."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Motions of the axle.

    shift_mm    (m, 3) of the axle against the sensor, at the end of its play, springs or curve
    askew_rad   (m, 2) about the wagon's x, then z
    weight      (m,) of each one's error (rms of the angle at that end) in a distance: both ends of a way have it
                (root 2), anywhere within the play alike (1 / root 3), springs from one side (1 / root 12)
    curves      how many of them, the last ones, are a bogie's swing: the worst counts, once (curve against straight)
    told        what was assumed
    """

    shift_mm: Array
    askew_rad: Array
    weight: Array
    curves: int
    told: tuple[str, ...]

    def __post_init__(self) -> None:
        frozen(self, "weight", (None,))
        frozen(self, "shift_mm", (len(self.weight), 3))
        frozen(self, "askew_rad", (len(self.weight), 2))

    def in_distance(self, size_rad: Array) -> Array:
        """Errors of all motions (n, m) as one of the distance over the wheel's radius: (n,) [rad]."""
        weighed = (size_rad * self.weight) ** 2
        last = weighed.shape[1] - self.curves
        worst = np.max(weighed[:, last:], axis=1, initial=0.0)
        return np.asarray(np.sqrt(np.sum(weighed[:, :last], axis=1) + worst))


def moves_of(wagon: Wagon, curve_mm: float | None = None) -> Moves:
    """Play, springs and the swing in a curve, each with the weight that the budget gives it.

    Raises
    ------
    UsageError   a curve in which the wagon cannot stand

    >>> from wayrule.model import Axle, Bogie, Wheel
    >>> coach = Wagon("coach", "HO", 87.0, 16.5, 118.0, Wheel(10.5), bogie=Bogie(118.0, 29.0))
    >>> moves_of(coach, 360.0).shift_mm.round(2).tolist()
    [[0.2, 2.38, 0.0], [0.2, -2.38, 0.0]]
    """
    told = []
    loose = plays(wagon.axle.play_mm, wagon.axle.length_mm or 1.5 * wagon.gauge_mm) if wagon.axle.play_mm else ()
    if not loose:
        told.append("axle.play_mm is not stated: none was reckoned with.")
    springs = (sunk(wagon.body.spring_mm),) if wagon.body.spring_mm else ()
    curves = swing(wagon, curve_mm)
    if wagon.bogie is None:
        curves = ()
    elif curve_mm is None:
        told.append(f"The sharpest curve is not stated: {SHARP_GAUGES:g} gauges, but 1.5 wheelbases at least.")
    motions = (*loose, *springs, *curves)
    root = math.sqrt(2)
    weight = [root / math.sqrt(3)] * len(loose) + [root / math.sqrt(12)] * len(springs) + [1.0] * len(curves)
    if loose and not curves:  # an axle held in the body stands at the end of its play in a curve
        weight[SIDEWAYS] = math.hypot(weight[SIDEWAYS], 1.0)
    return Moves(
        np.array([motion.shift_mm for motion in motions], dtype=float).reshape(-1, 3),
        np.array([(motion.roll_rad, motion.yaw_rad) for motion in motions], dtype=float).reshape(-1, 2),
        np.array(weight, dtype=float),
        len(curves),
        tuple(told),
    )
