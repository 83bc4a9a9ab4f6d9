"""The dry test: whether the magnets sit well enough to be fixed, told from a few turns by hand."""

from dataclasses import dataclass
from typing import Literal

DryWord = Literal["fix", "shift", "unsure"]


@dataclass(frozen=True, slots=True)
class DryTest:
    """What a few turns by hand say of the magnets before they are glued.

    word                 "fix": they sit well; "shift": worth shifting first; "unsure": more turns would tell
    along_mm, along_sd_mm   how far their magnetic middle sits off the axle, along the line from disc to disc: towards
                         the disc that faces up when the upward reading is greatest > 0
    ahead_mm, ahead_sd_mm   the same square to that line, with that disc up: too far forward > 0
    aside_mm             how far it sits to the left of where sensor and axle have it, or the sensor to the right
    once_rad             periodic error, once a turn, that this makes of a reading before it is calibrated
    signal_mt            semi-axes of the ring, larger and smaller
    signal_to_noise      smaller semi-axis over the noise of a sample
    turns                that were looked at
    text                 the answer in one sentence; steps: what to shift, which way, one sentence each
    """

    word: DryWord
    along_mm: float
    along_sd_mm: float
    ahead_mm: float
    ahead_sd_mm: float
    aside_mm: float
    once_rad: float
    signal_mt: tuple[float, float]
    signal_to_noise: float
    turns: float
    text: str
    steps: tuple[str, ...]
