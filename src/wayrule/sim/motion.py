"""How the wagon is driven: legs, stops, direction; and where it is at every instant.

Chainage here is the railway's own, of the body origin (rear axle or rear pivot), unwrapped over laps.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from wayrule.sim.mishaps import Gap, Hand, Knock, Lump, Slide

Floats = NDArray[np.float64]
WheelInput = Literal["field", "ticks", "speed", "distance", "none"]


@dataclass(frozen=True, slots=True)
class Leg:
    """Travel `distance_mm` along growing chainage (negative: back), at about `speed_mm_s`, then stand `stop_s`."""

    distance_mm: float
    speed_mm_s: float
    stop_s: float = 0.0


@dataclass(frozen=True, slots=True)
class RunPlan:
    """A run as it is meant to go.

    start_mm       chainage of the body origin at the start
    legs           in order
    turned         the wagon's front points against the railway's chainage
    rate_hz        rows per second as the recorder believes
    still_s        least and greatest standstill at the start and at the end [s]
    ramp_mm_s2     mean acceleration when starting and stopping
    unevenness     relative sd of the speed (a hand or an engine pulls)
    clock_ppm      the recorder's clock runs fast by so much
    jitter_s       sd of a row's stamp (cut at 0.4 of a period)
    lost           fraction of rows that are missing
    slides         locked or sliding wheel; knocks, hands, gaps, lumps: see `mishaps`
    marks          (path travelled since the start in mm, name)
    wheel          what the wheel sensor gives
    imu            False: a log without gyro and accelerometer
    bogie_play     "shared": both axles of a bogie lie at one side; "each": each wanders, the pivot lies midway
    axes           which body axis each sensor axis of the IMU points along, e.g. ("y", "-x", "z")
    """

    start_mm: float
    legs: tuple[Leg, ...]
    turned: bool = False
    rate_hz: float = 200.0
    still_s: tuple[float, float] = (3.0, 5.0)
    ramp_mm_s2: float = 120.0
    unevenness: float = 0.03
    clock_ppm: float = 25.0
    jitter_s: float = 0.0002
    lost: float = 0.0
    slides: tuple[Slide, ...] = ()
    knocks: tuple[Knock, ...] = ()
    hands: tuple[Hand, ...] = ()
    gaps: tuple[Gap, ...] = ()
    lumps: tuple[Lump, ...] = ()
    marks: tuple[tuple[float, str], ...] = ()
    wheel: WheelInput = "field"
    imu: bool = True
    bogie_play: Literal["shared", "each"] = "shared"
    axes: tuple[str, str, str] = ("x", "y", "z")


def smoothstep(u: Floats) -> Floats:
    """0 to 1 over 0 <= u <= 1, with zero slope and bend at both ends.

    >>> smoothstep(np.array([-1.0, 0.5, 2.0])).tolist()
    [0.0, 0.5, 1.0]
    """
    v = np.clip(u, 0.0, 1.0)
    return np.asarray(v**3 * (10 - 15 * v + 6 * v**2))


def _leg_speed(leg: Leg, ramp_mm_s2: float, unevenness: float, dt: float, rng: np.random.Generator) -> Floats:
    """Speed on the time grid; its trapezoidal sum is the leg's distance exactly."""
    distance = abs(leg.distance_mm)
    speed = min(leg.speed_mm_s, np.sqrt(distance * ramp_mm_s2))
    ramp_s = speed / ramp_mm_s2
    total_s = distance / speed + ramp_s
    t = np.arange(0.0, total_s + dt, dt)
    v = speed * smoothstep(t / ramp_s) * smoothstep((total_s - t) / ramp_s)
    if unevenness > 0:
        knots = np.linspace(0.0, total_s + dt, max(4, int(total_s / 0.7)))
        v = v * np.clip(1.0 + unevenness * CubicSpline(knots, rng.standard_normal(len(knots)))(t), 0.3, None)
    return np.asarray(v * leg.distance_mm / (np.sum(v) * dt))


def drive(plan: RunPlan, dt: float, rng: np.random.Generator) -> Floats:
    """Chainage of the body origin on a time grid of step dt [mm].

    Smooth to the second derivative: speed and acceleration are zero at either end of every leg.

    Raises
    ------
    ValueError   a leg of no length or no speed
    """
    still = rng.uniform(*plan.still_s, size=2)
    parts = [np.zeros(round(still[0] / dt) + 1)]
    for leg in plan.legs:
        if not (leg.distance_mm and leg.speed_mm_s > 0):
            raise ValueError(f"a leg needs a distance other than 0 and a speed above 0, came {leg}")
        parts.append(_leg_speed(leg, plan.ramp_mm_s2, plan.unevenness, dt, rng))
        parts.append(np.zeros(round(leg.stop_s / dt)))
    parts.append(np.zeros(round(still[1] / dt) + 1))
    v = np.concatenate(parts)
    return plan.start_mm + np.concatenate([[0.0], np.cumsum(0.5 * dt * (v[1:] + v[:-1]))])


def with_stop(
    before_mm: float, after_mm: float, speed_mm_s: float, *, start_mm: float = 0.0, stop_s: float = 5.0
) -> tuple[float, tuple[Leg, ...]]:
    """Start and legs of a run that stops on the way, long enough for a hand: `RunPlan(*with_stop(...), hands=...)`.

    >>> with_stop(6000.0, 2000.0, 220.0)[1][0]
    Leg(distance_mm=6000.0, speed_mm_s=220.0, stop_s=5.0)
    """
    return start_mm, (Leg(before_mm, speed_mm_s, stop_s), Leg(after_mm, speed_mm_s))


def laps(
    length_mm: float,
    count: int,
    speed_mm_s: float,
    *,
    start_mm: float = 0.0,
    backwards: bool = False,
    miss_mm: float = 0.0,
) -> tuple[float, tuple[Leg, ...]]:
    """Start and legs for whole laps of a closed line: `RunPlan(*laps(...))`; stops `miss_mm` too late.

    >>> laps(9000.0, 4, 200.0)
    (0.0, (Leg(distance_mm=36000.0, speed_mm_s=200.0, stop_s=0.0),))
    """
    sign = -1.0 if backwards else 1.0
    return start_mm, (Leg(sign * (count * length_mm + miss_mm), speed_mm_s),)
