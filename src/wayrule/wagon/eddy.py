"""Currents in a floor while the axle turns: how far the angle lags, how much of the field is lost."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.model import FloorLayer
from wayrule.wagon.materials import of_layer
from wayrule.wagon.plates import passage


@dataclass(frozen=True, slots=True)
class Eddy:
    """What the floor's currents do at one speed, straight above the axle.

    speed_mm_s, axle_rad_s
    lag_rad        angle by which the field, and so the reading, lags behind the axle
    lag_mm         the same as travel
    delay_s        lag over rate of turn: while it is the same at all speeds, it only shifts the clock
    lost           share of the field that is lost beyond what is lost at rest
    """

    speed_mm_s: float
    axle_rad_s: float
    lag_rad: float
    lag_mm: float
    delay_s: float
    lost: float


def eddy(floor: Sequence[FloorLayer], height_mm: float, *, speed_mm_s: float, wheel_mm: float) -> Eddy:
    """Lag and loss for a dipole across the axle, seen straight above it.

    Parameters
    ----------
    height_mm : of the sensor above the axle's centre
    wheel_mm : diameter of the wheel

    Notes
    -----
    The field turns at the axle's rate w = v/r. Each wavenumber k is passed on with the factor of the plane sheet at w;
    up the axis a dipole's field is the integral of k2 e^{-kz} T(k, w), and its phase is the lag. Thin sheets lag by
    about mu0 s t v z/(4 r): T = 1/(1 + i w mu0 s t/(2k)) and 1/k is z/2 on the mean. Higher harmonics, and sensors to
    the side, are in `turns.fields_over_turn` with the same floor at speed.

    Examples
    --------
    >>> slow = eddy([FloorLayer("aluminium", 1.0, 4.0)], 12.5, speed_mm_s=300, wheel_mm=10.5)
    >>> round(math.degrees(slow.lag_rad), 2), slow.lost < 0.001
    (0.45, True)
    """
    rate = speed_mm_s / (wheel_mm / 2)
    moving, resting = passage(floor, height_mm, rate), passage(floor, height_mm)
    if moving is None or rate == 0.0:
        return Eddy(speed_mm_s, rate, 0.0, 0.0, 0.0, 0.0)
    first = moving.weight[min(1, len(moving.weight) - 1)]
    passed = np.sum(first * np.abs(moving.side * height_mm + moving.shift_mm) ** -3.0)
    still = height_mm**-3.0
    if resting is not None:
        still = float(np.sum(resting.weight[0].real * np.abs(resting.side * height_mm + resting.shift_mm) ** -3.0))
    lag = -float(np.angle(passed))
    return Eddy(speed_mm_s, rate, lag, lag * wheel_mm / 2, lag / rate, 1 - float(abs(passed)) / still)


def thin_lag_rad(conductivity_ms_m: float, thickness_mm: float, height_mm: float, axle_rad_s: float) -> float:
    """Lag behind a thin sheet by hand [rad]: mu0 s t w z / 4, for small lags.

    >>> round(math.degrees(thin_lag_rad(35.0, 1.0, 12.5, 300 / 5.25)), 2)
    0.45
    """
    return math.pi * 1e-7 * conductivity_ms_m * 1e6 * thickness_mm * 1e-3 * axle_rad_s * height_mm * 1e-3


def told(floor: Sequence[FloorLayer], height_mm: float, *, speed_mm_s: float, wheel_mm: float) -> tuple[str, ...]:
    """A sentence for each layer that is not magnetic: harmless at a stand, and what it does at speed.

    >>> told([FloorLayer("lead", 3.0, 4.0)], 12.5, speed_mm_s=300, wheel_mm=10.5)
    ('lead 3 mm: harmless at a stand; at 300 mm/s the reading lags by 0.017 mm',)
    """
    sentences = []
    for layer in floor:
        if of_layer(layer).permeability != 1.0:
            continue
        lag = eddy([layer], height_mm, speed_mm_s=speed_mm_s, wheel_mm=wheel_mm).lag_mm
        name = f"{layer.material or 'layer'} {layer.thickness_mm:g} mm: harmless at a stand"
        moving = f"at {speed_mm_s:g} mm/s the reading lags by {lag:.2g} mm" if lag else "and at speed"
        sentences.append(f"{name}{'; ' if lag else ' '}{moving}")
    return tuple(sentences)
