"""Layouts of the (made-up) Heather Vale Light Railway's people, drawn from a seed: oval, figure-eight, branch, garden.

Legend: R radius, L transition length, T tangent length of a rounded corner [mm] · delta turn at a corner [rad].
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths import clothoid
from wayrule.sim.design import Grade, Piece, straight, transition
from wayrule.sim.irregularity import KINK_LENGTH_GAUGES, Defect, Joints, Kind, Roughness
from wayrule.sim.laying import build
from wayrule.sim.railway import Railway

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Habit:
    """How track is laid in a scale: our choice within NEM 113 and 114, no source for defects.

    radius_mm, transition_mm   ranges
    cant_mm                    of the outer rail in curves with transitions (at most gauge / 15, NEM 114)
    defect_mm                  least size of dip and hump, of twist and one-rail dip, of a lateral bump
    side_mm                    typical straight
    """

    ratio: float
    gauge_mm: float
    radius_mm: tuple[float, float]
    transition_mm: tuple[float, float]
    cant_mm: float
    defect_mm: tuple[float, float, float]
    side_mm: tuple[float, float]
    joint_every_mm: float


HABITS: Final[dict[str, Habit]] = {
    "N": Habit(160.0, 9.0, (230.0, 420.0), (80.0, 140.0), 0.5, (0.35, 0.45, 0.6), (400.0, 1400.0), 111.0),
    "HO": Habit(87.0, 16.5, (420.0, 750.0), (150.0, 280.0), 0.8, (0.6, 0.8, 1.0), (700.0, 2500.0), 230.0),
    "G": Habit(22.5, 45.0, (1600.0, 3200.0), (500.0, 900.0), 2.4, (3.0, 3.5, 4.0), (2500.0, 8000.0), 600.0),
}


def round_corners(
    corners: Floats, radius_mm: Sequence[float], transition_mm: float, *, cant_mm: float = 0.0, closed: bool = True
) -> tuple[Piece, ...]:
    """A polygon with its corners rounded by transition, arc, transition; closes as the polygon does.

    Parameters
    ----------
    corners : (n, 2) in the order of travel; the line starts in the middle of the side that leads to the first corner
        (closed), or at the first point, ending at the last (open; those two are no corners)
    radius_mm : one for each corner
    transition_mm : length of each transition, 0 for none
    cant_mm : by how much the outer rail is raised in the arcs

    Raises
    ------
    ValueError   a side too short for its corners, naming it

    Notes
    -----
    T = (R + p) tan(delta / 2) + k, with shift p and k of the transition (surveying handbooks).
    """
    sides = np.roll(corners, -1, axis=0) - corners if closed else np.diff(corners, axis=0)
    length = np.hypot(*sides.T)
    heading = np.arctan2(sides[:, 1], sides[:, 0])
    turns = (heading - np.roll(heading, 1) if closed else np.diff(heading)) % (2 * math.pi)
    turns = np.where(turns > math.pi, turns - 2 * math.pi, turns)
    curves, tangents = [], []
    for turn, radius in zip(turns, radius_mm, strict=True):
        k = math.copysign(1 / radius, turn)
        high = -math.copysign(cant_mm, turn)
        p, along = clothoid.shift(radius, transition_mm) if transition_mm else (0.0, 0.0)
        tangents.append((radius + p) * math.tan(abs(turn) / 2) + along)
        inner = radius * abs(turn) - transition_mm
        if inner <= 0:
            raise ValueError(
                f"corner of {math.degrees(turn):.0f} deg is too slight for transitions of {transition_mm:.0f} mm"
            )
        curve = [Piece("arc", inner, k, k, high, high)]
        if transition_mm:
            curve.insert(0, transition(transition_mm, 0.0, k, cant1_mm=high))
            curve.append(transition(transition_mm, k, 0.0, cant0_mm=high))
        curves.append(curve)
    at = [*tangents, tangents[0]] if closed else [0.0, *tangents, 0.0]
    rest = length - np.array(at[:-1]) - np.array(at[1:])
    if np.any(rest <= 0):
        i = int(np.argmin(rest))
        raise ValueError(f"side {i} of {length[i]:.0f} mm is too short for its corners by {-rest[i]:.0f} mm")
    pieces = [] if closed else [straight(rest[0])]
    for curve, after in zip(curves, rest if closed else rest[1:], strict=True):
        pieces += [*curve, straight(after)]
    if closed:  # start in the middle of the last side
        pieces = [straight(rest[-1] / 2), *pieces[:-1], straight(rest[-1] / 2)]
    return tuple(pieces)


def random_defects(
    rng: np.random.Generator, habit: Habit, length_mm: float, count: int, *, closed: bool
) -> tuple[Defect, ...]:
    """Defects of all kinds in turn, well apart from each other (at least 14 gauges) and from an open line's ends."""
    kinds: tuple[Kind, ...] = ("kink", "dip", "twist", "lateral", "hump", "one_rail_dip")
    slot = length_mm / count if count else 0.0
    edge = 0.0 if closed else 30 * habit.gauge_mm
    out = []
    for i, kind in enumerate(np.roll(np.array(kinds), -int(rng.integers(len(kinds))))[np.arange(count) % len(kinds)]):
        free = max(0.0, slot - 14 * habit.gauge_mm)
        s = float(np.clip(slot * (i + 0.5) + free * rng.uniform(-0.5, 0.5), edge, length_mm - edge))
        sign = float(rng.choice([-1.0, 1.0]))
        more = float(rng.uniform(1.1, 1.7))
        level, twist, lateral = habit.defect_mm
        size, length = {
            "kink": (sign * 1.2, KINK_LENGTH_GAUGES),
            "dip": (level, 9.0),
            "hump": (level, 9.0),
            "twist": (sign * twist, 8.0),
            "one_rail_dip": (twist, 8.0),
            "lateral": (sign * lateral, 12.0),
        }[str(kind)]
        rail = ("left" if sign > 0 else "right") if kind == "one_rail_dip" else ""
        out.append(Defect(str(kind), s, size * more, length * habit.gauge_mm, rail))  # type: ignore[arg-type]
    return tuple(out)


