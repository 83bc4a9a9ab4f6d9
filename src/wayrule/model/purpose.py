"""What a recording was made for, when a wagon is calibrated."""

import math
from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal["", "run", "dry", "spin", "rest", "taped", "rod", "laps", "table", "position", "level", "turned"]

KINDS: Final[dict[Kind, str]] = {
    "": "left to the data",
    "run": "a run of any kind",
    "dry": "a few turns by hand, before any glue",
    "spin": "the axle turned by hand, or a roll",
    "rest": "left alone at rest",
    "taped": "a straight between two stops, taped",
    "rod": "a gauge rod between two stops",
    "laps": "whole laps of a closed line",
    "table": "whole turns on a turntable",
    "position": "at rest in some orientation",
    "level": "at rest on the track",
    "turned": "at rest on the same place, turned end for end",
}
"""Kind -> words."""

TAPED: Final = frozenset({"taped", "rod", "laps"})
"""Kinds that may carry a length."""


@dataclass(frozen=True, slots=True)
class Purpose:
    """What a recording was made for.

    kind           of `KINDS`
    length_mm, sd_mm   of the tape, the rod, or one lap, and how well it is known; NaN where none was stated
    taping         name of that taping: recordings that name the same one share its error
    laps, turns    whole laps; whole turns of the table; 0 where not stated
    forward_first  the axle was first turned, or the wagon pushed, forward
    decided        why, where the data decided; "" where it was stated

    Examples
    --------
    >>> Purpose("taped", 3000.0, 0.7).taping
    '3000:0.7'
    """

    kind: Kind = ""
    length_mm: float = math.nan
    sd_mm: float = math.nan
    taping: str = ""
    laps: int = 0
    turns: int = 0
    forward_first: bool = False
    decided: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"Purpose.kind: expected one of {', '.join(k for k in KINDS if k)}, came {self.kind!r}")
        if math.isfinite(self.length_mm):
            if self.kind not in TAPED or not (self.length_mm > 0 and 0 < self.sd_mm < math.inf):
                raise ValueError(f"Purpose {self.kind}: expected a taped length and its sd above 0")
            if not self.taping:
                object.__setattr__(self, "taping", f"{self.length_mm:g}:{self.sd_mm:g}")
        elif self.kind in ("taped", "rod"):
            raise ValueError(f"Purpose {self.kind}: expected a length, came none")
        if self.kind == "laps" and self.laps < 1:
            raise ValueError(f"Purpose laps: expected 1 or more, came {self.laps}")

    @property
    def has_tape(self) -> bool:
        """Whether a length was stated."""
        return math.isfinite(self.length_mm)
