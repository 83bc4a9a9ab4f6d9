"""Whole runs: reproducible, and what is recorded is what the truth says, within the faults that were put in."""

import hashlib
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from wayrule.model import FloorLayer, Wheel
from wayrule.sim import (
    CHEAP,
    G_COACH,
    G_WAGON,
    GOOD,
    HO_COACH,
    HO_VAN,
    N_COACH,
    N_VAN,
    Leg,
    RunPlan,
    Slide,
    arc,
    body,
    branch_n,
    build,
    laps,
    oval,
    simulate,
    straight,
)
from wayrule.units import EARTH_RATE_RAD_S

PERFECT = replace(
    GOOD, gyro_noise_dps_rthz=0, gyro_bias_sd_dps=0, gyro_wander_dph=0, gyro_scale_sd=0, acc_noise_g_rthz=0,
    acc_bias_sd_g=0, acc_wander_g=0, acc_scale_sd=0, cross_axis_sd=0, mounting_sd_deg=0, bits=24, vibration_acc_g=0,
    vibration_gyro_dps=0,
)  # fmt: skip
SIMPLE = {"clock_ppm": 0.0, "jitter_s": 0.0, "unevenness": 0.02}


def rng(seed=1):
    return np.random.default_rng(seed)


def digest(*arrays):
    return hashlib.sha256(b"".join(np.ascontiguousarray(a).tobytes() for a in arrays)).hexdigest()


def line():
    return build("siding", [straight(600.0), arc(450.0, 60.0), straight(800.0)])


def line_g(_rng, defects):
    return build("G siding", [straight(4000.0), arc(2000.0, 60.0 + defects)], scale="G", ratio=22.5, gauge_mm=45.0)


@pytest.mark.parametrize(
    ("lay", "wagon"),
    [
        (oval, HO_VAN),
        (oval, HO_COACH),
        (branch_n, N_VAN),
        (branch_n, N_COACH),
        (line_g, G_WAGON),
        (line_g, G_COACH),
    ],
)
def test_one_seed_gives_the_same_bits_and_another_does_not(lay, wagon):
    def run(seed):
        r = rng(seed)
        railway = lay(r, defects=2)
        start = 1000.0
        plan = RunPlan(start, (Leg(800.0, 300.0, 1.0), Leg(-300.0, 200.0)), lost=0.01)
        recording, truth = simulate(railway, wagon, plan, GOOD, r)
        assert recording.n == len(truth.t_s) == len(truth.chainage_mm)
        return digest(recording.t_s, recording.field_mt, recording.gyro_rad_s, recording.acc_mm_s2, truth.phi_rad)

    assert run(1) == run(1)
    assert run(1) != run(2)


def test_recorded_rates_integrate_to_the_true_attitude():
    railway = oval(rng(2), defects=6)
    recording, truth = simulate(railway, HO_VAN, RunPlan(*laps(railway.length_mm, 1, 300.0), **SIMPLE), PERFECT, rng(3))
    # take the Earth's turning out, then turn step by step with the rotation library
    at = Rotation.from_matrix(body.axes(truth.heading_rad, truth.climb_rad, truth.roll_rad))
    latitude = math.radians(50.0)
    earth = EARTH_RATE_RAD_S * np.array([0.0, math.cos(latitude), math.sin(latitude)])
    rate = recording.gyro_rad_s - at.inv().apply(earth)
    turn = at[0]
    for w, dt in zip(0.5 * (rate[1:] + rate[:-1]), np.diff(truth.true_t_s), strict=True):
        turn = turn * Rotation.from_rotvec(w * dt)
    left = np.degrees((turn.inv() * at[-1]).as_rotvec())
    # steps of 3e-5 deg/s and 5 ms trapezoids over rail joints of a few ms: some hundredths of a degree in 30 s
    assert np.max(np.abs(left)) < 0.05
    assert truth.heading_rad[-1] - truth.heading_rad[0] == pytest.approx(2 * math.pi, abs=0.02)


def test_accelerometer_doubly_integrates_to_the_true_path():
    recording, truth = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(400.0, 200.0),), **SIMPLE), PERFECT, rng(3))
    # straight level track: forward force is dv/dt; its double sum is the distance
    v = np.cumsum(recording.acc_mm_s2[:, 0]) / 200.0
    assert np.sum(v) / 200.0 == pytest.approx(400.0, rel=0.01)
    assert np.max(np.abs(v - truth.speed_mm_s)) < 3.0  # mm/s: the filter is 4 ms late at 120-220 mm/s2


