"""How well a run lets its field's harmonics be learnt: from noise, turns and the way the wagon starts and stops."""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from wayrule.maths.counting import LEAST_TURNS, ORDERS, STANDS_OUT
from wayrule.maths.harmonics import leaked
from wayrule.model.arrays import Array

A_TURN: Final = 32.0
"""Readings a turn in the reckoned pull at most: more of them do not change what its jerks leak."""

MOST_TURNS: Final = 180.0
"""Longer pulls are reckoned as this one: their starts weigh even less."""

PHASES: Final = 4
"""Axle angles at the start over which a leak is averaged."""

CREEPING: Final = 0.1
"""Below this share of the usual speed the decoding learns nothing."""


@dataclass(frozen=True, slots=True)
class Pull:
    """The run that a distance is taken from.

    way_mm            between the two places
    speed_mm_s        of the wagon
    heading_rad       by which the line turns on that way: a straight has 0, once round 2 pi
    level_earth_mt    Earth's field along the level
    out_of_round_mm   amplitude of the once-a-turn error of the wheel's rolling; 0.02 is our choice, no source
    ramp_mm_s2        mean acceleration when starting and stopping; 120 is a quarter of a metre a second in two seconds
    """

    way_mm: float = 1000.0
    speed_mm_s: float = 250.0
    heading_rad: float = 2 * math.pi
    level_earth_mt: float = 0.0201
    out_of_round_mm: float = 0.02
    ramp_mm_s2: float = 120.0


@dataclass(frozen=True, slots=True, eq=False)
class Learning:
    """What a run lets be learnt of the harmonics.

    told_rad    (n,) amplitude above which one is taken out; infinite where nothing is learnt
    fit_rad     (n,) rms over a turn that the noise of the fit itself leaves
    leak_rad    (K,) amplitude that each harmonic's fit takes from the jerks of the motion
    """

    told_rad: Array
    fit_rad: Array
    leak_rad: Array


def learning(seen_rad: Array, pull: Pull, rate_hz: float | None, wheel_mm: float) -> Learning:
    """From the rms of a reading about smooth motion, noise alone: (n,) [rad].

    >>> found = learning(np.array([0.01]), Pull(), 200.0, 10.5)
    >>> bool(0.0055 < found.told_rad[0] < 0.0065)  # three times 0.01 over the root of 30 turns, and a little
    True
    """
    turns = pull.way_mm / (math.pi * wheel_mm)
    if turns < LEAST_TURNS:
        return Learning(np.full_like(seen_rad, np.inf), np.zeros_like(seen_rad), np.zeros(ORDERS))
    rate = rate_hz or A_TURN * pull.speed_mm_s / (math.pi * wheel_mm)
    readings = pull.way_mm / pull.speed_mm_s * rate
    jerks, leak = _jerks(pull.way_mm, pull.speed_mm_s, pull.ramp_mm_s2, rate, wheel_mm)
    told = STANDS_OUT * np.hypot(seen_rad, jerks) / math.sqrt(turns)
    return Learning(told, seen_rad * math.sqrt(4 / readings), np.array(leak))


@lru_cache(maxsize=256)
def _jerks(
    way_mm: float, speed_mm_s: float, ramp_mm_s2: float, rate_hz: float, wheel_mm: float
) -> tuple[float, tuple[float, ...]]:
    """Rms [rad] that starting and stopping leave about smooth motion, and what each harmonic takes from them.

    The pull is even but for its two ends, where the speed rises and falls along 10 u3 - 15 u4 + 6 u5.
    """
    around = math.pi * wheel_mm
    way = min(way_mm, MOST_TURNS * around)
    speed = min(speed_mm_s, math.sqrt(way * ramp_mm_s2))
    rise = speed / ramp_mm_s2
    step = max(1 / rate_hz, around / speed / A_TURN)
    t = np.arange(0.0, way / speed + rise + step, step)
    v = speed * _eased(t / rise) * _eased((way / speed + rise - t) / rise)
    turned = np.cumsum(v) * (way / np.sum(v)) * 2 / wheel_mm
    steady = v > CREEPING * float(np.median(v[v > 0]))
    found = [leaked(t, turned + 2 * math.pi * k / PHASES, steady) for k in range(PHASES)]
    known = [one for one in found if one is not None]
    if not known:
        return 0.0, (0.0,) * ORDERS
    residual = math.sqrt(sum(one.residual_rad**2 for one in known) / len(known))
    leak = np.sqrt(np.mean([one.amplitude_rad**2 for one in known], axis=0))
    return residual, tuple(float(one) for one in leak)


def _eased(u: Array) -> Array:
    """0 to 1 over 0 <= u <= 1, with no slope or bend at either end."""
    v = np.clip(u, 0.0, 1.0)
    return np.asarray(v**3 * (10 - 15 * v + 6 * v**2))
