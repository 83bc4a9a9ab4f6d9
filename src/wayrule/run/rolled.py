"""Distance rolled by the sensed axle with its sigma, whatever it was measured by."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Problem
from wayrule.model.arrays import Array
from wayrule.run.fieldreading import OwnReading


@dataclass(frozen=True, slots=True)
class Scale:
    """A correction of the distance's scale that is better than the wheel's caliper.

    factor   true distance over distance by the wagon file
    sd       its relative sd
    source   where it comes from, in words ("tape: 4 laps of 8960 +- 5 mm")
    """

    factor: float
    sd: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class Rolled:
    """Distance rolled by the sensed axle, before speed and state are known.

    distance_mm     (n,) since the first sample, growing towards the wagon's front [mm]
    reading_sd_mm   (n,) sd of one reading, without what adds up along the way [mm]
    growth_sd_mm    (n,) sd of what adds up: slip and play, integrated noise, gaps; without the scale [mm]
    white_sd_mm     part of the reading's sd that differs from sample to sample [mm]
    speed_noise_mm_s  white noise of a speed input [mm/s], else 0
    quantum_mm      step of a counter [mm], else 0
    unsure          (n,) True where the distance may be wrong by whole turns, or rests on a gap
    turned          False where the input shows no motion at all
    can_flip        True where the sign rests on how sensor or encoder are mounted, not on a person's word
    direction_known False where not even the nominal mounting says which way is forward
    scale_sd        relative sd of the scale
    reading         how the field is read from now on; None where none was learnt
    """

    distance_mm: Array
    reading_sd_mm: Array
    growth_sd_mm: Array
    white_sd_mm: float
    speed_noise_mm_s: float
    quantum_mm: float
    unsure: NDArray[np.bool_]
    turned: bool
    can_flip: bool
    direction_known: bool
    scale_sd: float
    scale_source: str
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    reading: OwnReading | None = None

    @property
    def distance_sd_mm(self) -> Array:
        """Sd of the distance since the first sample (n,): scale, reading at both ends, and what adds up [mm]."""
        sd = np.sqrt(
            (self.scale_sd * self.distance_mm) ** 2
            + self.reading_sd_mm**2
            + self.reading_sd_mm[:1] ** 2
            + self.growth_sd_mm**2
        )
        sd[:1] = 0.0
        return sd

    def turned_round(self) -> "Rolled":
        """The same with the direction of forward reversed."""
        return replace(self, distance_mm=-self.distance_mm)


def plain(s_mm: Array, unsure: NDArray[np.bool_]) -> Rolled:
    """A distance without noise of its own."""
    n = len(s_mm)
    return Rolled(
        distance_mm=s_mm,
        reading_sd_mm=np.zeros(n),
        growth_sd_mm=np.zeros(n),
        white_sd_mm=0.0,
        speed_noise_mm_s=0.0,
        quantum_mm=0.0,
        unsure=unsure,
        turned=bool(np.ptp(s_mm) > 0.0),
        can_flip=False,
        direction_known=True,
        scale_sd=math.nan,
        scale_source="",
        problems=(),
        notes=() if np.ptp(s_mm) > 0.0 else ("The wheel input never changes: the wagon stood throughout.",),
    )