def test_mechanics_hold_on_a_real_line():
    """v x omega on y, from the truth's speed and rate, is what the accelerometer of a smooth curve reads."""
    railway = build("curve", [arc(600.0, 300.0)])
    recording, truth = simulate(
        railway, replace(HO_VAN, imu=replace(HO_VAN.imu, place_mm=(32.5, 0.0, 0.0))),
        RunPlan(100.0, (Leg(2000.0, 300.0),), **(SIMPLE | {"unevenness": 0.0})), PERFECT, rng(1),
    )  # fmt: skip
    steady = (truth.chainage_mm > 700.0) & (truth.chainage_mm < 1600.0)
    sideways = np.mean(recording.acc_mm_s2[steady, 1])
    assert sideways == pytest.approx(np.mean(truth.speed_mm_s[steady]) ** 2 / 600.0, rel=0.03)  # + play's wander
    assert np.mean(recording.gyro_rad_s[steady, 2]) == pytest.approx(
        np.mean(truth.speed_mm_s[steady]) / 600.0, rel=0.01
    )


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("backwards", [False, True])
def test_direction_and_signs(turned, backwards):
    railway = oval(rng(1), roughness=0.0)
    plan = RunPlan(*laps(railway.length_mm, 1, 300.0, backwards=backwards), turned=turned, wheel="distance")
    recording, truth = simulate(railway, HO_VAN, plan, PERFECT, rng(2))
    way, facing = (-1 if backwards else 1), (-1 if turned else 1)
    assert (truth.direction, truth.facing, truth.turned) == (way, facing, way != facing)
    assert truth.chainage_mm[-1] - truth.chainage_mm[0] == pytest.approx(way * railway.length_mm)
    # towards the front > 0; slip takes 2 pi times some 0.4 mm a lap, a wrong caliper 0.4 %
    assert recording.wheel_mm[-1] == pytest.approx(way * facing * railway.length_mm, rel=0.02)
    turns = np.sum(recording.gyro_rad_s[:, 2]) / 200.0 / (2 * math.pi)
    assert turns == pytest.approx(way, abs=0.01)  # a left-hand oval turns left forwards whichever end leads
    on_arc = np.abs(np.abs(railway.curvature(truth.chainage_mm)) - 1 / 475) < 1e-3
    lean = np.mean(truth.roll_rad[on_arc])
    assert np.sign(lean) == -facing  # outer (right) rail high: left side down for a wagon that faces along


def test_distance_rolled_is_turns_times_circumference_less_slip():
    railway = build("curve", [arc(400.0, 300.0)])
    wagon = replace(HO_VAN, wheel=Wheel(diameter_mm=10.5, diameter_sd_mm=0.04))
    _, truth = simulate(railway, wagon, RunPlan(100.0, (Leg(1500.0, 300.0),)), GOOD, rng(5))
    turns = (truth.phi_rad[-1] - truth.phi_rad[0]) / (2 * math.pi)
    # by hand: 1500 mm of a 400 mm curve lose slip / 400 of themselves; out of round at most 2 x 0.02 mm
    assert turns * truth.circumference_mm == pytest.approx(1500.0 * (1 - truth.slip_mm / 400.0), abs=0.05)
    assert 0.2 <= truth.slip_mm <= 0.6
    assert truth.circumference_mm == pytest.approx(math.pi * 10.5, rel=0.02)


def test_a_wheel_in_space_rolls_the_slope_not_the_plan():
    from wayrule.sim import Grade

    railway = build("ramp", [straight(2000.0)], grades=[Grade(1, 0.04)])
    _, truth = simulate(railway, HO_VAN, RunPlan(100.0, (Leg(1500.0, 300.0),)), GOOD, rng(5))
    assert truth.path_mm[-1] == pytest.approx(1500.0 * math.hypot(1, 0.04), abs=1e-6)


def test_a_locked_wheel_loses_what_it_slides():
    plan = RunPlan(100.0, (Leg(1000.0, 200.0),), wheel="distance")
    free, _ = simulate(line(), HO_VAN, plan, GOOD, rng(5))
    locked, truth = simulate(line(), HO_VAN, replace(plan, slides=(Slide(400.0, 30.0),)), GOOD, rng(5))
    assert free.wheel_mm[-1] - locked.wheel_mm[-1] == pytest.approx(30.0, abs=0.6)  # grid: 0.25 mm at either end
    assert truth.path_mm[-1] == pytest.approx(1000.0, abs=0.5)


