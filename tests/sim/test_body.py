"""The body on the track: chords on circles, rates and forces against an independent rotation library and mechanics."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from wayrule.model import Bogie
from wayrule.sim import HO_VAN, arc, body, build, straight, transition
from wayrule.sim.wagons import HO_COACH

DT = 1e-3
G = 9811.0


def on(line, s, wagon=HO_VAN, facing=1):
    nothing = np.zeros_like(s)
    return body.pose(line, wagon, s, facing, nothing, nothing)


def circle(radius=500.0, **more):
    return build("circle", [arc(radius, 340.0, **more)])


def test_axes_are_those_of_the_rotation_library():
    rng = np.random.default_rng(1)
    heading, climb, roll = rng.uniform(-1.4, 1.4, (3, 50))
    # our climb is nose up: a negative turn about y (left)
    expected = Rotation.from_euler("ZYX", np.stack([heading, -climb, roll], axis=-1)).as_matrix()
    assert np.max(np.abs(body.axes(heading, climb, roll) - expected)) < 1e-14


def test_rates_turn_the_body_as_the_rotation_library_does():
    t = np.arange(0, 2, DT)
    attitude = 0.7 * np.sin(1.3 * t), 0.3 * np.sin(2.1 * t + 1), 0.2 * np.sin(1.7 * t + 2)
    rates = body.rates(*attitude, DT)
    turn = Rotation.from_matrix(body.axes(*attitude))
    step = (turn[:-1].inv() * turn[1:]).as_rotvec() / DT
    # a step's mean rate against the mean of its ends: second order in dt, 1e-3 s
    assert np.max(np.abs(step[1:-1] - 0.5 * (rates[1:-2] + rates[2:-1]))) < 1e-5
    assert np.max(np.abs(rates)) > 0.5  # the check is not between zeros


def test_signs_of_single_turns():
    t = np.arange(0, 1, DT)
    zero = np.zeros_like(t)
    assert body.rates(t, zero, zero, DT)[5] == pytest.approx([0, 0, 1])  # turning left: gz > 0
    assert body.rates(zero, t * 0.1, zero, DT)[5] == pytest.approx([0, -0.1, 0])  # nose rising: gy < 0
    assert body.rates(zero, zero, t, DT)[5] == pytest.approx([1, 0, 0])  # left side rising: gx > 0
    left_up = body.axes(zero[:1], zero[:1], np.array([0.1]))[0]
    assert left_up[2, 1] > 0


def test_chord_of_a_circle_is_parallel_to_the_tangent_at_its_middle():
    line = circle()
    s = np.linspace(50.0, 2000.0, 40)
    pose = on(line, s)
    middle = (s + pose.s_front_mm) / 2
    assert np.max(np.abs(pose.heading_rad - line.heading(middle))) < 1e-9
    # chord c of a circle spans the arc 2 R asin(c / 2R)
    assert pose.s_front_mm - s == pytest.approx(2 * 500.0 * math.asin(65.0 / 1000.0), abs=1e-7)


def test_bogie_pivot_lies_inside_the_curve_by_the_versine_of_the_bogie():
    line = circle()
    s = np.array([1000.0])
    pose = on(line, s, HO_COACH)
    x, y = line.xy(s)
    inward = math.hypot(pose.x_mm[0] - x[0], pose.y_mm[0] - y[0])
    assert inward == pytest.approx(500.0 * (1 - math.cos(14.5 / 500.0)), rel=1e-6)  # axles 29 mm apart along the track
    wide = HO_COACH.bogie.pivots_mm
    assert isinstance(HO_COACH.bogie, Bogie)
    assert pose.s_front_mm[0] - s[0] == pytest.approx(2 * 500.0 * math.asin(wide / 2 / (500.0 - inward)), abs=1e-6)


def test_turned_wagon_looks_the_other_way_and_rolls_the_other_way():
    line = build("canted", [straight(2000.0, cant0_mm=0.8, cant1_mm=0.8)])
    s = np.array([1000.0])
    ahead, turned = on(line, s), on(line, s, facing=-1)
    assert turned.heading_rad - ahead.heading_rad == pytest.approx(math.pi)
    # left rail high: cant = gauge sin(roll)
    assert ahead.roll_rad[0] == pytest.approx(math.asin(0.8 / 16.5))
    assert turned.roll_rad[0] == pytest.approx(-math.asin(0.8 / 16.5))
    assert turned.s_front_mm[0] == pytest.approx(935.0)


def test_climb_is_that_of_the_chord():
    from wayrule.sim import Grade

    line = build("hill", [straight(2000.0)], grades=[Grade(1, 0.03)])
    pose = on(line, np.array([500.0]))
    assert pose.climb_rad[0] == pytest.approx(math.atan(0.03), abs=1e-9)
    # the chord is a wheelbase in space, hence shorter in plan
    assert pose.s_front_mm[0] - 500.0 == pytest.approx(65.0 * math.cos(math.atan(0.03)), abs=1e-6)


def test_play_turns_the_body_by_its_difference_over_the_wheelbase():
    line = build("straight", [straight(500.0)])
    s = np.array([100.0])
    pose = body.pose(line, HO_VAN, s, 1, np.array([-0.1]), np.array([0.2]))
    assert pose.heading_rad[0] == pytest.approx(math.asin(0.3 / 65.0), abs=1e-9)
    assert pose.y_mm[0] == pytest.approx(-0.1)


def test_at_rest_on_the_level_the_force_is_gravity_upwards():
    line = build("straight", [straight(500.0)])
    pose = on(line, np.full(50, 100.0))
    assert np.max(np.abs(body.specific_force(pose, (30.0, 1.5, 14.0), DT, G) - [0, 0, G])) < 1e-6


def test_on_a_circle_the_force_points_to_the_centre():
    # a steady turn to the left: +y is towards the centre; a point at lever arm x, y of the body moves on its own
    # circle about the centre, so a = -omega^2 r, r from the centre
    line = circle()
    v, radius = 300.0, 500.0
    pose = on(line, 100.0 + v * np.arange(0, 2, DT))
    omega = v / radius
    chord_y = math.sqrt(radius**2 - 32.5**2)  # the centre lies at (32.5, chord_y) in the body
    for place in ((0.0, 0.0, 0.0), (30.0, 1.5, 14.0), (32.5, 0.0, 0.0)):
        force = body.specific_force(pose, place, DT, G)[10:-10]
        expected = [omega**2 * (32.5 - place[0]), omega**2 * (chord_y - place[1]), G]
        assert np.max(np.abs(force - expected)) < 0.01  # mm/s2, against 180 of turning


def test_starting_pushes_forward():
    line = build("straight", [straight(1000.0)])
    t = np.arange(0, 2, DT)
    pose = on(line, 100.0 + 0.5 * 80.0 * t**2)
    assert body.specific_force(pose, (30.0, 0.0, 14.0), DT, G)[100] == pytest.approx([80.0, 0.0, G], abs=1e-3)


def test_force_on_a_canted_curve_leans_into_the_body():
    line = circle(cant_mm=-0.8)
    pose = on(line, 100.0 + 300.0 * np.arange(0, 1, DT))
    roll = -math.asin(0.8 / 16.5)
    force = body.specific_force(pose, (32.5, 0.0, 0.0), DT, G)[20]
    inward = 300.0**2 / 500.0**2 * math.sqrt(500.0**2 - 32.5**2)
    # left side down: gravity shows on -y... the seat pushes up, so +g sin(roll) on y
    assert force[1] == pytest.approx(inward * math.cos(roll) + G * math.sin(roll), abs=0.02)


def test_yaw_rate_through_a_transition_is_speed_times_mean_curvature():
    line = build("ease", [straight(200.0), transition(300.0, 0.0, 1 / 400.0), arc(400.0, 90.0)])
    s = 10.0 + 250.0 * np.arange(0, 3, DT)
    pose = on(line, s)
    yaw = body.rates(pose.heading_rad, pose.climb_rad, pose.roll_rad, DT)[5:-5, 2]
    mean = line.mean_curvature((s + pose.s_front_mm)[5:-5] / 2, 65.0)
    assert np.max(np.abs(yaw - 250.0 * mean)) < 2e-3 * 250.0 / 400.0
