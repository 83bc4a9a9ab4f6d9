"""Fields at the sensor that are not the axle's: Earth, iron, motors, other magnets; and contacts that the axle trips.

What matters is the field across the turning one: over the signal (the smaller half axis of the ellipse) it is the error
of the angle, once a turn.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from wayrule.model import Disturber
from wayrule.model.arrays import Array
from wayrule.wagon.fields import field_mt
from wayrule.wagon.sources import Source

Triple = tuple[float, float, float]

MT_MM3_OF_MA_M2: Final = 4e-7 * math.pi * 1e-3 * 1e12
"""A moment of 1 mA m2 in mT mm3: mu0 times it is 1.2566e-9 T m3."""

REED_MT: Final = (1.0, 3.0)
"""Field along a reed contact at which it closes: sensitive and usual ones (10 to 30 ampere turns in a test coil some
10 mm long: mu0 NI/l = 1.3 to 3.8 mT, rounded; common practice, no source)."""

FADES_TO: Final = 3.0
"""Polarisation of a ball of iron over the field (1/N = 3); a rod lying along the field has more."""


@dataclass(frozen=True, slots=True)
class Place:
    """Earth's field at a place, mT: level (towards magnetic north) and down."""

    name: str
    level_mt: float
    down_mt: float


EARTH: Final = (
    Place("0 N 0 E", 0.02752, -0.01600),
    Place("40 N 100 W", 0.02045, 0.04758),
    Place("50 N 10 E", 0.02011, 0.04486),
    Place("52 N 0 E", 0.01928, 0.04527),
    Place("60 N 20 E", 0.01493, 0.04992),
    Place("35 N 139 E", 0.03074, 0.03508),
    Place("34 S 151 E", 0.02455, -0.05155),
    Place("25 S 55 W", 0.01828, -0.01261),
)
"""Level and downward part by place (IGRF, epoch 2025-01-01, height 0)."""

STRONGEST_EARTH_MT: Final = 0.067
"""Greatest on Earth (IGRF 2025)."""


@dataclass(frozen=True, slots=True)
class Disturbance:
    """One foreign field at the sensor.

    name
    field_mt    (3,) its greatest: forward, left, up; for what turns or passes, of its worst moment
    changes     "heading": turns as the wagon turns · "steady": as the wagon · "passes": comes and goes ·
                "turns": turns at nearly the axle's own rate, at any angle to it
    how         in words: where the number comes from
    """

    name: str
    field_mt: Triple
    changes: Literal["heading", "steady", "passes", "turns"]
    how: str

    @property
    def size_mt(self) -> float:
        """Its size [mT]."""
        return math.hypot(*self.field_mt)

    def angle_rad(self, signal_mt: float) -> float:
        """Greatest error of the axle angle beside a signal [rad], before an ellipse takes its steady part."""
        return math.asin(min(1.0, self.size_mt / signal_mt))


def dipole_mt(moment_mt_mm3: Array, gap_mm: Array) -> Array:
    """Field of a dipole: B = (3 (m.r) r/r2 - m)/(4 pi r3), moment as polarisation times volume: (..., 3) [mT].

    >>> dipole_mt(np.array([0.0, 0.0, 4000 * math.pi]), np.array([0.0, 0.0, 10.0])).round(6).tolist()
    [0.0, 0.0, 2.0]
    """
    r = np.linalg.norm(gap_mm, axis=-1, keepdims=True)
    unit = gap_mm / r
    along = np.sum(moment_mt_mm3 * unit, axis=-1, keepdims=True)
    return np.asarray((3 * along * unit - moment_mt_mm3) / (4 * math.pi * r**3))


