"""Bogies in curves from plane geometry done another way; what moves the reading."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from wayrule.model import Magnets
from wayrule.wagon.motion import Motion, bogie_swing, motion_errors, plays, sunk, two_axle_swing
from wayrule.wagon.reading import reader_of
from wayrule.wagon.sources import as_drawn, sources_of
from wayrule.wagon.turns import fields_over_turn

PAIR = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
PLACE = (0.8, 1.2, 12.5)
PHI = np.linspace(0.0, 2 * math.pi, 72, endpoint=False)


@given(st.floats(300.0, 2000.0), st.floats(40.0, 300.0), st.floats(10.0, 60.0), st.booleans(), st.booleans())
def test_bogie_in_a_curve_with_all_four_axles_on_the_arc(radius, pivots, wheelbase, leading, left):
    # four axles at angles on a circle; pivots half-way between a bogie's axles: solve for the angles, then measure
    def pivot(at):
        return radius * math.cos(wheelbase_angle) * np.array([math.sin(at), -math.cos(at)])

    wheelbase_angle = math.asin(wheelbase / 2 / radius)
    middle = float(brentq(lambda a: np.linalg.norm(pivot(a) - pivot(-a)) - pivots, 0.0, 1.5))
    side = 1.0 if left else -1.0
    front, rear = (pivot(a) * [1, side] for a in (middle, -middle))
    ahead = middle + (wheelbase_angle if leading else -wheelbase_angle)
    axle = radius * np.array([math.sin(ahead), -side * math.cos(ahead)])
    forward = (front - rear) / pivots
    across = np.array([-forward[1], forward[0]])
    nominal = front + (wheelbase / 2 if leading else -wheelbase / 2) * forward
    found = bogie_swing(
        radius_mm=radius, pivots_mm=pivots, bogie_wheelbase_mm=wheelbase, leading_axle=leading, left=left
    )
    assert found.shift_mm[0] == pytest.approx((axle - nominal) @ forward, abs=1e-6)
    assert found.shift_mm[1] == pytest.approx((axle - nominal) @ across, abs=1e-6)


def test_a_two_axle_wagon_beats_a_bogie_wagon_in_a_sharp_curve():
    # common practice, no source
    bogie = bogie_swing(radius_mm=360, pivots_mm=118, bogie_wheelbase_mm=29, leading_axle=True)
    short = two_axle_swing(radius_mm=360, wheelbase_mm=65, play_mm=0.22)
    worst = [error.worst_rad for error in motion_errors(PAIR, PLACE, (bogie, short))]
    assert worst[0] > 20 * worst[1]


def test_a_wagon_that_cannot_stand_in_the_curve_is_refused():
    with pytest.raises(ValueError, match="can stand, came 55 mm"):
        bogie_swing(radius_mm=55, pivots_mm=118, bogie_wheelbase_mm=29, leading_axle=True)
    with pytest.raises(ValueError, match="above half the wheelbase 65 mm, came 30 mm"):
        two_axle_swing(radius_mm=30, wheelbase_mm=65)


def test_play_forward_turns_the_line_of_sight_of_a_dipole():
    # far dipole, sensor straight above at z, moved by d << z: B rotates; with the ellipse 2:1 made round, the reading
    # shifts on the mean by (3 d/z)(1/2 + 2)/2 /... : derived here from the dipole itself, not from the tool's field
    d, z = 0.05, 40.0
    m = np.stack([np.sin(PHI), 0 * PHI, np.cos(PHI)], -1)

    def dipole(r):
        unit = r / np.linalg.norm(r)
        return (3 * (m @ unit)[:, None] * unit - m) / np.linalg.norm(r) ** 3

    moved = dipole(np.array([-d, 0.0, z])) * z**3
    psi = np.arctan2(-moved[:, 0], moved[:, 2] / 2)
    exact = np.mean(np.remainder(psi - PHI + math.pi, 2 * math.pi) - math.pi)
    found = motion_errors(PAIR, (0.0, 0.0, z), (Motion("play", (d, 0.0, 0.0)),))[0]
    assert found.steady_rad == pytest.approx(exact, rel=0.02)


def test_moving_the_axle_is_moving_the_sensor_the_other_way():
    build = replace(as_drawn(1, 2), sensor_mm=np.array([[-0.3, 0.2, -0.4]]))
    moved = fields_over_turn(PAIR, PLACE, build=build)[0]
    reader = reader_of(fields_over_turn(PAIR, PLACE)[0])
    still = reader.error_rad(fields_over_turn(PAIR, PLACE)[0], PHI)
    found = motion_errors(PAIR, PLACE, (Motion("all", (0.3, -0.2, 0.4)),))[0]
    assert found.worst_rad == pytest.approx(np.max(np.abs(reader.error_rad(moved, PHI) - still)), rel=1e-6)


def test_springs_bring_the_axle_nearer_and_the_signal_up():
    # a dipole: (12.5 / 11.5)^3 = 1.284
    assert motion_errors(PAIR, (0.0, 0.0, 12.5), (sunk(1.0),))[0].signal == pytest.approx((12.5 / 11.5) ** 3, rel=0.02)


def test_all_plays_are_told():
    named = motion_errors(PAIR, PLACE, plays((0.1, 0.2, 0.1), 24.0))
    assert len(named) == 5
    assert all(0 < error.worst_rad < 0.05 for error in named)
    assert plays((0.1, 0.2, 0.1), 24.0)[3].yaw_rad == pytest.approx(math.atan(0.2 / 24))


def test_a_reader_gives_the_angle_of_its_own_ellipse_and_the_sense():
    field = np.stack([-1.3 * np.sin(PHI) + 0.3, 0.1 * np.cos(PHI), 2.7 * np.cos(PHI) - 0.2], -1)
    reader = reader_of(field)
    assert np.max(np.abs(reader.error_rad(field, PHI))) < 1e-12
    assert reader.signal_mt == pytest.approx((math.hypot(2.7, 0.1), 1.3))


def test_a_field_that_only_comes_and_goes_is_refused():
    with pytest.raises(ValueError, match=r"expected a field that turns, came an ellipse of 2 by 0 mT"):
        reader_of(np.stack([2 * np.cos(PHI), 0 * PHI, 0 * PHI], -1))


def test_yaw_and_roll_are_turns_about_their_own_axes():
    place = (0.8, 5.0, 12.5)
    reader = reader_of(fields_over_turn(PAIR, place)[0])
    still = reader.error_rad(fields_over_turn(PAIR, place)[0], PHI)
    a = 0.1
    about_z = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    for motion, turn in ((Motion("yaw", yaw_rad=a), about_z), (Motion("roll", roll_rad=a), about_x)):
        # the whole axle turned is the sensor turned back, its field turned forward
        field = fields_over_turn(PAIR, tuple(turn.T @ np.array(place)))[0] @ turn.T
        exact = np.max(np.abs(reader.error_rad(field, PHI) - still))
        assert motion_errors(PAIR, place, (motion,))[0].worst_rad == pytest.approx(exact, rel=1e-5)
