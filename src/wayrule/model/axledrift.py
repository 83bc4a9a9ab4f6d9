"""What has changed at an axle since it was calibrated, as its field alone tells."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from wayrule.model.arrays import Array, frozen

DriftKind = Literal[
    "nothing", "temperature", "sensor moved", "magnet moved", "magnet off", "plate out", "plate in", "unknown"
]


@dataclass(frozen=True, slots=True)
class DriftCause:
    """One explanation of what has changed.

    kind          nothing beyond what is usual from day to day; warmer or colder magnets; the sensor, or a magnet, sits
                  elsewhere; one magnet of a pair has come off; a steel plate was taken out or put in; none of these
    size, sd      of it, in `unit`: temperature K (warmer > 0), moves mm (or shares of the distance from axle to sensor,
                  unit "1", where that is not known), magnet off: share of the field that is gone, plate: field now
                  over then; NaN where there is none
    probability   0..1, of all the explanations that were tried
    text          one sentence for a person; advice: what to do, "" for nothing
    """

    kind: DriftKind
    size: float
    sd: float
    unit: str
    probability: float
    text: str
    advice: str


@dataclass(frozen=True, slots=True, eq=False)
class AxleDrift:
    """A later recording's field against the axle's reference.

    turned             False where the axle stood: then only `off_mt` is known
    strength, strength_sd   field of the magnets now over then; NaN where the axle stood
    moved_mt, moved_sd_mt   (3,) how far the middle of the ring has moved; NaN where not known
    bent, bent_sd      rms of what changed beside strength and middle, over the smaller semi-axis
    off_mt             rms of the readings about the reference as it was, along no angle of it
    sigma              how far beyond noise and what is usual from day to day, in sds (two-sided, one number)
    causes             the likeliest first; `causes[0].kind == "nothing"` where all is well
    """

    turned: bool
    strength: float
    strength_sd: float
    moved_mt: Array
    moved_sd_mt: Array
    bent: float
    bent_sd: float
    off_mt: float
    sigma: float
    causes: tuple[DriftCause, ...]

    def __post_init__(self) -> None:
        frozen(self, "moved_mt", (3,))
        frozen(self, "moved_sd_mt", (3,))
        if not self.causes:
            raise ValueError("AxleDrift.causes: expected at least one, came none")
        chances = np.array([cause.probability for cause in self.causes])
        if np.any(chances < 0.0) or np.any(np.diff(chances) > 1e-12) or chances.sum() > 1.0 + 1e-9:
            raise ValueError(f"AxleDrift.causes: expected falling probabilities, sum 1, came {chances.tolist()}")

    @property
    def likeliest(self) -> DriftCause:
        """The likeliest explanation."""
        return self.causes[0]