def _lay(
    name: str,
    scale: str,
    pieces: Sequence[Piece],
    grades: Sequence[Grade],
    rng: np.random.Generator,
    *,
    closed: bool,
    defects: int,
    roughness: float,
) -> Railway:
    """Lay pieces with the habits of a scale."""
    habit = HABITS[scale]
    length = sum(p.length_mm for p in pieces)
    planted = random_defects(rng, habit, length, defects, closed=closed)
    joints = Joints(habit.joint_every_mm, 0.02 * habit.gauge_mm / 16.5, 0.5 * habit.gauge_mm)
    return build(
        name, pieces, scale=scale, ratio=habit.ratio, gauge_mm=habit.gauge_mm, closed=closed, grades=grades,
        vertical_curve_mm=18 * habit.gauge_mm, defects=planted, rng=rng,
        roughness=Roughness.of_gauge(habit.gauge_mm, factor=roughness) if roughness > 0 else None,
        joints=joints if roughness > 0 else None,
    )  # fmt: skip


def oval(
    rng: np.random.Generator,
    *,
    transitions: bool = True,
    defects: int = 0,
    roughness: float = 1.0,
    length_mm: float = 9000.0,
) -> Railway:
    """An HO oval of about 9 m: two half circles, one straight climbing, the other falling; cant with transitions.

    Parameters
    ----------
    transitions : False gives bare sectional track, without transitions and cant
    defects : how many to plant
    roughness : factor on `Roughness.of_gauge`; 0 gives the bare design, without joints too
    """
    radius = float(rng.uniform(430.0, 520.0))
    ease = float(rng.uniform(160.0, 240.0)) if transitions else 0.0
    k, cant = 1 / radius, -0.8 if transitions else 0.0
    bend = [Piece("arc", radius * math.pi - ease, k, k, cant, cant)]
    if transitions:
        bend = [transition(ease, 0.0, k, cant1_mm=cant), *bend, transition(ease, k, 0.0, cant0_mm=cant)]
    half = math.pi * radius + ease
    side = max(400.0, length_mm / 2 - half)
    pieces = [straight(side / 2), *bend, straight(side), *bend, straight(side / 2)]
    climb = float(rng.uniform(0.012, 0.022))
    rest = half - 0.2 * side
    grades = [
        Grade(side * 0.6, climb),
        Grade(rest, 0.0),
        Grade(side * 1.2, -climb),
        Grade(rest, 0.0),
        Grade(side * 0.6, climb),
    ]
    return _lay("Abigail's oval", "HO", pieces, grades, rng, closed=True, defects=defects, roughness=roughness)


def figure_eight(
    rng: np.random.Generator, *, scale: str = "HO", defects: int = 0, roughness: float = 1.0, size: float = 1.0
) -> Railway:
    """A figure-eight of about 25 m in HO that climbs over itself on a bridge; net turn 0.

    `size` scales the plan; the bridge always clears 4.3 gauges.
    """
    habit = HABITS[scale]
    unit = size * habit.gauge_mm / 16.5
    wide, high = rng.uniform(3950.0, 4200.0) * unit, rng.uniform(2400.0, 2600.0) * unit
    corners = np.array([[wide, -high], [wide, high], [-wide, -high], [-wide, high]])
    radii = (rng.uniform(700.0, 820.0, 4) * unit).tolist()
    pieces = round_corners(corners, radii, float(rng.uniform(0.9, 1.1) * 230.0 * unit), cant_mm=habit.cant_mm)
    length = sum(p.length_mm for p in pieces)
    clear = 4.5 * habit.gauge_mm
    # the line starts where it crosses itself, below; half a length on it comes back above
    flat, ramp = 0.06 * length, 0.30 * length
    level = 0.5 * length - 2 * flat - ramp
    grades = [
        Grade(flat, 0.0),
        Grade(ramp, clear / ramp),
        Grade(level + 2 * flat, 0.0),
        Grade(ramp, -clear / ramp),
        Grade(level + flat, 0.0),
    ]
    return _lay(
        "Bertrand's figure-eight", scale, pieces, grades, rng, closed=True, defects=defects, roughness=roughness
    )


