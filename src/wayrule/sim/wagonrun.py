"""A wagon pulled along a railway: from a seed to the recording it writes, and to the truth behind it."""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from wayrule.model import Mark, Recording, Wagon
from wayrule.sim import body, imu, mishaps, wheel
from wayrule.sim.motion import RunPlan, drive
from wayrule.sim.railway import Railway
from wayrule.sim.wagons import flange_play_mm
from wayrule.units import EARTH_RATE_RAD_S

Floats = NDArray[np.float64]

FINE_HZ: Final = 800.0
"""Least rate of the grid on which motion is differentiated: 0.4 mm at 300 mm/s, a tenth of the shortest feature."""

GRAVITY_MM_S2: Final = 9811.0
"""Gravity at 50 degrees north [mm/s2] (normal gravity 9.8107 m/s2, GRS 80)."""

LATITUDE_RAD: Final = math.radians(50.0)


@dataclass(frozen=True, slots=True, eq=False)
class Specimen:
    """The wagon as it really is; the same in all its runs until it is taken apart."""

    wheel: wheel.WheelSpecimen
    imu: imu.ImuSpecimen


@dataclass(frozen=True, slots=True, eq=False)
class RunTruth:
    """What really happened; every array (n,) at the recorded rows unless said.

    t_s               the recorder's stamps (as in the recording); true_t_s: true time since its first row
    chainage_mm       of the body origin along the railway, unwrapped
    speed_mm_s        d(chainage)/dt
    path_mm           path in space of the sensed axle since the first row, towards the wagon's front > 0
    path_speed_mm_s   its rate
    phi_rad           axle angle
    x_mm, y_mm, z_mm, heading_rad, climb_rad, roll_rad   body pose (heading of the wagon's front)
    gyro_bias_rad_s, acc_bias_mm_s2   (n, 3) in sensor axes, wander included
    facing            +1: the front points along the railway's chainage; direction: +1: first moves along it
    specimen          circumference, slip, scales, matrices as drawn
    plan              as given
    """

    t_s: Floats
    true_t_s: Floats
    chainage_mm: Floats
    speed_mm_s: Floats
    path_mm: Floats
    path_speed_mm_s: Floats
    phi_rad: Floats
    x_mm: Floats
    y_mm: Floats
    z_mm: Floats
    heading_rad: Floats
    climb_rad: Floats
    roll_rad: Floats
    gyro_bias_rad_s: Floats
    acc_bias_mm_s2: Floats
    facing: int
    direction: int
    specimen: Specimen
    plan: RunPlan

    @property
    def turned(self) -> bool:
        """Whether the front points against the way this run first travels."""
        return self.facing != self.direction

    @property
    def circumference_mm(self) -> float:
        """True rolling circumference [mm]."""
        return self.specimen.wheel.circumference_mm

    @property
    def slip_mm(self) -> float:
        """True slip coefficient: a curve of curvature k loses slip * |k| of the distance [mm]."""
        return self.specimen.wheel.slip_mm

    @property
    def gyro_scale(self) -> float:
        """Reading over truth for turning about the body's z axis (coarse axes straight)."""
        return float(self.specimen.imu.gyro_matrix[2, 2])


def draw_specimen(wagon: Wagon, quality: imu.ImuQuality, rng: np.random.Generator, *, field: bool = True) -> Specimen:
    """Draw the wagon's hidden constants; give the result to `simulate` to run the same wagon again."""
    return Specimen(wheel.draw_wheel(wagon, rng, field=field), imu.draw_imu(quality, rng))


def simulate(
    railway: Railway,
    wagon: Wagon,
    plan: RunPlan,
    quality: imu.ImuQuality,
    rng: np.random.Generator,
    *,
    specimen: Specimen | None = None,
    name: str = "run",
) -> tuple[Recording, RunTruth]:
    """Pull a wagon along a railway.

    Parameters
    ----------
    quality : of the IMU, used where no specimen is given
    rng : the only source of chance; the same seed gives the same bits
    specimen : the same wagon as in an earlier run (its turn-on biases and axle angle are drawn anew)

    Returns
    -------
    (recording, truth)

    Raises
    ------
    ValueError   a run that leaves an open line, or another gauge

    Examples
    --------
    >>> from wayrule.sim import HO_VAN, GOOD, Leg, build, straight
    >>> line = build("Headshunt", [straight(1500.0)])
    >>> run, truth = simulate(line, HO_VAN, RunPlan(100.0, (Leg(1000.0, 250.0),)), GOOD, np.random.default_rng(1))
    >>> round(float(truth.chainage_mm[-1]), 3), run.field_mt.shape[1]
    (1100.0, 3)
    """
    if abs(railway.gauge_mm - wagon.gauge_mm) > 0.02 * wagon.gauge_mm:
        raise ValueError(f"{wagon.name} has a gauge of {wagon.gauge_mm} mm, {railway.name} {railway.gauge_mm} mm")
    draws, way, play, noise, rows = rng.spawn(5)
    if specimen is None:
        specimen = draw_specimen(wagon, quality, draws, field=plan.wheel == "field")
    else:
        specimen = Specimen(wheel.put_down(specimen.wheel, draws), imu.turn_on(specimen.imu, draws))
    chance = rows.spawn(1)[0]  # not of rng itself: what befalls one run must not draw other noise for the next
    went = _roll(railway, wagon, plan, specimen, way, play, chance)
    kept = mishaps.written(_rows(len(went.s_mm), went.over, plan, rows), plan.gaps, went.travelled_mm, went.dt_s)
    stamps = kept / went.over / plan.rate_hz + np.clip(
        plan.jitter_s * rows.standard_normal(len(kept)), -0.4 / plan.rate_hz, 0.4 / plan.rate_hz
    )
    reading = _inertial(plan, specimen.imu, wagon, went, noise, chance)
    truth = _truth(np.asarray(stamps - stamps[0], dtype=float), went, kept, reading, specimen, plan)
    return _record(name, wagon, truth, went, reading, kept, noise), truth