def test_every_wheel_input_tells_the_same_distance():
    wagon = replace(HO_VAN, wheel=replace(HO_VAN.wheel, ticks_per_turn=120.0, scale_sd=0.0))

    def run(kind):
        return simulate(line(), wagon, RunPlan(100.0, (Leg(1000.0, 200.0),), wheel=kind), GOOD, rng(6))

    ticks, truth = run("ticks")
    # slip takes at most 0.6 / 450 of 470 mm, 0.7 mm; one tick is 0.3 mm; the clock and 0.01 mm/s steps are less
    assert ticks.ticks_count[-1] / 120.0 * truth.circumference_mm == pytest.approx(1000.0, abs=1.5)
    assert np.sum(run("speed")[0].wheel_mm_s) / 200.0 == pytest.approx(1000.0, abs=1.0)
    assert run("distance")[0].wheel_mm[-1] == pytest.approx(1000.0, abs=1.0)
    bare = run("none")[0]
    assert [getattr(bare, n) for n in ("field_mt", "ticks_count", "wheel_mm_s", "wheel_mm")] == [None] * 4


def test_a_distance_input_is_wrong_by_its_scale():
    wagon = replace(HO_VAN, wheel=Wheel(scale_sd=0.01))
    recording, truth = simulate(line(), wagon, RunPlan(100.0, (Leg(1000.0, 200.0),), wheel="distance"), GOOD, rng(6))
    scale = truth.specimen.wheel.scale
    assert 0 < abs(scale) < 0.04
    assert recording.wheel_mm[-1] == pytest.approx(1000.0 * (1 + scale), abs=1.0)


def test_field_turns_with_the_wheel():
    recording, truth = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(1000.0, 150.0),), **SIMPLE), GOOD, rng(6))
    rolling = np.abs(truth.speed_mm_s) > 100.0
    b = recording.field_mt[rolling] - recording.field_mt[rolling].mean(axis=0)
    # nearly a dipole: x and z of an ellipse about 1 : 2, z leads: m = (sin, cos), B ~ (-sin, 2 cos)
    angle = np.unwrap(np.arctan2(-2 * b[:, 0], b[:, 2]))
    turned = truth.phi_rad[rolling] - truth.phi_rad[rolling][0]
    assert angle[-1] - angle[0] == pytest.approx(turned[-1], abs=0.3)
    step = 2 * 40.0 / 2**12
    assert np.allclose(recording.field_mt / step, np.round(recording.field_mt / step), atol=1e-6)


def test_a_steel_floor_weakens_the_field_and_plastic_does_not():
    # a plane plate passes 4 mu / ((mu + 1)^2 - (mu - 1)^2 e^{-2kt}) of each wavenumber: for 0.5 mm, mu 200 and 1/k of
    # some 4 to 6 mm that is a tenth
    plan = RunPlan(100.0, (Leg(400.0, 60.0),), **SIMPLE)
    swing = []
    for floor in ((), (FloorLayer("plastic", 1.0, 4.0),), (FloorLayer("steel", 0.5, 4.0),)):
        recording, _ = simulate(line(), replace(HO_VAN, floor=floor), plan, PERFECT, rng())
        swing.append(np.ptp(recording.field_mt[:, 2]))
    assert swing[1] == swing[0]
    assert 0.05 < swing[2] / swing[0] < 0.2


def test_the_earth_field_turns_with_the_heading():
    railway = oval(rng(1), roughness=0.0)
    wagon = replace(HO_VAN, sensor=replace(HO_VAN.sensor, noise_mt=0.0, bits=24))
    recording, truth = simulate(railway, wagon, RunPlan(*laps(railway.length_mm, 1, 300.0)), PERFECT, rng(3))
    turn = truth.specimen.wheel.field.at(truth.phi_rad)
    # what is left without the magnets: iron (constant) + earth; the sensor is 1-3 ms late, so look along the axle,
    # where the magnets show least
    rest = (recording.field_mt @ np.linalg.inv(truth.specimen.wheel.gain).T - turn)[:, 1]
    wave = np.stack([np.cos(truth.heading_rad), np.sin(truth.heading_rad), np.ones_like(rest)], axis=-1)
    fit = np.linalg.lstsq(wave, rest, rcond=None)[0]
    # IGRF 2025 at 50 N 10 E: horizontal 20.1 uT
    assert math.hypot(fit[0], fit[1]) == pytest.approx(0.0201, rel=0.1)


