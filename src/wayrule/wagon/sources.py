"""What magnets there are on an axle, each with its place and the way it is magnetised; and the errors of a build.

Turning frame: origin at the axle's centre, fixed to the axle, equal to the wagon's (x forward, y left along the axle,
z up) at axle angle 0; the axle angle turns it about +y, z towards x.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from wayrule.model import Magnets
from wayrule.model.arrays import Array, frozen
from wayrule.wagon.grades import remanence_mt

Shape = Literal["disc", "ring", "block"]
SIZES: Final[dict[Shape, int]] = {"disc": 2, "ring": 3, "block": 3}

ALONG_AXLE: Final = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Own axes -> turning frame for a ring on the axle: its axis (own z) along y, its own y down."""


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """One homogeneously magnetised body.

    shape            "disc" or "ring" (own z is the axis), "block"
    size_mm          disc: diameter, thickness · ring: diameter, hole, thickness · block: along own x, y, z
    polarisation_mt  (3,) in own axes: remanence times the direction of magnetisation
    place_mm         (3,) of its middle, in the turning frame
    rotation         (3, 3) own axes -> turning frame
    """

    shape: Shape
    size_mm: tuple[float, ...]
    polarisation_mt: Array
    place_mm: Array
    rotation: Array

    def __post_init__(self) -> None:
        for name, shape in (("polarisation_mt", (3,)), ("place_mm", (3,)), ("rotation", (3, 3))):
            frozen(self, name, shape)
        if len(self.size_mm) != SIZES[self.shape] or min(self.size_mm) <= 0:
            raise ValueError(
                f"Source: expected {SIZES[self.shape]} sizes above 0 for a {self.shape}, came {self.size_mm}"
            )
        if self.shape == "ring" and self.size_mm[1] >= self.size_mm[0]:
            raise ValueError(
                f"Source: expected a hole below the diameter {self.size_mm[0]:g}, came {self.size_mm[1]:g}"
            )

    @property
    def volume_mm3(self) -> float:
        """Volume [mm3]."""
        if self.shape == "block":
            return math.prod(self.size_mm)
        hole = self.size_mm[1] if self.shape == "ring" else 0.0
        return math.pi / 4 * (self.size_mm[0] ** 2 - hole**2) * self.size_mm[-1]

    @property
    def moment_mt_mm3(self) -> Array:
        """(3,) polarisation times volume, in the turning frame [mT mm3]; over mu0 it is the dipole moment."""
        return np.asarray(self.rotation @ self.polarisation_mt * self.volume_mm3)


@dataclass(frozen=True, slots=True, eq=False)
class Build:
    """Errors of n wagons that were meant to be alike, with m magnets each; all zero is the drawing.

    strength      (n, m)    relative: polarisation is (1 + strength) times the drawing's
    turned_rad    (n, m)    each magnet turned about the axle's line, with its flat (flats not opposite)
    shift_mm      (n, m, 3) each magnet shifted, in the turning frame (depth, eccentric discs)
    axle_rad      (n, 2)    axle tilted about the wagon's x, then about z
    sensor_mm     (n, 3)    sensor off its place, in the wagon's axes
    sensor_rad    (n, 3)    sensor turned: small angles about its x, y, z
    """

    strength: Array
    turned_rad: Array
    shift_mm: Array
    axle_rad: Array
    sensor_mm: Array
    sensor_rad: Array

    def __post_init__(self) -> None:
        n, m = self.strength.shape
        for name, shape in (
            ("strength", (n, m)),
            ("turned_rad", (n, m)),
            ("shift_mm", (n, m, 3)),
            ("axle_rad", (n, 2)),
            ("sensor_mm", (n, 3)),
            ("sensor_rad", (n, 3)),
        ):
            frozen(self, name, shape)

    def __len__(self) -> int:
        return len(self.strength)


def as_drawn(wagons: int, magnets: int) -> Build:
    """Wagons without build errors; give the fields that differ to `dataclasses.replace`.

    >>> len(as_drawn(5, 2))
    5
    """
    zeros = np.zeros
    return Build(
        zeros((wagons, magnets)),
        zeros((wagons, magnets)),
        zeros((wagons, magnets, 3)),
        zeros((wagons, 2)),
        zeros((wagons, 3)),
        zeros((wagons, 3)),
    )


