"""What a wagon has felt on the way that it came: its turning, climbing and leaning along the last metres."""

from dataclasses import dataclass

from wayrule.model.arrays import Array, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Trail:
    """The body's angles along the way just travelled, as seen from where the wagon is now.

    away_mm        (n,) where each was felt: wheel distance towards the marked front, rising; 0 is now
    angles_rad     (3, n) heading less that of now (left > 0), climb (nose up > 0), roll (left up > 0)
    covariance     (3, n, n) of each; the heading's whole turn and start are free, climb and roll know the upright
    wheelbase_mm   over which the body feels the track
    scale_sd       relative sd of `away_mm`
    newest         which of them is where the wagon is now
    came           the side it came from: -1 from smaller `away_mm`, moving towards its front, else +1
    """

    away_mm: Array
    angles_rad: Array
    covariance: Array
    wheelbase_mm: float
    scale_sd: float
    newest: int
    came: int

    def __post_init__(self) -> None:
        frozen(self, "away_mm", (None,))
        n = len(self.away_mm)
        frozen(self, "angles_rad", (3, n))
        frozen(self, "covariance", (3, n, n))

    @property
    def length_mm(self) -> float:
        """How much of the line it covers [mm]."""
        return float(self.away_mm[-1] - self.away_mm[0])
