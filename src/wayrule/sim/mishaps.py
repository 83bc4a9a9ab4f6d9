"""What happens to a wagon besides rolling: knocks, a hand at a stop, a lift, a locked or sliding wheel, lost time.

Places are given by the path travelled since the start, as the plan alone would have it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from wayrule.sim.body import Pose
from wayrule.units import DEG, G_MM_S2

Floats = NDArray[np.float64]

RING_HZ: Final = 35.0
RING_S: Final = 0.02
"""A knock rings at this frequency and dies away by 1/e in this time. Our choice: a light body on short axles."""

HAND_KNOT_S: Final = 0.15
"""A hand changes its mind about this often. Our choice."""

BEFORE_HAND_S: Final = 0.5
"""A hand comes this long after the wagon stopped, and leaves it standing as long."""


@dataclass(frozen=True, slots=True)
class Slide:
    """A wheel that does not turn with the track: from `travelled_mm` on over `length_mm`.

    share   of the path that the wheel misses: 1 locked, 0.3 sliding, negative spinning
    """

    travelled_mm: float
    length_mm: float
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Knock:
    """A sharp jolt at a bad joint or by hand, about axes drawn by chance; peaks before the sensor's filter."""

    travelled_mm: float
    acc_g: float = 1.5
    gyro_dps: float = 60.0


@dataclass(frozen=True, slots=True)
class Hand:
    """A hand on the wagon while it stands.

    travelled_mm   at the first standstill from there on
    seconds        how long it holds on
    further_mm     how much further along the line the wagon stands afterwards (back: negative)
    lift_mm        how high it is lifted meanwhile; 0: it stays on the rails and its wheels roll
    tilt_deg       how far it is tilted and turned meanwhile, at most about
    """

    travelled_mm: float
    seconds: float = 2.0
    further_mm: float = 0.0
    lift_mm: float = 0.0
    tilt_deg: float = 3.0