def earth_mt(place: Place, heading_rad: Array) -> Array:
    """Earth's field in a level wagon's axes: (n,) heading from magnetic north, left > 0 -> (n, 3) [mT].

    >>> earth_mt(EARTH[2], np.array([math.pi / 2])).round(4).tolist()  # heading west: north is to the right
    [[0.0, -0.0201, -0.0449]]
    """
    return np.stack(
        [
            place.level_mt * np.cos(heading_rad),
            -place.level_mt * np.sin(heading_rad),
            np.full_like(heading_rad, -place.down_mt),
        ],
        axis=-1,
    )


def earth(place: Place) -> Disturbance:
    """Earth's field: the level part goes round with the heading, the downward part stays (on a level line)."""
    return Disturbance("Earth", (place.level_mt, 0.0, -place.down_mt), "heading", f"IGRF 2025 at {place.name}")


def disturbance(item: Disturber, sensor_mm: Triple, sources: Sequence[Source]) -> Disturbance:
    """What a disturber of the wagon file does at the sensor, at its worst.

    Parameters
    ----------
    sensor_mm : from the axle's centre: forward, left, up
    sources : the axle's own magnets; another axle has the same

    Raises
    ------
    ValueError   a disturber in the sensor, or one that does not say how strong it is

    Notes
    -----
    A motor counts as its bare magnet or stated moment: its iron keeps most inside, so this is the most it can be.
    Without a direction the worst one is taken. Iron is polarised by the strongest field of Earth and by the axle's
    magnets, 3 times the field as a ball; a long piece that lies along the field can have more.

    Examples
    --------
    >>> motor = Disturber("motor", (120.0, 0.0, 10.0), moment_ma_m2=500.0)
    >>> round(disturbance(motor, (0.0, 0.0, 12.5), ()).size_mt, 3)
    0.058
    """
    gap = np.asarray(sensor_mm) - np.asarray(item.place_mm)
    away = float(np.linalg.norm(gap))
    if away == 0.0:
        raise ValueError(f"disturber {item.kind}: expected a place away from the sensor, came {list(item.place_mm)}")
    if item.kind in ("axle", "iron") and not any(item.place_mm):
        raise ValueError(f"disturber {item.kind}: expected a place away from the axle, came {list(item.place_mm)}")
    if item.kind == "axle":
        moment = sum((source.moment_mt_mm3 for source in sources), np.zeros(3))
        worst = _worst(float(np.linalg.norm(moment)), item.direction, gap)
        return Disturbance("second magnet axle", worst, "turns", f"the same magnets {away:.0f} mm away, as a dipole")
    if item.kind == "iron":
        return _iron(item, gap, sources)
    moment_size, how = _moment(item)
    name = {"motor": "locomotive's motor", "uncoupler": "uncoupling magnet"}[item.kind]
    return Disturbance(name, _worst(moment_size, item.direction, gap), "passes", f"{how}, {away:.0f} mm away")


def other_axle_steel(
    sources: Sequence[Source], sensor_mm: Triple, *, away_mm: float, axle_mm: float, length_mm: float
) -> Disturbance:
    """A steel axle `away_mm` along the wagon, magnetised by Earth and by this axle's magnets.

    Notes
    -----
    A rod across a field takes the polarisation 2 B; along it, B over its demagnetising factor (slender ellipsoid:
    Osborn, Phys. Rev. 67 (1945) 351). It turns with its wheels but is round, so what it has does not turn.
    """
    slender = length_mm / axle_mm
    along = slender**2 / max(math.log(2 * slender) - 1, 0.3)
    volume = math.pi / 4 * axle_mm**2 * length_mm
    axle = np.array([away_mm, 0.0, 0.0])
    lit = np.full(3, STRONGEST_EARTH_MT) / math.sqrt(3)
    if sources:
        lit = lit + np.abs(dipole_mt(np.full(3, _strength(sources) / math.sqrt(3)), axle))
    moment = volume * lit * [2.0, min(along, 100.0), 2.0]
    worst = _worst(float(np.linalg.norm(moment)), None, np.asarray(sensor_mm) - axle)
    return Disturbance(
        "other axle's steel", worst, "heading", f"rod {axle_mm:g} x {length_mm:g} mm, {away_mm:g} mm away"
    )