@dataclass(frozen=True, slots=True, eq=False)
class Rolling:
    """How the wagon went, on a fine time grid of step dt_s, `over` times finer than the rows; arrays (n,).

    s_mm           chainage of the body origin; travelled_mm: path since the start, either way
    path_mm        path in space of the sensed axle, towards the wagon's front > 0
    phi_rad        axle angle
    """

    dt_s: float
    over: int
    facing: int
    s_mm: Floats
    travelled_mm: Floats
    pose: body.Pose
    path_mm: Floats
    phi_rad: Floats


def _roll(
    railway: Railway,
    wagon: Wagon,
    plan: RunPlan,
    specimen: Specimen,
    way: np.random.Generator,
    play: np.random.Generator,
    chance: np.random.Generator,
) -> Rolling:
    """Drive along the plan, with whatever hands do meanwhile, drawn by `chance`."""
    facing = -1 if plan.turned else 1
    over = math.ceil(FINE_HZ / plan.rate_hz)
    dt = 1.0 / (plan.rate_hz * (1 + plan.clock_ppm * 1e-6) * over)
    s = drive(plan, dt, way)
    travelled = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(s)))])
    held = mishaps.holds(plan.hands, s, travelled, dt)
    s = mishaps.moved(s, held)
    bases = (0.0, facing * wagon.wheelbase_mm)
    rear, front = (_play(railway, wagon, s + a, travelled, play) for a in bases)
    if plan.bogie_play == "each" and wagon.bogie is not None:
        others = [_play(railway, wagon, s + a, travelled, chance) for a in bases]
        rear, front = (np.stack(pair) for pair in zip((rear, front), others, strict=True))
    pose = body.pose(railway, wagon, s, facing, rear, front)
    axle = wheel.sensed_axle_mm(wagon, s, pose.s_front_mm, facing)
    if held:
        pose = mishaps.handled(pose, held, dt, chance)
    path = facing * wheel.path_mm(railway, axle)
    rolled = facing * wheel.path_mm(railway, axle, slip_mm=specimen.wheel.slip_mm, window_mm=wagon.wheelbase_mm)
    turned = wheel.lock(rolled - rolled[0], mishaps.turning(travelled, plan.slides, held))
    if plan.lumps:
        lumps = mishaps.rolled_over(plan.lumps, turned, specimen.wheel.circumference_mm)
        pose = mishaps.lifted(pose, *lumps, wagon.wheelbase_mm, wagon.gauge_mm, wagon.wheel.axle == "rear")
    return Rolling(dt, over, facing, s, travelled, pose, path - path[0], wheel.axle_angle_rad(specimen.wheel, turned))


def _truth(
    stamps: Floats, went: Rolling, kept: NDArray[np.intp], reading: imu.ImuReading, specimen: Specimen, plan: RunPlan
) -> RunTruth:
    """What happened, at the rows that were written."""
    pose, dt, at = went.pose, went.dt_s, kept // went.over
    return RunTruth(
        stamps, np.asarray(kept * dt, dtype=float), went.s_mm[kept], np.gradient(went.s_mm, dt)[kept],
        went.path_mm[kept], np.gradient(went.path_mm, dt)[kept], went.phi_rad[kept],
        pose.x_mm[kept], pose.y_mm[kept], pose.z_mm[kept], pose.heading_rad[kept], pose.climb_rad[kept],
        pose.roll_rad[kept], reading.gyro_bias_rad_s[at], reading.acc_bias_mm_s2[at], went.facing,
        int(np.sign(plan.legs[0].distance_mm)) if plan.legs else 1, specimen, plan,
    )  # fmt: skip