def branch_n(rng: np.random.Generator, *, defects: int = 0, roughness: float = 1.0) -> Railway:
    """An open N branch of about 14 m with reverse curves and a summit."""
    return _branch("Cordelia's branch", "N", rng, turns=9, length_mm=14000.0, defects=defects, roughness=roughness)


def _branch(
    name: str, scale: str, rng: np.random.Generator, *, turns: int, length_mm: float, defects: int, roughness: float
) -> Railway:
    """An open line that wanders left and right, with grades up and down."""
    habit = HABITS[scale]
    ease = float(rng.uniform(*habit.transition_mm))
    pieces: list[Piece] = []
    sign = float(rng.choice([-1.0, 1.0]))
    for _ in range(turns):
        radius = float(rng.uniform(*habit.radius_mm))
        angle = math.radians(float(rng.uniform(30.0, 75.0)))
        k, high = sign / radius, -sign * habit.cant_mm
        inner = max(radius * angle - ease, 0.3 * ease)
        pieces += [
            straight(1.0),
            transition(ease, 0.0, k, cant1_mm=high),
            Piece("arc", inner, k, k, high, high),
            transition(ease, k, 0.0, cant0_mm=high),
        ]
        sign = -sign if rng.random() < 0.75 else sign
    pieces.append(straight(1.0))
    curved = sum(p.length_mm for p in pieces if p.kind != "straight")
    share = rng.uniform(0.5, 1.5, turns + 1)
    sides = iter(share / share.sum() * max(length_mm - curved, (turns + 1) * 12 * habit.gauge_mm))
    pieces = [straight(float(next(sides))) if p.kind == "straight" else p for p in pieces]
    return _lay(name, scale, pieces, _grades(rng, 6), rng, closed=False, defects=defects, roughness=roughness)


def _grades(rng: np.random.Generator, count: int) -> list[Grade]:
    """Grades of random length, level and sloping in turn; both signs occur."""
    slope = rng.uniform(0.008, 0.025, count) * np.where(np.arange(count) % 4 < 2, 1.0, -1.0) * (np.arange(count) % 2)
    return [Grade(float(a), float(g)) for a, g in zip(rng.uniform(0.7, 1.3, count), slope, strict=True)]


def garden_g(rng: np.random.Generator, *, defects: int = 0, roughness: float = 1.0) -> Railway:
    """A G garden loop of about 59 m round a pond: an L with one corner to the other side."""
    jitter = rng.uniform(-250.0, 250.0, (6, 2))
    plan = [[19400.0, 0.0], [19400.0, 6900.0], [10200.0, 6900.0], [10200.0, 13300.0], [0.0, 13300.0], [0.0, 0.0]]
    corners = np.array(plan) + jitter
    radii = rng.uniform(1900.0, 2500.0, 6).tolist()
    pieces = round_corners(corners, radii, float(rng.uniform(550.0, 700.0)), cant_mm=HABITS["G"].cant_mm)
    return _lay(
        "Desmond's garden line", "G", pieces, _grades(rng, 8), rng, closed=True, defects=defects, roughness=roughness
    )


def random_line(rng: np.random.Generator, scale: str = "HO", *, defects: int = 4, roughness: float = 1.0) -> Railway:
    """A line of any shape: oval-like, bent loop, figure-eight or open branch, with or without transitions.

    The draw is not tuned to anything: radii, sides, grades, cant and defects come from the scale's habits.
    """
    habit = HABITS[scale]
    kind = rng.choice(["loop", "loop", "eight", "branch"])
    if kind == "eight":
        size = float(rng.uniform(0.75, 1.0))
        return figure_eight(rng, scale=scale, defects=defects, roughness=roughness, size=size)
    if kind == "branch":
        turns = int(rng.integers(4, 10))
        length = 850.0 * habit.gauge_mm * turns / 9 * float(rng.uniform(0.8, 1.2))
        return _branch(
            "Edmund's siding", scale, rng, turns=turns, length_mm=length, defects=defects, roughness=roughness
        )
    for _ in range(200):
        corners = _ring(rng, habit, int(rng.integers(4, 8)))
        radii = rng.uniform(*habit.radius_mm, len(corners)).tolist()
        ease = float(rng.uniform(*habit.transition_mm)) if rng.random() < 0.75 else 0.0
        try:
            pieces = round_corners(corners, radii, ease, cant_mm=habit.cant_mm if ease else 0.0)
        except ValueError:
            continue
        return _lay(
            "Florence's loop", scale, pieces, _grades(rng, 8), rng, closed=True, defects=defects, roughness=roughness
        )
    raise ValueError(f"random_line: no loop fits the habits of {scale} in 200 draws")


def _ring(rng: np.random.Generator, habit: Habit, count: int) -> Floats:
    """Corners of a star-shaped polygon; some may turn the other way."""
    angle = 2 * math.pi * (np.arange(count) + rng.uniform(-0.25, 0.25, count)) / count
    away = rng.uniform(*habit.side_mm, count) / 2 + (1.5 + 0.25 * count) * np.mean(habit.radius_mm)
    return np.stack([away * np.cos(angle), away * np.sin(angle)], axis=-1)
