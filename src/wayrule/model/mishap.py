"""What befell a run besides rolling."""

from dataclasses import dataclass
from typing import Literal

MishapKind = Literal["knock", "gap", "hand", "lift", "slide", "spin"]


@dataclass(frozen=True, slots=True)
class Mishap:
    """One event of a run, found in its own samples.

    kind      knock: a jolt far beyond the run's usual shaking; gap: nothing was written; hand, lift: the wagon was
              handled at a stop, on the rails or off them; slide, spin: the wheel turned less or more than it travelled
    first_s, last_s   when it began and ended, on the recording's clock
    size, unit, sd    how large: peak [g], duration [s], tilt [deg], path that the wheel missed [mm]; sd NaN: none known
    loose_mm  sd of what the run's place along the line may have changed by unseen; 0 where the wheel saw it all
    """

    kind: MishapKind
    first_s: float
    last_s: float
    size: float
    unit: str
    sd: float
    loose_mm: float

    @property
    def duration_s(self) -> float:
        """How long it lasted."""
        return self.last_s - self.first_s
