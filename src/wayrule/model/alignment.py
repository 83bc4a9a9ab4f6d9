"""A line as its makers draw it: straights, arcs and clothoids end to end; and a profile of grades and curves."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class PlanPiece:
    """A piece of the plan whose curvature changes evenly; both ends are stated, world axes.

    curvature0_1_mm, curvature1_1_mm   at its ends, left > 0; equal for an arc, 0 for a straight
    """

    x0_mm: float
    y0_mm: float
    heading0_rad: float
    x1_mm: float
    y1_mm: float
    heading1_rad: float
    curvature0_1_mm: float
    curvature1_1_mm: float
    length_mm: float

    @property
    def kind(self) -> Literal["straight", "arc", "transition"]:
        """What it is, by its curvatures."""
        if self.curvature0_1_mm != self.curvature1_1_mm:
            return "transition"
        return "arc" if self.curvature0_1_mm else "straight"


@dataclass(frozen=True, slots=True)
class GradePiece:
    """A piece of the profile from `s0_mm` to `s1_mm`, z at its start; its gradient changes evenly (a parabola)."""

    s0_mm: float
    s1_mm: float
    z0_mm: float
    gradient0: float
    gradient1: float

    @property
    def z1_mm(self) -> float:
        """Height at its end [mm]."""
        return self.z0_mm + 0.5 * (self.gradient0 + self.gradient1) * (self.s1_mm - self.s0_mm)


@dataclass(frozen=True, slots=True)
class Alignment:
    """A drawn line.

    s0_mm          chainage of its start
    profile        () where no height is known
    declared_mm    length that a file states for it, NaN where none
    notes          what does not fit in what a file states of itself, a sentence each
    """

    name: str
    s0_mm: float
    plan: tuple[PlanPiece, ...]
    profile: tuple[GradePiece, ...] = ()
    declared_mm: float = float("nan")
    notes: tuple[str, ...] = ()

    @property
    def length_mm(self) -> float:
        """Sum of its pieces [mm]."""
        return sum(piece.length_mm for piece in self.plan)
