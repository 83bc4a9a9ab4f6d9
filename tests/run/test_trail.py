"""Slope, cant, curve and trail of motions made by formula: what a body feels on a round, sloping, canted track."""

import dataclasses

import numpy as np
import pytest

from wayrule.model import BodyImu, Calibration, State, Travel
from wayrule.model.calibration import CONSTANTS
from wayrule.run.instrument import instrument
from wayrule.run.momentary import slope_cant_curvature
from wayrule.run.speed import newest_sd, speed
from wayrule.run.trail import CELLS_A_WHEELBASE, MOST_CELLS, trail
from wayrule.sim import HO_VAN
from wayrule.units import G_MM_S2

RATE_HZ, V = 200.0, 150.0
ONE = instrument(HO_VAN)
SURE = dataclasses.replace(ONE, level_sd_rad=np.full(2, 1e-4), turn_scale_sd=1e-4, seep_sd=np.full(2, 1e-4))


def rolled(seconds=8.0, *, turn=0.0, climb=0.0, roll=0.0, v=V, acc=True, bias=0.0, backward_after=np.inf):
    """A body that rolls with steady yaw rate, climb and roll. With x forward, y left, z up: rates (turn sin(climb) ...)
    of ZYX angles, specific force g's upright parts, v' along and v times the yaw rate to the left."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    speed_mm_s = np.where(t < backward_after, v, -v)
    s = np.concatenate([[0.0], np.cumsum(0.5 * (speed_mm_s[1:] + speed_mm_s[:-1]) / RATE_HZ)])
    way = np.sign(speed_mm_s)
    rate = turn * way[:, None] * np.array([-np.sin(climb), np.cos(climb) * np.sin(roll), np.cos(climb) * np.cos(roll)])
    rate = rate * np.array([-1.0, 1.0, 1.0])
    force = G_MM_S2 * np.array([np.sin(climb), np.cos(climb) * np.sin(roll), np.cos(climb) * np.cos(roll)]) + np.zeros(
        (len(t), 3)
    )
    force[:, 1] += speed_mm_s * turn * way
    noise = np.random.default_rng(1)
    gyro = rate + bias + noise.normal(0, 5e-4, rate.shape)
    force += noise.normal(0, 10.0, force.shape)
    imu = BodyImu(gyro, force if acc else None, np.eye(3), np.full(3, bias), np.full(3, 2e-5))
    zero = np.zeros(len(t))
    state = np.full(len(t), State.ROLLING if v else State.STANDING, dtype=np.int8)
    return Travel("r", t, s, zero, speed_mm_s, zero + 1.0, state, zero, 1e-3, "stated", imu)


def test_a_round_track_of_450_mm_is_read_as_one():
    _, _, bend = slope_cant_curvature(rolled(turn=V / 450.0), ONE)
    assert bend.value == pytest.approx(1 / 450.0, abs=4 * bend.sd)
    assert 0 < bend.sd < 0.05 / 450.0
    _, _, right = slope_cant_curvature(rolled(turn=-V / 450.0), ONE)
    assert right.value == pytest.approx(-1 / 450.0, abs=4 * right.sd)


@pytest.mark.parametrize("climb", [0.03, -0.02, 0.0])
def test_a_slope_is_the_tangent_of_its_angle(climb):
    gradient, cant, _ = slope_cant_curvature(rolled(climb=climb), SURE)
    assert gradient.value == pytest.approx(np.tan(climb), abs=4 * gradient.sd)
    assert gradient.sd < 2e-3  # the sway of a wheelset within its play is 1.65e-3 of it
    assert cant.value == pytest.approx(0.0, abs=4 * cant.sd)


def test_cant_in_a_curve_is_told_from_the_pull_of_the_curve():
    """At 150 mm/s round 450 mm the pull is 50 mm/s2, 5 mrad: as much as 0.08 mm of cant on 16.5 mm."""
    roll = np.arcsin(-0.8 / 16.5)
    gradient, cant, _ = slope_cant_curvature(rolled(turn=V / 450.0, roll=roll), SURE)
    assert cant.value == pytest.approx(-0.8, abs=4 * cant.sd)
    assert cant.sd < 0.03
    assert gradient.value == pytest.approx(0.0, abs=4 * gradient.sd)


def test_a_wagon_at_rest_tells_slope_and_cant_and_no_curve():
    gradient, cant, bend = slope_cant_curvature(rolled(climb=0.02, roll=0.01, v=0.0), SURE)
    assert gradient.value == pytest.approx(np.tan(0.02), abs=4 * gradient.sd)
    assert cant.value == pytest.approx(16.5 * np.sin(0.01), abs=4 * cant.sd)
    assert np.isnan(bend.value)


def test_what_is_not_measured_is_not_known():
    went = rolled(turn=V / 450.0, acc=False)
    gradient, cant, bend = slope_cant_curvature(went, ONE)
    assert np.isnan([gradient.value, cant.value]).all()
    assert bend.value == pytest.approx(1 / 450.0, abs=4 * bend.sd)
    assert trail(dataclasses.replace(went, imu=None), ONE) is None
    assert all(np.isnan(told.value) for told in slope_cant_curvature(dataclasses.replace(went, imu=None), ONE))


def test_a_trail_reaches_as_far_as_it_may_and_knows_where_now_is():
    came = trail(rolled(20.0, turn=0.2), ONE)
    assert came is not None
    assert came.length_mm == pytest.approx(MOST_CELLS * 65.0 / CELLS_A_WHEELBASE, rel=0.03)
    assert (came.newest, came.came) == (len(came.away_mm) - 1, -1)
    assert abs(came.away_mm[came.newest]) < 65.0 / CELLS_A_WHEELBASE
    turned = came.angles_rad[0, came.newest] - came.angles_rad[0, 0]
    assert turned == pytest.approx(0.2 / V * came.length_mm, rel=0.02)
    short = trail(rolled(20.0), ONE, share=0.5)
    assert short is not None
    assert short.length_mm < 0.55 * came.length_mm


def test_a_trail_of_a_wagon_that_came_back_lies_on_the_side_it_came_from():
    came = trail(rolled(6.0, turn=0.2, backward_after=4.0), ONE)
    assert came is not None
    assert came.came == 1
    assert 0 < came.newest < len(came.away_mm) - 1
    _, _, bend = slope_cant_curvature(rolled(6.0, turn=0.2, backward_after=4.0), ONE)
    assert bend.value == pytest.approx(0.2 / V, abs=4 * bend.sd)


def test_what_a_calibration_knows_is_taken_out_of_the_readings():
    values = dict.fromkeys(CONSTANTS, 0.0) | {"gyro_scale_z": 0.02, "cross_y": 0.01, "level_x": 150.0}
    names = tuple(CONSTANTS)
    known = Calibration(
        HO_VAN.name, "", 10.5, names, np.array([values[n] for n in names]), np.diag(np.full(len(names), 1e-8)),
        np.eye(3), np.full(3, np.nan), np.full(3, np.nan), 0.0, 0.0, 0, (), "1",
    )  # fmt: skip
    one = instrument(HO_VAN, known)
    went = rolled(turn=V / 450.0)
    assert went.imu is not None
    assert went.imu.acc_mm_s2 is not None
    matrix = np.eye(3) + np.array([[0, 0, 0], [0, 0, 0.01], [0, -0.01, 0.02]])
    gyro, force = went.imu.gyro_rad_s @ matrix.T, went.imu.acc_mm_s2 + np.array([150.0, 0.0, 0.0])
    off = dataclasses.replace(went, imu=dataclasses.replace(went.imu, gyro_rad_s=gyro, acc_mm_s2=force))
    askew = dataclasses.replace(went, imu=dataclasses.replace(went.imu, acc_mm_s2=force))
    plain, _, _ = slope_cant_curvature(askew, SURE)
    gradient, _, bend = slope_cant_curvature(off, one)
    assert plain.value == pytest.approx(150.0 / G_MM_S2, abs=3e-3), "unknown, 150 mm/s2 pass for 15 per mille"
    assert gradient.value == pytest.approx(0.0, abs=3e-3)
    assert bend.value == pytest.approx(1 / 450.0, abs=4 * bend.sd)


def test_the_newest_speed_is_as_unsure_as_such_speeds_have_been():
    """A pull that swings by 10 % every 0.9 s: half a window ends elsewhere than the whole one, and the sd says so."""
    t = np.arange(0.0, 6.0, 0.005)
    rng = np.random.default_rng(2)
    misses, claimed = [], []
    for end in range(700, 1190, 7):
        s = (
            150.0 * t[:end]
            + 150.0 * 0.1 * 0.9 / (2 * np.pi) * np.sin(2 * np.pi * t[:end] / 0.9)
            + rng.normal(0, 0.02, end)
        )
        v, _, window = speed(t[:end], s, 0.02)
        misses.append(v[-1] - 150.0 * (1 + 0.1 * np.cos(2 * np.pi * t[end - 1] / 0.9)))
        claimed.append(newest_sd(t[:end], s, v, window))
    assert 0.6 < np.sqrt(np.mean(np.square(misses))) / np.mean(claimed) < 1.5
    assert np.isnan(newest_sd(t[:20], s[:20], v[:20], window))
