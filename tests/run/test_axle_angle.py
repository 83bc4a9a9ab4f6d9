"""Axle angle from a turning field. Truth: the field of a point dipole, and turns counted by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.errors import UndeterminedError
from wayrule.run.angle import axle_angle

TAU = 2.0 * np.pi


def dipole_field(phi_rad, place_mm, size=10.0):
    """Field of a point dipole m = (sin phi, 0, cos phi) at a place: B ~ 3 (m.r) r - m (textbook, e.g. Jackson 5.56)."""
    r = np.asarray(place_mm) / np.linalg.norm(place_mm)
    m = np.column_stack([np.sin(phi_rad), np.zeros(len(phi_rad)), np.cos(phi_rad)])
    return size / 2.0 * (3.0 * np.outer(m @ r, r) - m)


def roll(turns, rate_hz=200.0, turns_s=4.0, start=0.7):
    """Time and axle angle of a steady roll with a stand before and after."""
    t = np.arange(0.0, turns / turns_s + 2.0, 1.0 / rate_hz)
    return t, start + TAU * turns_s * np.clip(t - 1.0, 0.0, turns / turns_s)


def test_dipole_above_the_axle_turns_an_ellipse_of_two_to_one():
    t, phi = roll(20)
    found = axle_angle(t, dipole_field(phi, (0.0, 0.0, 9.0)))
    assert found.quality.condition == pytest.approx(
        2.0, abs=1e-6
    )  # the dipole's field on its axis is twice that beside
    np.testing.assert_allclose(found.phi_rad, phi - phi[0], atol=1e-6)


@pytest.mark.parametrize("place", [(0, 0, 9), (0, 0, -9), (9, 0, 0), (-6, 0, 6), (1, 2, 9), (0, 9, 1), (1, -9, 2)])
def test_forward_is_positive_wherever_the_sensor_sits(place):
    t, phi = roll(12)
    field = dipole_field(phi, place)
    assert axle_angle(t, field, place_mm=place).phi_rad[-1] == pytest.approx(12 * TAU, abs=0.01)
    assert axle_angle(t, -field, place_mm=place).phi_rad[-1] == pytest.approx(12 * TAU, abs=0.01)  # poles swapped
    backward = dipole_field(-phi, place)
    assert axle_angle(t, backward, place_mm=place).phi_rad[-1] == pytest.approx(-12 * TAU, abs=0.01)


def test_offset_larger_than_the_ellipse_loses_no_turn_where_a_plain_arctangent_does():
    t, phi = roll(137)
    noise = np.random.default_rng(3).normal(0.0, 0.03, (len(t), 3))
    field = dipole_field(phi, (0.0, 0.0, 9.0)) + np.array([30.0, 1.0, -45.0]) + noise
    plain = np.unwrap(np.arctan2(-field[:, 0], field[:, 2] / 2.0))
    assert round(abs(plain[-1] - plain[0]) / TAU) == 0  # the control: nothing counted at all
    found = axle_angle(t, field)
    assert (found.phi_rad[-1] - found.phi_rad[0]) / TAU == pytest.approx(137.0, abs=0.01)
    assert found.quality.offset_ratio > 5.0
    # residual: noise of one axis across the curve, 0.03 mT, within a tenth
    assert found.quality.residual_mt == pytest.approx(0.03, rel=0.1)


def test_harmonics_of_two_unlike_discs_are_taken_out_and_without_that_they_stay():
    rng = np.random.default_rng(5)
    t, phi = roll(300, turns_s=5.0)
    b = dipole_field(phi, (0.0, 0.0, 9.0))
    b[:, 0] += 0.5 * np.sin(3 * phi) + 0.3 * np.cos(2 * phi)
    b[:, 2] += 0.6 * np.cos(3 * phi + 0.2)
    found = axle_angle(t, b + rng.normal(0.0, 0.03, b.shape))
    error = found.phi_rad - (phi - phi[0])
    rolling = (t > 1) & (t < t[-1] - 1)
    # noise 0.03 mT over semi-axes of 5 to 10 mT is 0.25 deg; the harmonics were up to 6 deg
    assert np.degrees(np.std(error[rolling])) < 0.6
    assert max(found.quality.harmonics_deg) > 2.0
    assert np.median(found.sd_rad) == pytest.approx(np.std(error[rolling]), rel=0.4)


def test_short_arc_is_undetermined_and_says_what_to_do():
    t = np.arange(0.0, 5.0, 0.01)
    phi = 0.55 * TAU * np.clip((t - 1) / 3, 0, 1)
    field = dipole_field(phi, (0, 0, 9.0)) + np.random.default_rng(1).normal(0, 0.03, (len(t), 3))
    with pytest.raises(UndeterminedError, match=r"shunt: expected at least 70% of a turn .* came [3-6]\d%; roll the"):
        axle_angle(t, field, run="shunt")


def test_one_axis_only_is_refused():
    field = np.full((50, 3), np.nan)
    field[:, 2] = np.cos(np.arange(50.0))
    with pytest.raises(UndeterminedError, match="expected at least two axes of the turning field, came 1; record two"):
        axle_angle(np.arange(50.0), field)


def test_axes_that_see_only_a_line_are_refused():
    t, phi = roll(10)
    field = dipole_field(phi, (0, 0, 9.0)) + np.random.default_rng(1).normal(0, 0.03, (len(t), 3))
    field[:, 2] = np.nan  # forward and left: the left axis sees nothing of the turning
    with pytest.raises(UndeterminedError, match="ellipse wide enough"):
        axle_angle(t, field)


def test_random_field_is_no_ring():
    field = np.random.default_rng(2).normal(0.0, 3.0, (2000, 3))
    with pytest.raises(UndeterminedError, match=r"expected the field to draw a ring .* came a cloud"):
        axle_angle(np.arange(2000) * 0.005, field, noise_mt=0.03)


def test_standing_wagon_has_turned_nothing_and_says_so():
    field = np.random.default_rng(2).normal([3.0, 0.1, 8.0], 0.03, (2000, 3))
    found = axle_angle(np.arange(2000) * 0.005, field)
    assert not found.turned
    assert not found.phi_rad.any()
    assert "the axle did not turn" in found.notes[0]


def test_two_axes_do():
    t, phi = roll(25)
    field = dipole_field(phi, (0, 0, 9.0)) + np.array([8.0, 0.0, 20.0])
    field[:, 1] = np.nan
    found = axle_angle(t, field)
    assert found.phi_rad[-1] == pytest.approx(25 * TAU, abs=0.01)
    assert any("Two field axes" in note for note in found.notes)


def test_too_fast_for_the_rate_is_followed_and_said():
    rate = 20.0
    t = np.arange(0.0, 60.0, 1 / rate)
    turns_s = np.interp(t, [0, 5, 20, 40, 55, 60], [0, 0, 11.0, 11.0, 0, 0])  # up to 0.55 turn a sample
    phi = TAU * np.concatenate([[0.0], np.cumsum(0.5 * (turns_s[1:] + turns_s[:-1]) / rate)])
    found = axle_angle(t, dipole_field(phi, (0, 0, 9.0)))
    np.testing.assert_allclose(found.phi_rad[-1], phi[-1], atol=0.1)
    np.testing.assert_array_equal(found.unsure[(t > 18) & (t < 42)], True)
    assert not found.unsure[(t < 10) | (t > 52)].any()
    (problem,) = found.problems
    assert problem.kind == "too fast for the rate"
    assert "this rate follows 8.0 turns/s" in problem.text  # 0.4 turn a sample at 20 Hz


def test_short_gap_is_bridged_and_long_gap_says_that_turns_may_be_lost():
    t, phi = roll(60)
    field = dipole_field(phi, (0, 0, 9.0))
    short, long = field.copy(), field.copy()
    short[1000:1010] = np.nan  # 0.055 s at 4 turns/s: 0.22 turn
    long[1000:1100] = np.nan  # 0.505 s: two turns
    found = axle_angle(t, short)
    assert found.phi_rad[-1] == pytest.approx(60 * TAU, abs=0.01)
    assert [p.kind for p in found.problems] == ["field gaps"]
    assert not found.unsure.any()
    found = axle_angle(t, long)
    assert found.phi_rad[-1] == pytest.approx(60 * TAU, abs=0.01)  # steady speed: the prediction holds here
    assert [p.kind for p in found.problems] == ["turns may be lost"]
    assert found.unsure[1000:1100].all()
    assert found.gap_sd_rad[999] == 0.0
    assert found.gap_sd_rad[-1] >= TAU


def test_wild_samples_are_left_out_and_counted():
    t, phi = roll(40)
    field = dipole_field(phi, (0, 0, 9.0)) + np.random.default_rng(1).normal(0, 0.03, (len(t), 3))
    field[[500, 900, 1300]] += [60.0, 0.0, -80.0]
    found = axle_angle(t, field)
    assert found.phi_rad[-1] == pytest.approx(40 * TAU, abs=0.02)
    assert {p.kind: p.count for p in found.problems}["field spikes"] == 3


def test_there_and_back_ends_at_zero():
    t = np.arange(0.0, 40.0, 0.005)
    phi = 30.0 * TAU * np.sin(np.pi * t / 40.0) ** 2
    found = axle_angle(t, dipole_field(phi, (0, 0, 9.0)) + np.array([12.0, 0.0, 4.0]))
    assert found.phi_rad[-1] == pytest.approx(0.0, abs=0.01)
    assert found.phi_rad.max() == pytest.approx(30 * TAU, abs=0.01)


@settings(max_examples=25, deadline=None)
@given(
    offset=st.tuples(*[st.floats(-80, 80)] * 3),
    size=st.floats(2.0, 60.0),
    turns=st.integers(2, 40),
    direction=st.sampled_from([-1, 1]),
    start=st.floats(0, 6.3),
    skew=st.floats(-0.4, 0.4),
)
def test_any_offset_size_and_direction_counts_exactly(offset, size, turns, direction, start, skew):
    t, phi = roll(turns, start=start)
    field = dipole_field(direction * phi, (0, 0, 9.0), size)
    field[:, 1] += skew * field[:, 0]  # the sensor sits a little turned
    noise = np.random.default_rng(turns).normal(0, 0.02, (len(t), 3))
    found = axle_angle(t, field + offset + noise)
    assert found.phi_rad[-1] / TAU == pytest.approx(direction * turns, abs=0.03)  # noise 0.02 of 1 mT: 0.003 turn
