"""Where a wagon may be on a line that was surveyed, and how sure that is."""

from dataclasses import dataclass
from typing import Literal

Certainty = Literal["certain", "several", "nowhere", "unknown"]
"""certain: one place; several: it may be at any of the places told; nowhere: it fits no place of this line; unknown:
too little was travelled to say anything."""


@dataclass(frozen=True, slots=True)
class LikelyPlace:
    """One place where the wagon may be.

    s_mm, sd_mm   chainage of the body's origin (rear axle, or rear pivot), and its sd
    way           +1 the marked front points to growing chainage, -1 against it
    share         how probable it is, 0 to 1
    """

    s_mm: float
    sd_mm: float
    way: Literal[1, -1]
    share: float


@dataclass(frozen=True, slots=True)
class Located:
    """Where the wagon is.

    certainty    of `Certainty`
    places       the likeliest first; none where nothing is known
    travelled_mm what it rests on
    misfit       mean square of what the likeliest place leaves over its sigma: about 1 is good
    """

    certainty: Certainty
    places: tuple[LikelyPlace, ...]
    travelled_mm: float
    misfit: float

    @property
    def here(self) -> LikelyPlace | None:
        """The place where the wagon certainly is."""
        return self.places[0] if self.certainty == "certain" else None
