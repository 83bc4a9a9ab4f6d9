"""An axle turned by itself, to calibrate its sensor: flicked, pushed or twisted by fingers; the truth is known."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from wayrule.model import Recording, Wagon
from wayrule.sim import wheel
from wayrule.sim.motion import smoothstep
from wayrule.wagon.magnets import turn_field
from wayrule.wagon.plates import passage

Floats = NDArray[np.float64]

TAU: Final = 2 * math.pi

FLICK_S: Final = 0.15
"""How long a finger pushes. Our choice."""

FRICTION_RAD_S2: Final = 1.5
"""Coulomb friction of a free axle: it slows by so much; with DRAG_1_S the speed falls by a third in 2 s. Our choice."""

DRAG_1_S: Final = 0.12


@dataclass(frozen=True, slots=True)
class Crooked:
    """How badly the magnets sit: shares of a disc's diameter, degrees, share of the strength.

    eccentric   sd of the pair's shift across the axle, forward and up; aside: along the axle
    tilt_deg    sd of the axle against the sensor's axes
    imbalance   sd of how much stronger the upper disc is
    """

    eccentric: float = 0.03
    aside: float = 0.05
    tilt_deg: float = 2.0
    imbalance: float = 0.04


def crooked_wheel(wagon: Wagon, rng: np.random.Generator, crooked: Crooked | None = None) -> wheel.WheelSpecimen:
    """A wheel whose magnets sit as badly as `crooked` says, behind the floor of the wagon file.

    Raises
    ------
    ValueError   a wagon without magnets or a place for the sensor
    """
    drawn = wheel.draw_wheel(wagon, rng, field=True)
    crooked = Crooked() if crooked is None else crooked
    assert wagon.magnets is not None
    assert wagon.sensor.place_mm is not None
    size = wagon.magnets.diameter_mm or 4.0
    forward, left, up, about_x, about_z, stronger = rng.standard_normal(6)
    field = turn_field(
        wagon.magnets,
        wagon.sensor.place_mm,
        offset_mm=(crooked.eccentric * size * forward, crooked.aside * size * left, crooked.eccentric * size * up),
        tilt_rad=(math.radians(crooked.tilt_deg) * about_x, math.radians(crooked.tilt_deg) * about_z),
        imbalance=crooked.imbalance * stronger,
        floor=passage(wagon.floor, wagon.sensor.place_mm[2], over_mm=wagon.sensor.place_mm[:2]),
    )
    return replace(drawn, field=field, delay_s=0.0)


def flicked(turns: float, rate_hz: float, rng: np.random.Generator, *, turns_s: float = 5.0) -> tuple[Floats, Floats]:
    """A free axle, flicked again and again until it has turned so often: time and axle angle (n,).

    Each flick reaches about `turns_s` and slows down by drag and friction; a finger stops it before the next.
    """
    dt, speeds, done = 1.0 / rate_hz, [np.zeros(round(0.5 * rate_hz))], 0.0
    while done < TAU * turns:
        top = TAU * turns_s * rng.uniform(0.8, 1.2)
        t = np.arange(0.0, 4.0, dt)
        slowing = (top + FRICTION_RAD_S2 / DRAG_1_S) * np.exp(-DRAG_1_S * t) - FRICTION_RAD_S2 / DRAG_1_S
        speed = np.maximum(slowing, 0.0) * smoothstep(t / FLICK_S) * smoothstep((4.0 - t) / FLICK_S)
        speeds += [speed, np.zeros(round(rng.uniform(0.2, 0.6) * rate_hz))]
        done += float(np.sum(speed)) * dt
    return _summed(np.concatenate(speeds), dt, rng)


def pushed(turns: float, rate_hz: float, rng: np.random.Generator, *, turns_s: float = 4.0) -> tuple[Floats, Floats]:
    """A wagon rolled forward by hand at an uneven speed: time and axle angle (n,)."""
    dt = 1.0 / rate_hz
    t = np.arange(0.0, turns / turns_s + 1.0, dt)
    knots = np.linspace(0.0, t[-1], max(4, int(t[-1] / 0.7)))
    speed = np.clip(1.0 + 0.05 * CubicSpline(knots, rng.standard_normal(len(knots)))(t), 0.3, None)
    speed *= smoothstep(t) * smoothstep(t[-1] - t)
    speed *= TAU * turns / (np.sum(speed) * dt)
    still = np.zeros(round(rate_hz))
    return _summed(np.concatenate([still, speed, still]), dt, rng)


def twisted(turns: float, rate_hz: float, rng: np.random.Generator, *, twist: float = 0.35) -> tuple[Floats, Floats]:
    """An axle twisted on by fingers, `twist` of a turn at a time, resting between: time and axle angle (n,)."""
    dt, speeds, done = 1.0 / rate_hz, [np.zeros(round(0.5 * rate_hz))], 0.0
    while done < TAU * turns:
        angle, seconds = TAU * twist * rng.uniform(0.8, 1.2), rng.uniform(0.15, 0.3)
        u = np.arange(0.0, 1.0, dt / seconds)
        speed = u**2 * (1 - u) ** 2
        speeds += [speed * angle / (np.sum(speed) * dt), np.zeros(round(rng.uniform(0.05, 0.15) * rate_hz))]
        done += angle
    return _summed(np.concatenate(speeds), dt, rng)


def wandering(
    seconds: float, rate_hz: float, rng: np.random.Generator, *, turns_s: float, turns_s2: float
) -> tuple[Floats, Floats]:
    """An axle that speeds up, slows down, stops and goes back as chance has it: time and axle angle (n,).

    Every half second or so it heads for another speed, up to `turns_s` either way or none, at up to `turns_s2`.
    """
    dt, speed, parts = 1.0 / rate_hz, 0.0, [np.zeros(round(0.5 * rate_hz))]
    left = round(seconds * rate_hz)
    while left > 0:
        wanted = 0.0 if rng.random() < 0.25 else TAU * turns_s * float(rng.uniform(-1.0, 1.0))
        hard = TAU * turns_s2 * float(rng.uniform(0.2, 1.0))
        n = max(1, math.ceil(abs(wanted - speed) / (hard * dt)))
        hold = round(float(rng.exponential(0.5)) * rate_hz)
        parts += [np.linspace(speed, wanted, n + 1)[1:], np.full(hold, wanted)]
        speed, left = wanted, left - n - hold
    n = max(1, math.ceil(abs(speed) / (TAU * turns_s2 * dt)))
    parts += [np.linspace(speed, 0.0, n + 1)[1:], np.zeros(round(0.5 * rate_hz))]
    return _summed(np.concatenate(parts), dt, rng)


def spin_recording(
    wagon: Wagon,
    specimen: wheel.WheelSpecimen,
    t_s: Floats,
    phi_rad: Floats,
    rng: np.random.Generator,
    *,
    name: str = "spin",
    strength: float = 1.0,
    temp_c: float | None = None,
) -> Recording:
    """What the sensor writes down while the axle turns and the wagon stands on the bench, headed as `north_rad` has it.

    Parameters
    ----------
    strength : of the magnets, over the specimen's
    temp_c : written beside it, where given
    """
    if specimen.field is None:
        raise ValueError(f"{wagon.name}: this wheel was drawn without magnets")
    warmed = replace(specimen, field=replace(specimen.field, field_mt=specimen.field.field_mt * strength))
    turn = np.broadcast_to(np.eye(3), (len(t_s), 3, 3))
    field = wheel.field_reading(wagon, warmed, phi_rad, turn, rng)
    return Recording(name, t_s, field, temp_c=None if temp_c is None else np.full(len(t_s), temp_c))


def _summed(speed_rad_s: Floats, dt: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    phi = np.concatenate([[0.0], np.cumsum(0.5 * dt * (speed_rad_s[1:] + speed_rad_s[:-1]))])
    return np.asarray(np.arange(len(phi)) * dt, dtype=float), np.asarray(float(rng.uniform(0.0, TAU)) + phi)