@dataclass(frozen=True, slots=True)
class Gap:
    """The recorder writes nothing for `seconds` from `travelled_mm` on."""

    travelled_mm: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Lump:
    """Dirt on the tread of the sensed axle of a two-axle wagon, all through the run.

    height_mm   of the lump in its middle; patch_mm: how long it is along the tread
    side        +1: on the left wheel, -1: on the right one, 0: on both

    The way round the tread that it adds, some hundredths of a percent, is left out.
    """

    height_mm: float
    patch_mm: float = 4.0
    side: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A hand on the time grid: its window of sample numbers, and 0 to 1 to 0 over it."""

    hand: Hand
    first: int
    last: int

    def hold(self, n: int) -> Floats:
        """(n,) 0 before, up to 1 in the middle, 0 after."""
        out = np.zeros(n)
        out[self.first : self.last] = np.sin(np.linspace(0.0, math.pi, self.last - self.first)) ** 2
        return out


def holds(hands: Sequence[Hand], s: Floats, travelled_mm: Floats, dt: float) -> tuple[Held, ...]:
    """When each hand holds the wagon.

    Raises
    ------
    ValueError   a hand for which the wagon never stands long enough
    """
    standing = np.append(np.diff(s) == 0.0, True)
    out = []
    for hand in hands:
        need = round((hand.seconds + 2 * BEFORE_HAND_S) / dt)
        ends = np.flatnonzero(np.diff(np.concatenate(([0], standing.astype(np.int8), [0]))))
        for a, b in zip(ends[0::2], ends[1::2], strict=True):
            if b - a >= need and travelled_mm[a] >= hand.travelled_mm - 1e-6:
                first = int(a) + round(BEFORE_HAND_S / dt)
                out.append(Held(hand, first, first + round(hand.seconds / dt)))
                break
        else:
            raise ValueError(
                f"a hand of {hand.seconds:g} s at {hand.travelled_mm:g} mm needs a standstill of "
                f"{hand.seconds + 2 * BEFORE_HAND_S:g} s from there on, came none"
            )
    return tuple(out)


def moved(s: Floats, held: Sequence[Held]) -> Floats:
    """Chainage with what the hands moved; the same array where they moved nothing."""
    for one in (h for h in held if h.hand.further_mm):
        u = np.linspace(0.0, 1.0, one.last - one.first)
        gone = np.zeros(len(s))
        gone[one.first : one.last] = u**3 * (10 - 15 * u + 6 * u**2)
        gone[one.last :] = 1.0
        s = s + one.hand.further_mm * gone
    return s


def turning(travelled_mm: Floats, slides: Sequence[Slide], held: Sequence[Held]) -> Floats | None:
    """(n - 1,) share of each step that the wheel turns with; None where it always turns with all of it."""
    if not slides and not any(h.hand.lift_mm for h in held):
        return None
    out = np.ones(len(travelled_mm) - 1)
    for slide in slides:
        over = (travelled_mm[1:] > slide.travelled_mm) & (travelled_mm[1:] <= slide.travelled_mm + slide.length_mm)
        out[over] = 1.0 - slide.share
    for one in (h for h in held if h.hand.lift_mm):
        out[one.first : one.last] = 0.0
    return out


def rolled_over(lumps: Sequence[Lump], rolled_mm: Floats, circumference_mm: float) -> tuple[Floats, Floats]:
    """How far a lump lifts the left and the right wheel [mm], (n,) each; half a turn after the start it is below."""
    lift = np.zeros((2, len(rolled_mm)))
    for one in lumps:
        away = np.remainder(rolled_mm, circumference_mm) - circumference_mm / 2
        height = one.height_mm * np.where(
            np.abs(away) < one.patch_mm / 2, np.cos(math.pi * away / one.patch_mm) ** 2, 0.0
        )
        lift[0] += height * (one.side >= 0)
        lift[1] += height * (one.side <= 0)
    return lift[0], lift[1]


def lifted(pose: Pose, left_mm: Floats, right_mm: Floats, wheelbase_mm: float, gauge_mm: float, rear: bool) -> Pose:
    """The body whose sensed axle, rear or front, is lifted so far at its two wheels."""
    up = 0.5 * (left_mm + right_mm)
    return replace(
        pose,
        z_mm=pose.z_mm + (up if rear else 0.0),
        climb_rad=pose.climb_rad + (-up if rear else up) / wheelbase_mm,
        roll_rad=pose.roll_rad + 0.5 * (left_mm - right_mm) / gauge_mm,
    )


def handled(pose: Pose, held: Sequence[Held], dt: float, rng: np.random.Generator) -> Pose:
    """The body as the hands tilt, turn and lift it."""
    n = len(pose.x_mm)
    for one in held:
        hold = one.hold(n)
        span = (one.last - one.first) * dt
        knots = np.linspace(0.0, span, max(4, math.ceil(span / HAND_KNOT_S)))
        way = CubicSpline(knots, rng.uniform(-1.0, 1.0, (len(knots), 3)))
        tilt = np.zeros((n, 3))
        tilt[one.first : one.last] = way(np.linspace(0.0, span, one.last - one.first)) * one.hand.tilt_deg * DEG
        tilt *= hold[:, None]
        pose = replace(
            pose,
            z_mm=pose.z_mm + one.hand.lift_mm * hold,
            heading_rad=pose.heading_rad + tilt[:, 0],
            climb_rad=pose.climb_rad + tilt[:, 1],
            roll_rad=pose.roll_rad + tilt[:, 2],
        )
    return pose


def jolts(knocks: Sequence[Knock], travelled_mm: Floats, dt: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """What knocks add to rate [rad/s] and specific force [mm/s2] on the time grid, (n, 3) each."""
    n = len(travelled_mm)
    rate, force = np.zeros((n, 3)), np.zeros((n, 3))
    t = np.arange(math.ceil(8 * RING_S / dt)) * dt
    ring = np.exp(-t / RING_S) * np.sin(2 * math.pi * RING_HZ * t)
    ring /= np.abs(ring).max()
    for knock in knocks:
        first = int(np.searchsorted(travelled_mm, knock.travelled_mm))
        ways = rng.standard_normal((2, 3))
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        part = slice(first, min(first + len(ring), n))
        shape = ring[: part.stop - part.start, None]
        rate[part] += knock.gyro_dps * DEG * shape * ways[0]
        force[part] += knock.acc_g * G_MM_S2 * shape * ways[1]
    return rate, force


def written(rows: NDArray[np.intp], gaps: Sequence[Gap], travelled_mm: Floats, dt: float) -> NDArray[np.intp]:
    """Rows (numbers on the time grid) that are left when nothing is written in the gaps; first and last stay."""
    keep = np.ones(len(rows), dtype=bool)
    for gap in gaps:
        first = int(np.searchsorted(travelled_mm, gap.travelled_mm))
        keep &= (rows < first) | (rows > first + gap.seconds / dt)
    keep[[0, -1]] = True
    return rows[keep]