def sources_of(magnets: Magnets, *, remanence: float | None = None) -> tuple[Source, ...]:
    """The bodies that a wagon file's `[magnets]` stands for.

    Parameters
    ----------
    magnets : disc_pair: two discs on opposite flats, magnetised the same way through the axle · single: the upper one
        alone · ring: round the axle · block: on one flat, its length forward, its width along the axle, its thickness
        up; magnetised along `magnetisation`, upwards where that is left out
    remanence : [mT]; the middle of the grade's range where it is left out

    Raises
    ------
    ValueError   a missing size, an unknown grade, or a magnetisation that does not turn

    Examples
    --------
    >>> upper, lower = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> upper.place_mm.tolist(), float(lower.place_mm[2]), upper.moment_mt_mm3.round().tolist()
    ([0.0, 0.0, 1.2], -1.2, [0.0, 0.0, 16336.0])
    """
    strength = sum(remanence_mt(magnets)) / 2 if remanence is None else remanence
    way = np.array([0.0, 0.0, 1.0] if magnets.magnetisation is None else magnets.magnetisation)
    polarised = strength * way / np.linalg.norm(way)
    if magnets.kind == "ring":
        return (_ring(magnets, polarised),)
    up = np.array([0.0, 0.0, 1.0])
    if magnets.kind == "block":
        length, width, thickness, flat = _sizes(magnets, "length_mm", "width_mm", "thickness_mm", "flat_radius_mm")
        return (Source("block", (length, width, thickness), polarised, (flat + thickness / 2) * up, np.eye(3)),)
    diameter, thickness, flat = _sizes(magnets, "diameter_mm", "thickness_mm", "flat_radius_mm")
    sides = (1.0, -1.0) if magnets.kind == "disc_pair" else (1.0,)
    middle = (flat + thickness / 2) * up
    return tuple(Source("disc", (diameter, thickness), polarised, side * middle, np.eye(3)) for side in sides)


def reach_mm(sources: tuple[Source, ...]) -> float:
    """Radius of the ball about the axle's centre that holds all of them [mm].

    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> round(reach_mm(pair), 3)
    2.625
    """
    return max(float(np.max(np.linalg.norm(_outline(source), axis=1))) for source in sources)


def swept_mm(sources: tuple[Source, ...]) -> tuple[float, float]:
    """What they sweep: radius about the axle's line, and greatest distance to either side along it [mm].

    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> [round(size, 3) for size in swept_mm(pair)]
    [2.625, 2.0]
    """
    outline = np.concatenate([_outline(source) for source in sources])
    return float(np.max(np.hypot(outline[:, 0], outline[:, 2]))), float(np.max(np.abs(outline[:, 1])))


def _outline(source: Source) -> Array:
    """Corners of a block, rims of a disc or ring, in the turning frame: (k, 3)."""
    if source.shape == "block":
        own = np.stack(np.meshgrid(*((-size / 2, size / 2) for size in source.size_mm), indexing="ij"), -1).reshape(
            -1, 3
        )
    else:
        round_it = np.linspace(0.0, 2 * math.pi, 360, endpoint=False)
        radius, half = source.size_mm[0] / 2, source.size_mm[-1] / 2
        rim = np.stack([radius * np.cos(round_it), radius * np.sin(round_it), np.full_like(round_it, half)], -1)
        own = np.concatenate([rim, rim * [1.0, 1.0, -1.0]])
    return np.asarray(source.place_mm + own @ source.rotation.T)


def _ring(magnets: Magnets, polarised: Array) -> Source:
    diameter, hole, thickness = _sizes(magnets, "diameter_mm", "hole_mm", "thickness_mm")
    if not (polarised[0] or polarised[2]):
        raise ValueError(
            "magnets: expected a ring on the axle to be magnetised across it (magnetised along the axle it looks the "
            f"same at every angle), came magnetisation = {magnets.magnetisation}"
        )
    return Source("ring", (diameter, hole, thickness), ALONG_AXLE.T @ polarised, np.zeros(3), ALONG_AXLE)


def _sizes(magnets: Magnets, *names: str) -> tuple[float, ...]:
    sizes = {name: getattr(magnets, name) for name in names}
    missing = [name for name, value in sizes.items() if value is None]
    if missing:
        raise ValueError(
            f"magnets: expected {', '.join(names)} for a {magnets.kind}, came one of them missing: {', '.join(missing)}"
        )
    return tuple(sizes.values())
