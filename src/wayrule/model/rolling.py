"""How far a wheel rolls in one turn, as taped runs have shown it, and every time that it was found before."""

import math
from dataclasses import dataclass
from typing import Final, Literal

Way = Literal["straight", "forward", "backward", "curves"]

WAYS: Final[dict[Way, str]] = {
    "straight": "on straights",
    "forward": "on straights, forward",
    "backward": "on straights, backward",
    "curves": "round curves",
}
"""Way of rolling -> words. A rolling circle moves with the play of the flanges, so none of them stands for another."""


@dataclass(frozen=True, slots=True)
class RollingCircle:
    """The wheel's effective circumference, one way of rolling.

    way                  of `WAYS`
    scale, scale_sd      true distance over that of the wagon file's wheel, less one
    circumference_mm, circumference_sd_mm   the same as a circumference; NaN for a speed or distance input
    legs, way_mm         what it rests on: how many taped pieces, how long together
    """

    way: Way
    scale: float
    scale_sd: float
    circumference_mm: float
    circumference_sd_mm: float
    legs: int
    way_mm: float

    def __post_init__(self) -> None:
        if self.way not in WAYS:
            raise ValueError(f"RollingCircle.way: expected one of {', '.join(WAYS)}, came {self.way!r}")
        if not (math.isfinite(self.scale) and 0 < self.scale_sd < math.inf):
            raise ValueError(
                f"RollingCircle {self.way}: expected a scale and its sd, came {self.scale}, {self.scale_sd}"
            )
        if self.legs < 1 or not 0 < self.way_mm < math.inf:
            raise ValueError(f"RollingCircle {self.way}: expected legs and their way, came {self.legs}, {self.way_mm}")


@dataclass(frozen=True, slots=True)
class DistanceStep:
    """One calibration of a wagon's distance.

    made              when, UTC (2026-08-01T14:05:00Z); "" where nobody said
    circles           each way of rolling that it has shown, at most one of a way
    slip_mm, slip_sd_mm   distance lost per radian turned; NaN where straights or curves were missing
    runs              (name, sha256) of the recordings

    Raises
    ------
    ValueError   for two circles of one way, or none at all

    Examples
    --------
    >>> one = RollingCircle("straight", 0.002, 1.4e-4, 33.05, 0.005, 3, 9000.0)
    >>> DistanceStep("", (one,), math.nan, math.nan, ()).circle("straight").legs
    3
    """

    made: str
    circles: tuple[RollingCircle, ...]
    slip_mm: float
    slip_sd_mm: float
    runs: tuple[tuple[str, str], ...]

    def __post_init__(self) -> None:
        ways = [one.way for one in self.circles]
        if not ways or len(set(ways)) != len(ways):
            raise ValueError(f"DistanceStep.circles: expected one or more, each of another way, came {', '.join(ways)}")
        if math.isnan(self.slip_mm) != math.isnan(self.slip_sd_mm):
            raise ValueError("DistanceStep: slip_mm and slip_sd_mm are known together or not at all")

    def circle(self, way: Way) -> RollingCircle | None:
        """One way of rolling; None where it was not shown."""
        return next((one for one in self.circles if one.way == way), None)
