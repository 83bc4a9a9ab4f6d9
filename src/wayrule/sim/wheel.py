"""The wheel and its sensor: how far it turns on a real track, and what the sensor writes down."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Wagon
from wayrule.sim.imu import steps
from wayrule.sim.railway import Railway
from wayrule.wagon.magnets import TurnField, turn_field
from wayrule.wagon.plates import passage

Floats = NDArray[np.float64]

SLIP_MM: Final = (0.2, 0.6)
"""Range from which a wagon's slip coefficient is drawn [mm]: on a curve of curvature k the wheel turns too little by
slip * |k| of the distance, net of the play; about 0.1 % at 400 mm radius for 0.4 mm. Our choice, no source."""

OUT_OF_ROUND_MM: Final = 0.02
"""Size of the once-per-turn error of the rolled distance [mm]. Our choice."""

EARTH_MT: Final = (0.0201, 0.0449)
"""Earth field at 50 N 10 E, horizontal and downward part [mT] (IGRF, epoch 2025)."""


@dataclass(frozen=True, slots=True, eq=False)
class WheelSpecimen:
    """One wheel with its sensor, as drawn.

    circumference_mm    true rolling circumference
    slip_mm             see SLIP_MM
    scale               true relative scale error of a speed or distance input
    phase_rad           of the out-of-round; start_rad: axle angle at the start of the run
    delay_s             of the field sensor
    field               field of the magnets over a turn, tilt, offsets and the resting floor included; None for others
    iron_mt             (3,) the wagon's own iron; gain (3, 3) sensor's scale and cross-axis
    north_rad           direction of magnetic (and true) north in the world
    """

    circumference_mm: float
    slip_mm: float
    scale: float
    phase_rad: float
    start_rad: float
    delay_s: float
    field: TurnField | None
    iron_mt: Floats
    gain: Floats
    north_rad: float


def draw_wheel(wagon: Wagon, rng: np.random.Generator, *, field: bool) -> WheelSpecimen:
    """Draw a wheel and sensor; the circumference from the caliper's diameter and its sd.

    Raises
    ------
    ValueError   a field sensor without magnets or place
    """
    wheel = wagon.wheel
    diameter = wheel.diameter_mm if wheel.diameter_mm is not None else wagon.gauge_mm * 10.5 / 16.5
    draws = rng.standard_normal(16)
    angles = rng.uniform(0.0, 2 * math.pi, 3)
    table = None
    if field:
        if wagon.magnets is None or wagon.sensor.place_mm is None:
            raise ValueError(f"{wagon.name}: a field sensor needs magnets and the sensor's place_mm")
        size = wagon.magnets.diameter_mm or 4.0
        table = turn_field(
            wagon.magnets,
            wagon.sensor.place_mm,
            offset_mm=(0.01 * size * draws[0], 0.02 * size * draws[1], 0.01 * size * draws[2]),
            tilt_rad=(0.01 * draws[3], 0.01 * draws[4]),
            imbalance=0.01 * draws[5],
            floor=passage(wagon.floor, wagon.sensor.place_mm[2], over_mm=wagon.sensor.place_mm[:2]),
        )
    gain = np.eye(3) + np.diag(0.01 * draws[6:9]) + 0.005 * (np.ones((3, 3)) - np.eye(3)) * draws[9]
    return WheelSpecimen(
        circumference_mm=math.pi * (diameter + (wheel.diameter_sd_mm or 0.0) * draws[10]),
        slip_mm=float(rng.uniform(*SLIP_MM)),
        scale=(wheel.scale_sd or 0.0) * draws[11],
        phase_rad=float(angles[0]),
        start_rad=float(angles[1]),
        delay_s=float(rng.uniform(0.001, 0.003)),
        field=table,
        iron_mt=0.10 * draws[12:15],
        gain=gain,
        north_rad=float(angles[2]),
    )


def put_down(wheel: WheelSpecimen, rng: np.random.Generator) -> WheelSpecimen:
    """The same wheel, put on the track anew: another axle angle."""
    return replace(wheel, start_rad=float(rng.uniform(0.0, 2 * math.pi)))


def sensed_axle_mm(wagon: Wagon, s_rear: Floats, s_front: Floats, facing: int) -> Floats:
    """Chainage of the axle that carries the wheel sensor, from those of the two supports.

    Raises
    ------
    ValueError   an axle number that the wagon does not have
    """
    half = wagon.bogie.wheelbase_mm / 2 if wagon.bogie else 0.0
    offsets = (half, -half) if half else (0.0,)
    axles = [s + facing * o for s in (s_front, s_rear) for o in offsets]
    which = {"front": 1, "rear": len(axles)}.get(str(wagon.wheel.axle), wagon.wheel.axle)
    if not isinstance(which, int) or not 1 <= which <= len(axles):
        raise ValueError(f"{wagon.name}: axle must be front, rear or 1 to {len(axles)}, came {wagon.wheel.axle!r}")
    return axles[which - 1]


def path_mm(railway: Railway, s_mm: Floats, *, slip_mm: float = 0.0, window_mm: float = 1.0) -> Floats:
    """Length along the track in space from chainage 0, less what slip loses in curves [mm]; (n,) -> (n,).

    The integral of (1 - slip |k|) sqrt(1 + g^2), k being the mean curvature over `window_mm`.
    """
    grid = np.linspace(0.0, railway.length_mm, round(railway.length_mm) + 1)
    rate = np.sqrt(1 + railway.gradient(grid) ** 2) * (1 - slip_mm * np.abs(railway.mean_curvature(grid, window_mm)))
    total = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(grid) * (rate[1:] + rate[:-1]))])
    laps = np.floor(s_mm / railway.length_mm) if railway.closed else np.zeros_like(s_mm)
    at = s_mm - laps * railway.length_mm
    i = np.clip((at / grid[1]).astype(np.intp), 0, len(grid) - 2)
    u = at - grid[i]
    # a cubic would only smooth below 1 mm: inside a cell the rate runs linearly
    return np.asarray(total[i] + u * (rate[i] + 0.5 * u * (rate[i + 1] - rate[i]) / grid[1]) + laps * total[-1])


def lock(rolled_mm: Floats, turning: Floats | None) -> Floats:
    """Take out of the rolled distance what passes while the wheel is locked, slides or hangs in the air.

    turning : (n - 1,) share of each step with which it turns; None: always 1
    """
    if turning is None:
        return rolled_mm
    return np.concatenate([rolled_mm[:1], rolled_mm[0] + np.cumsum(np.diff(rolled_mm) * turning)])


def axle_angle_rad(wheel: WheelSpecimen, rolled_mm: Floats) -> Floats:
    """Axle angle for a rolled distance: rolled = C/2pi (phi - phi0) + e (sin(phi + p) - sin(phi0 + p)) [rad]."""
    per_rad = wheel.circumference_mm / (2 * math.pi)
    begin = math.sin(wheel.start_rad + wheel.phase_rad)
    phi = wheel.start_rad + rolled_mm / per_rad
    for _ in range(3):  # each step leaves e / radius, about 0.4 %, of the error
        wobble = OUT_OF_ROUND_MM * (np.sin(phi + wheel.phase_rad) - begin)
        phi = wheel.start_rad + (rolled_mm - wobble) / per_rad
    return phi


def field_reading(
    wagon: Wagon, wheel: WheelSpecimen, phi_rad: Floats, turn: Floats, rng: np.random.Generator
) -> Floats:
    """Field that the sensor writes down (n, 3) [mT].

    Parameters
    ----------
    phi_rad : (n,) axle angle
    turn : (n, 3, 3) body -> world, for the Earth field
    """
    if wheel.field is None:
        raise ValueError(f"{wagon.name}: this wheel was drawn without magnets")
    level, down = EARTH_MT
    earth = np.array([level * math.cos(wheel.north_rad), level * math.sin(wheel.north_rad), -down])
    field = wheel.field.at(phi_rad) + np.einsum("nji,j->ni", turn, earth) + wheel.iron_mt
    field = field @ wheel.gain.T
    sensor = wagon.sensor
    field += rng.standard_normal(field.shape) * (sensor.noise_mt or 0.0)
    return steps(field, sensor.range_mt, sensor.bits) if sensor.range_mt and sensor.bits else field
