"""What the builder of a line meant: pieces of the plan, grades, cant, and what is to go wrong with them.

Legend: s chainage (plan length) [mm] · k curvature, left > 0 [1/mm] · g gradient = dz/ds, climbing > 0.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wayrule.maths import clothoid
from wayrule.model import Element
from wayrule.sim.irregularity import Defect, Joints, Roughness

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the plan: curvature and cant run linearly from its start (0) to its end (1)."""

    kind: Literal["straight", "arc", "transition"]
    length_mm: float
    curvature0_1_mm: float = 0.0
    curvature1_1_mm: float = 0.0
    cant0_mm: float = 0.0
    cant1_mm: float = 0.0

    @property
    def turn_rad(self) -> float:
        """Heading gained along the piece, left > 0."""
        return clothoid.turn_rad(self.curvature0_1_mm, self.curvature1_1_mm, self.length_mm)


def straight(length_mm: float, *, cant0_mm: float = 0.0, cant1_mm: float = 0.0) -> Piece:
    """A straight piece."""
    return Piece("straight", length_mm, 0.0, 0.0, cant0_mm, cant1_mm)


def arc(radius_mm: float, turn_deg: float, *, cant_mm: float = 0.0) -> Piece:
    """An arc of a positive radius that turns by `turn_deg`, left > 0.

    >>> print(f"{arc(438.0, 30.0).length_mm:.2f}")
    229.34
    """
    k = float(np.sign(turn_deg)) / radius_mm
    return Piece("arc", radius_mm * abs(float(np.radians(turn_deg))), k, k, cant_mm, cant_mm)


def transition(length_mm: float, before: float, after: float, *, cant0_mm: float = 0.0, cant1_mm: float = 0.0) -> Piece:
    """A clothoid between two curvatures [1/mm]."""
    return Piece("transition", length_mm, before, after, cant0_mm, cant1_mm)


@dataclass(frozen=True, slots=True)
class Grade:
    """A stretch of one gradient; lengths are rescaled so that all grades together are as long as the line."""

    length_mm: float
    gradient: float


@dataclass(frozen=True, slots=True)
class Design:
    """A line as meant: the arguments of `build`, which see; on a closed line the lengths still have to be fitted."""

    name: str
    scale: str
    ratio: float
    gauge_mm: float
    closed: bool
    pieces: tuple[Piece, ...]
    grades: tuple[Grade, ...]
    vertical_curve_mm: float
    defects: tuple[Defect, ...]
    roughness: Roughness | None
    joints: Joints | None

    @property
    def length_mm(self) -> float:
        """Plan length of all pieces."""
        return sum(p.length_mm for p in self.pieces)

    def plan(self, s_mm: Floats) -> tuple[Floats, Floats, Floats]:
        """Heading, curvature and cant of the pieces at chainages (n,), in closed form; the line starts along x."""
        length = np.array([p.length_mm for p in self.pieces])
        k0, k1 = np.array([(p.curvature0_1_mm, p.curvature1_1_mm) for p in self.pieces]).T
        c0, c1 = np.array([(p.cant0_mm, p.cant1_mm) for p in self.pieces]).T
        start = np.concatenate([[0.0], np.cumsum(length)])
        turned = np.concatenate([[0.0], np.cumsum(0.5 * (k0 + k1) * length)])
        i = np.clip(np.searchsorted(start, s_mm, side="right") - 1, 0, len(self.pieces) - 1)
        u = s_mm - start[i]
        rate = (k1 - k0)[i] / length[i]
        return turned[i] + u * (k0[i] + 0.5 * rate * u), k0[i] + rate * u, c0[i] + (c1 - c0)[i] * u / length[i]

    def profile(self, s_mm: Floats) -> tuple[Floats, Floats]:
        """Height and gradient of the grades at chainages (n,), in closed form; the line starts at height 0."""
        knots, gradient = self.gradient_knots()
        climbed = np.concatenate([[0.0], np.cumsum(0.5 * (gradient[1:] + gradient[:-1]) * np.diff(knots))])
        i = np.clip(np.searchsorted(knots, s_mm, side="right") - 1, 0, len(knots) - 2)
        u = s_mm - knots[i]
        rate = np.diff(gradient)[i] / np.diff(knots)[i]
        return climbed[i] + u * (gradient[i] + 0.5 * rate * u), gradient[i] + rate * u

    def gradient_knots(self) -> tuple[Floats, Floats]:
        """The gradient as a broken line over chainage: (m,) places from 0 to the length, (m,) gradients.

        Each vertical curve lies half in each of its two grades, on a closed line the one at the seam as well.
        """
        lengths, g = self.fitted_grades()
        if not len(g):
            return np.array([0.0, self.length_mm]), np.zeros(2)
        half = max(self.vertical_curve_mm, 1e-6) / 2
        edge = np.concatenate([[0.0], np.cumsum(lengths)])
        begin, finish = edge[:-1] + half, edge[1:] - half
        seam = 0.5 * (g[0] + g[-1])
        first, last = (seam, seam) if self.closed else (g[0], g[-1])
        places = np.stack([begin, finish], axis=-1).ravel()
        levels = np.repeat(g, 2)
        if not self.closed:
            places, levels = places[1:-1], levels[1:-1]
        return np.concatenate([[0.0], places, [self.length_mm]]), np.concatenate([[first], levels, [last]])

    def fitted_grades(self) -> tuple[Floats, Floats]:
        """Lengths and gradients, as long together as the line; on a closed one the falls undo the climbs."""
        lengths = np.array([g.length_mm for g in self.grades])
        lengths = lengths * self.length_mm / lengths.sum() if len(lengths) else lengths
        g = np.array([g.gradient for g in self.grades])
        if np.any(lengths < self.vertical_curve_mm):
            raise ValueError(
                f"{self.name}: a grade must be longer than its vertical curve of {self.vertical_curve_mm:.0f} mm, "
                f"came {lengths.min():.0f} mm"
            )
        if self.closed and len(g):
            # half of each vertical curve lies in each of its grades: over the whole line they do not change the climb
            up, down = float(np.sum(lengths * np.maximum(g, 0))), float(-np.sum(lengths * np.minimum(g, 0)))
            if (up > 0) != (down > 0):
                raise ValueError(f"{self.name}: a closed line must both climb and fall, came one of them alone")
            g = np.where(g < 0, g * (up / down if down else 1.0), g)
        return lengths, g

    @property
    def elements(self) -> tuple[Element, ...]:
        """The design as elements of plan and profile; defects and roughness are not elements."""
        edge = np.concatenate([[0.0], np.cumsum([p.length_mm for p in self.pieces])])
        plan = [
            Element("plan", p.kind, float(a), float(b), p.curvature0_1_mm, p.curvature1_1_mm, turned_rad=p.turn_rad)
            for p, a, b in zip(self.pieces, edge[:-1], edge[1:], strict=True)
        ]
        knots, g = self.gradient_knots()
        profile = [
            Element("profile", _profile_kind(g0, g1), float(a), float(b), gradient0=float(g0), gradient1=float(g1))
            for a, b, g0, g1 in zip(knots[:-1], knots[1:], g[:-1], g[1:], strict=True)
            if b - a > 1e-3
        ]
        return (*plan, *profile)


def _profile_kind(g0: float, g1: float) -> Literal["grade", "vertical_curve"]:
    return "grade" if g0 == g1 else "vertical_curve"