def test_clock_stamps_and_lost_rows():
    plan = RunPlan(100.0, (Leg(1000.0, 200.0),), clock_ppm=200.0, jitter_s=0.0005, lost=0.05)
    recording, truth = simulate(line(), HO_VAN, plan, GOOD, rng(6))
    assert np.all(np.diff(recording.t_s) > 0)
    assert (recording.t_s[-1] - truth.true_t_s[-1]) / truth.true_t_s[-1] == pytest.approx(200e-6, abs=2e-4)
    gaps = np.round(np.diff(truth.true_t_s) * 200.0)
    lost = np.sum(gaps - 1)
    assert lost / (lost + recording.n) == pytest.approx(0.05, abs=0.015)
    off = recording.t_s - truth.true_t_s
    assert 0.0003 < np.std(off - np.polyval(np.polyfit(truth.true_t_s, off, 1), truth.true_t_s)) < 0.0006


def test_stops_shunting_and_marks():
    legs = (Leg(500.0, 200.0, 2.0), Leg(-300.0, 150.0, 1.5), Leg(700.0, 250.0))
    plan = RunPlan(100.0, legs, marks=((500.0, "signal"), (900.0, "bridge")), still_s=(3.0, 3.0))
    recording, truth = simulate(line(), HO_VAN, plan, GOOD, rng(6))
    assert truth.chainage_mm[-1] == pytest.approx(1000.0, abs=1e-6)
    assert [m.name for m in recording.marks] == ["signal", "bridge"]
    at = np.interp([m.t_s for m in recording.marks], truth.t_s, truth.chainage_mm)
    assert at == pytest.approx([600.0, 400.0], abs=1.5)
    still = truth.speed_mm_s == 0
    assert np.sum(still) / 200.0 == pytest.approx(3.0 + 2.0 + 1.5 + 3.0, abs=0.1)
    # at a standstill the gyro shows its bias and its noise alone
    before = recording.gyro_rad_s[:500] - truth.gyro_bias_rad_s[:500]
    assert np.max(np.abs(before.mean(axis=0))) < 5e-4 / math.sqrt(500) * 5 + 2 * EARTH_RATE_RAD_S


def test_vibration_grows_with_speed():
    quiet = replace(GOOD, acc_noise_g_rthz=0.0)
    spread = []
    for speed in (100.0, 300.0):
        recording, truth = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(1000.0, speed),)), quiet, rng(7))
        rolling = (truth.chainage_mm > 300) & (truth.chainage_mm < 550)
        spread.append(np.std(np.diff(recording.acc_mm_s2[rolling, 2])))
    assert spread[1] / spread[0] == pytest.approx(3.0, rel=0.15)


def test_same_wagon_again_keeps_its_constants():
    first = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(500.0, 200.0),)), CHEAP, rng(1))[1]
    again = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(500.0, 200.0),)), CHEAP, rng(2), specimen=first.specimen)[1]
    assert again.circumference_mm == first.circumference_mm
    assert again.slip_mm == first.slip_mm
    assert again.gyro_scale == first.gyro_scale
    assert np.all(again.gyro_bias_rad_s[0] != first.gyro_bias_rad_s[0])


def test_log_without_imu():
    recording, _ = simulate(line(), HO_VAN, RunPlan(100.0, (Leg(500.0, 200.0),), imu=False), GOOD, rng(1))
    assert recording.gyro_rad_s is None
    assert recording.acc_mm_s2 is None
    assert recording.field_mt is not None


@pytest.mark.parametrize("axle", ["rear", "front", 1, 2, 3, 4])
def test_any_axle_of_a_bogie_wagon_can_carry_the_sensor(axle):
    wagon = replace(HO_COACH, wheel=replace(HO_COACH.wheel, axle=axle))
    _, truth = simulate(line(), wagon, RunPlan(200.0, (Leg(800.0, 300.0),)), GOOD, rng(1))
    # the front runs ahead by arc less chord where the rear is on the curve: 118^3 / (24 450^2) = 0.34 mm
    assert truth.path_mm[-1] == pytest.approx(800.0, abs=0.4)