@dataclass(frozen=True, slots=True)
class Reed:
    """Whether the axle closes reed contacts in the track.

    field_mt   greatest field along the contact over a turn
    trips      "surely", "perhaps", "no": above the usual, between, below the sensitive contact's
    """

    field_mt: float
    trips: Literal["surely", "perhaps", "no"]


def reed(sources: tuple[Source, ...], *, wheel_mm: float, below_rail_mm: float = 2.0, aside_mm: float = 0.0) -> Reed:
    """The field at a contact under the axle, along the track or across it, whichever is greater.

    Parameters
    ----------
    below_rail_mm : of the contact's middle below rail top
    aside_mm : of the contact from the track's middle

    Examples
    --------
    >>> from wayrule.model import Magnets
    >>> from wayrule.wagon.sources import sources_of
    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> reed(pair, wheel_mm=10.5).trips
    'surely'
    """
    depth = wheel_mm / 2 + below_rail_mm
    phi = np.linspace(0.0, 2 * math.pi, 72, endpoint=False)
    c, s = np.cos(phi), np.sin(phi)
    x, z = np.zeros_like(phi), np.full_like(phi, -depth)
    seen = field_mt(sources, np.stack([c * x - s * z, np.full_like(phi, aside_mm), s * x + c * z], axis=-1))
    level = np.stack([c * seen[:, 0] + s * seen[:, 2], seen[:, 1]])
    worst = float(np.max(np.abs(level)))
    low, usual = REED_MT
    return Reed(worst, "surely" if worst > usual else "perhaps" if worst > low else "no")


def _moment(item: Disturber) -> tuple[float, str]:
    """Moment [mT mm3] and where it comes from."""
    if item.moment_ma_m2 is not None:
        return item.moment_ma_m2 * MT_MM3_OF_MA_M2, f"moment {item.moment_ma_m2:g} mA m2"
    if item.remanence_mt is None or (item.size_mm is None and (item.diameter_mm is None or item.length_mm is None)):
        raise ValueError(
            f"disturber {item.kind}: expected moment_ma_m2, or remanence_mt with size_mm or diameter_mm and length_mm, "
            "came none"
        )
    if item.size_mm is not None:
        volume = math.prod(item.size_mm)
    else:
        volume = math.pi / 4 * (item.diameter_mm or 0.0) ** 2 * (item.length_mm or 0.0)
    return item.remanence_mt[1] * volume, f"bare magnet of {volume:.0f} mm3 and {item.remanence_mt[1]:g} mT"


def _worst(moment_size: float, direction: Triple | None, gap: Array) -> Triple:
    """Field of a dipole with a direction; without one, pointing at the sensor, where it is strongest."""
    way = gap if direction is None else np.asarray(direction, dtype=float)
    field = dipole_mt(moment_size * way / np.linalg.norm(way), gap)
    return float(field[0]), float(field[1]), float(field[2])


def _strength(sources: Sequence[Source]) -> float:
    return float(np.linalg.norm(sum((source.moment_mt_mm3 for source in sources), np.zeros(3))))


def _iron(item: Disturber, gap: Array, sources: Sequence[Source]) -> Disturbance:
    if item.size_mm is None:
        raise ValueError("disturber iron: expected size_mm, came none")
    own = 2 * _strength(sources) / (4 * math.pi * float(np.linalg.norm(item.place_mm)) ** 3) if sources else 0.0
    moment = FADES_TO * math.prod(item.size_mm) * (STRONGEST_EARTH_MT + own)
    how = f"{math.prod(item.size_mm):.0f} mm3 in Earth's field and {own:.2g} mT of the axle's magnets"
    return Disturbance(
        "wagon's own iron", _worst(moment, None, gap), "heading" if own < STRONGEST_EARTH_MT else "turns", how
    )