def _play(railway: Railway, wagon: Wagon, s: Floats, travelled: Floats, rng: np.random.Generator) -> Floats:
    """Sideways place of a support: a slow wander with the path, and a lean to the outside of curves [mm]."""
    most = flange_play_mm(wagon.gauge_mm)
    grid = np.linspace(0.0, railway.length_mm, max(2, round(railway.length_mm / 5.0)) + 1)
    lean = -np.tanh(railway.mean_curvature(grid, 2 * wagon.wheelbase_mm) * 40 * wagon.gauge_mm)
    at = s % railway.length_mm if railway.closed else np.clip(s, 0.0, railway.length_mm)
    knots = np.arange(0.0, travelled[-1] + 10 * wagon.wheelbase_mm, 2.5 * wagon.wheelbase_mm)
    spread = rng.standard_normal(len(knots))
    spline = CubicSpline(knots, spread)(travelled)
    outward = CubicSpline(grid, lean)(at)
    return np.asarray(most * np.tanh(0.5 * outward + 0.4 * spline))


def _rows(n_fine: int, over: int, plan: RunPlan, rng: np.random.Generator) -> NDArray[np.intp]:
    """Indices on the fine grid of the rows that were written; the first and last are never lost."""
    rows = np.arange(0, n_fine, over)
    if plan.lost > 0:
        keep = rng.random(len(rows)) >= plan.lost
        keep[[0, -1]] = True
        rows = rows[keep]
    return rows


def _inertial(
    plan: RunPlan,
    specimen: imu.ImuSpecimen,
    wagon: Wagon,
    went: Rolling,
    rng: np.random.Generator,
    chance: np.random.Generator,
) -> imu.ImuReading:
    """Readings at every row of the recorder, lost ones included."""
    pose, dt, over = went.pose, went.dt_s, went.over
    rate = body.rates(pose.heading_rad, pose.climb_rad, pose.roll_rad, dt)
    # the Earth turns eastwards about its axis; north is the world's y here, 15 deg/h is far below any gyro's bias
    earth = EARTH_RATE_RAD_S * np.array([0.0, math.cos(LATITUDE_RAD), math.sin(LATITUDE_RAD)])
    turn = body.axes(pose.heading_rad, pose.climb_rad, pose.roll_rad)
    rate += np.einsum("nji,j->ni", turn, earth)
    place = wagon.imu.place_mm or (wagon.wheelbase_mm / 2, 0.0, wagon.gauge_mm)
    force = body.specific_force(pose, place, dt, GRAVITY_MM_S2)
    if plan.knocks:
        more = mishaps.jolts(plan.knocks, went.travelled_mm, dt, chance)
        rate, force = rate + more[0], force + more[1]
    corner = min(specimen.quality.filter_hz, 0.4 * plan.rate_hz)
    rate, force = (imu.low_pass(values, 1.0 / dt, corner)[::over] for values in (rate, force))
    speed = np.gradient(went.s_mm, dt)[::over]
    return imu.read(specimen, rate, force, speed, 1.0 / (dt * over), imu.coarse_axes(plan.axes), rng)


def _record(
    name: str,
    wagon: Wagon,
    truth: RunTruth,
    went: Rolling,
    reading: imu.ImuReading,
    kept: NDArray[np.intp],
    rng: np.random.Generator,
) -> Recording:
    """Put the sensors' readings together."""
    plan, specimen, phi, dt = truth.plan, truth.specimen.wheel, went.phi_rad, went.dt_s
    sensed: dict[str, Any] = {}
    if plan.wheel == "field":
        late = np.interp(kept * dt - specimen.delay_s, np.arange(len(phi)) * dt, phi)
        turn = body.axes(truth.heading_rad, truth.climb_rad, truth.roll_rad)
        sensed["field_mt"] = wheel.field_reading(wagon, specimen, late, turn, rng)
    elif plan.wheel == "ticks":
        per_turn = wagon.wheel.ticks_per_turn or 64.0
        count = np.floor(phi[kept] / (2 * math.pi) * per_turn)
        sensed["ticks_count"] = count - count[0]  # a counter starts at 0, the axle anywhere
    elif plan.wheel != "none":
        rolled = (phi - phi[0]) * specimen.circumference_mm / (2 * math.pi) * (1 + specimen.scale)
        if plan.wheel == "distance":
            sensed["wheel_mm"] = np.round(rolled[kept], 2)
        else:
            sensed["wheel_mm_s"] = np.round(np.gradient(rolled, dt)[kept], 2)
    if plan.imu:
        at = kept // went.over
        sensed |= {"gyro_rad_s": reading.gyro_rad_s[at], "acc_mm_s2": reading.acc_mm_s2[at]}
    way = went.travelled_mm[kept]
    marks = tuple(Mark(float(truth.t_s[np.searchsorted(way, far)]), what) for far, what in plan.marks)
    return Recording(name, truth.t_s, marks=marks, **sensed)