@pytest.mark.parametrize(
    ("wagon", "plan", "words"),
    [
        (HO_VAN, RunPlan(100.0, (Leg(5000.0, 300.0),)), "siding: the line runs from 0 to"),
        (N_VAN, RunPlan(100.0, (Leg(500.0, 300.0),)), "has a gauge of 9.0 mm, siding 16.5 mm"),
        (HO_VAN, RunPlan(100.0, (Leg(0.0, 300.0),)), "a leg needs a distance other than 0"),
        (replace(HO_VAN, magnets=None), RunPlan(100.0, (Leg(500.0, 300.0),)), "needs magnets"),
        (replace(HO_VAN, wheel=replace(HO_VAN.wheel, axle=3)), RunPlan(100.0, (Leg(500.0, 300.0),)), "axle must be"),
    ],
)
def test_runs_that_cannot_be_are_refused(wagon, plan, words):
    with pytest.raises(ValueError, match=words):
        simulate(line(), wagon, plan, GOOD, rng(1))


def test_wheelsets_lean_to_the_outside_of_a_curve():
    railway = build("curve", [arc(450.0, 300.0)])
    _, truth = simulate(railway, HO_VAN, RunPlan(100.0, (Leg(2000.0, 300.0),)), GOOD, rng(5))
    x, y = railway.xy(truth.chainage_mm)
    heading = railway.heading(truth.chainage_mm)
    left = (truth.y_mm - y) * np.cos(heading) - (truth.x_mm - x) * np.sin(heading)
    rolling = truth.speed_mm_s > 50.0
    # the curve turns left, outside is right; NEM 310 leaves a wheelset about 0.2 mm to either side
    assert -0.15 < np.mean(left[rolling]) < -0.05
    assert np.max(np.abs(left)) < 0.22
    assert np.std(left[rolling]) > 0.02


def test_an_out_of_round_wheel_errs_once_a_turn():
    railway = build("straight", [straight(3000.0)])
    plan = RunPlan(100.0, (Leg(2500.0, 250.0),))
    _, truth = simulate(railway, HO_VAN, plan, GOOD, rng(5))
    phi = truth.phi_rad - truth.phi_rad[0]
    error = phi * truth.circumference_mm / (2 * math.pi) - truth.path_mm
    wave = np.stack([np.cos(truth.phi_rad), np.sin(truth.phi_rad), np.ones_like(error)], axis=-1)
    fit = np.linalg.lstsq(wave, error, rcond=None)[0]
    assert math.hypot(fit[0], fit[1]) == pytest.approx(0.02, rel=0.05)


def test_wheels_differ_as_the_caliper_says():
    from wayrule.sim.wheel import draw_wheel

    r = rng(9)
    many = [draw_wheel(HO_VAN, r, field=False).circumference_mm / math.pi for _ in range(1000)]
    assert np.mean(many) == pytest.approx(10.5, abs=0.005)
    assert np.std(many) == pytest.approx(0.04, rel=0.08)


def test_the_field_is_a_few_milliseconds_old():
    wagon = replace(HO_VAN, sensor=replace(HO_VAN.sensor, noise_mt=0.0, bits=24))
    recording, truth = simulate(line(), wagon, RunPlan(100.0, (Leg(1000.0, 200.0),), **SIMPLE), PERFECT, rng(3))
    sensor = truth.specimen.wheel
    left = []
    for late in (0.0, sensor.delay_s):
        then = sensor.field.at(np.interp(truth.true_t_s - late, truth.true_t_s, truth.phi_rad))
        left.append(np.std(recording.field_mt @ np.linalg.inv(sensor.gain).T - then, axis=0)[2])
    assert 0.001 <= sensor.delay_s <= 0.003
    assert left[1] < 2e-3  # mT: along z the Earth field keeps, 5 ms between rows is all that is left; gain is 1 %
    assert left[0] > 3 * left[1]


def test_shaking_shows_on_the_gyro_and_does_not_add_up():
    shaken = replace(PERFECT, vibration_gyro_dps=0.03)
    railway = build("straight", [straight(8000.0)])
    plan = RunPlan(100.0, (Leg(7000.0, 300.0),), **SIMPLE)
    rates = [simulate(railway, HO_VAN, plan, q, rng(4)) for q in (shaken, PERFECT)]
    rolling = rates[0][1].speed_mm_s > 250.0
    shake = np.degrees(rates[0][0].gyro_rad_s - rates[1][0].gyro_rad_s)[rolling]
    assert np.std(shake) == pytest.approx(0.03 * 3.0, rel=0.1)
    # a walk of such steps would reach 0.09 / 200 sqrt(4500) = 0.03 deg
    assert np.max(np.abs(np.cumsum(shake, axis=0) / 200.0)) < 0.003
