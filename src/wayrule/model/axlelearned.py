"""What a spin or a roll has taught of an axle: its reference, how wrong a plain reading is and why, what remains."""

import math
from dataclasses import dataclass

from wayrule.model.arrays import Array, frozen
from wayrule.model.axlereference import AxleReference
from wayrule.model.recording import Problem


@dataclass(frozen=True, slots=True)
class OrderError:
    """Periodic error of one order: so many times a turn.

    raw_rad      amplitude in a plain arctangent of the two axes that see the most; NaN where that loses turns
    cause        offset (once), gain and phase (twice), shape (third and up)
    offset_rad, axes_rad, shape_rad   what each alone makes of this order, in closed form
    ring_rad     amplitude once offset, gain and phase are out: read on the ring
    left_sd_rad  sd of what is left once the harmonics are out too
    """

    order: int
    cause: str
    raw_rad: float
    offset_rad: float
    axes_rad: float
    shape_rad: float
    ring_rad: float
    left_sd_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class AxleLearned:
    """An axle's reference and how good it is.

    orders          1 to 6
    loses_turns     a plain arctangent about zero would lose or gain turns
    at_rad          (b,) axle angles, the middles of bins evenly round a turn
    ring_error_rad  (b,) error of the angle read on the ring there
    left_rad        (b,) mean of what is left of the readings about smooth motion; left_sd_rad of that mean; NaN: none
    reading_sd_rad  sd of one reading, rms over a turn: noise over the slope of the field
    ripple_sd_rad   sd of what the harmonics leave, rms over a turn
    covered         share of the turn with readings
    limit_turns_s   fastest turning that counts no turn wrong at this recording's rate
    limit_gap_s     longest gap of the readings through which that holds, at 20 turns/s2 and less
    rate_hz         of the recording
    """

    reference: AxleReference
    orders: tuple[OrderError, ...]
    loses_turns: bool
    at_rad: Array
    ring_error_rad: Array
    left_rad: Array
    left_sd_rad: Array
    reading_sd_rad: float
    ripple_sd_rad: float
    covered: float
    limit_turns_s: float
    limit_gap_s: float
    rate_hz: float
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        for name in ("at_rad", "ring_error_rad", "left_rad", "left_sd_rad"):
            frozen(self, name, (len(self.at_rad),))

    @property
    def sd_rad(self) -> float:
        """Sd of an angle read once: noise, and what the harmonics leave."""
        return math.hypot(self.reading_sd_rad, self.ripple_sd_rad)

    def travel_um(self, diameter_mm: float) -> float:
        """The same as travel of a wheel [um]."""
        return 500.0 * diameter_mm * self.sd_rad
