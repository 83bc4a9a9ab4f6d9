"""Counting turns, against numpy's unwrap where that is right and against turns counted by hand where it is not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.counting import HARDEST_TURNS_S2, proved_gap_s
from wayrule.run.unwrap import FAST_TURN, unwrap, wrap
from wayrule.sim.spin import wandering

TAU = 2.0 * np.pi


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), fastest=st.floats(0.01, 0.39), n=st.integers(5, 400))
def test_agrees_with_numpy_below_the_limit(seed, fastest, n):
    steps = np.random.default_rng(seed).uniform(-fastest, fastest, n) * TAU
    wrapped = wrap(np.cumsum(steps))
    found = unwrap(np.arange(n) * 0.01, wrapped)
    np.testing.assert_allclose(found.psi_rad, np.unwrap(wrapped), atol=1e-9)
    assert not found.fast.any()
    assert not found.gap_sd_rad.any()


def test_faster_than_half_a_turn_is_followed_where_numpy_turns_back():
    speed = np.concatenate([np.linspace(0.0, 0.8, 60), np.full(50, 0.8), np.linspace(0.8, 0.0, 60)])  # turns a sample
    truth = TAU * np.cumsum(speed)
    assert abs(np.unwrap(wrap(truth))[-1] - truth[-1]) > 10 * TAU  # the control
    found = unwrap(np.arange(len(truth)) * 0.02, wrap(truth))
    np.testing.assert_allclose(np.diff(found.psi_rad), np.diff(truth), atol=1e-9)
    np.testing.assert_array_equal(found.fast[speed > FAST_TURN + 0.02], True)
    assert not found.fast[speed < FAST_TURN - 0.03].any()


@pytest.mark.parametrize(("missing", "sure", "unsure"), [(3, 1, 0), (60, 0, 1)])
def test_gap_goes_on_at_the_speed_around_it(missing, sure, unsure):
    truth = 0.06 * TAU * np.arange(300.0)
    wrapped = wrap(truth)
    wrapped[100 : 100 + missing] = np.nan
    found = unwrap(np.arange(300) * 0.01, wrapped)
    np.testing.assert_allclose(found.psi_rad, truth, atol=1e-9)
    assert (found.gaps_sure, len(found.gaps_unsure)) == (sure, unsure)
    assert found.bridged.sum() == missing


def test_rows_left_out_are_a_gap_as_well():
    t = np.arange(300) * 0.01
    keep = (t < 1.0) | (t > 1.5)
    truth = 0.06 * TAU * np.arange(300.0)
    found = unwrap(t[keep], wrap(truth)[keep])
    np.testing.assert_allclose(found.psi_rad, truth[keep] - truth[0], atol=1e-9)
    assert len(found.gaps_unsure) == 1
    assert found.gap_sd_rad[-1] == pytest.approx(TAU)


def test_gap_between_unlike_speeds_is_as_unsure_as_the_speeds_differ():
    speed = np.where(np.arange(400) < 200, 0.02, 0.1) * TAU
    wrapped = wrap(np.cumsum(speed))
    wrapped[150:250] = np.nan
    found = unwrap(np.arange(400) * 0.01, wrapped)
    assert found.gap_sd_rad[-1] == pytest.approx(0.08 * TAU * 101 / np.sqrt(12), rel=0.01)  # uniform between the two


def test_missing_ends_are_held():
    wrapped = wrap(0.3 * np.arange(50.0))
    wrapped[:5] = wrapped[-5:] = np.nan
    found = unwrap(np.arange(50) * 0.01, wrapped)
    assert np.ptp(found.psi_rad[:6]) == 0.0
    assert np.ptp(found.psi_rad[-6:]) == 0.0


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 100_000),
    rate=st.sampled_from([100.0, 200.0, 400.0]),
    longest_s=st.sampled_from([0.05, 0.2, 0.6]),
)
def test_no_turn_is_lost_through_gaps_or_it_is_said(seed, rate, longest_s):
    """Any motion below the limits, gaps anywhere, at stops and reversals as well: right, or an alarm at that gap; never
    an alarm at a gap within what is stated."""
    rng = np.random.default_rng(seed)
    t, phi = wandering(6.0, rate, rng, turns_s=min(0.39 * rate, 25.0), turns_s2=HARDEST_TURNS_S2)
    wrapped = wrap(phi + rng.normal(0.0, 0.02, len(t)))
    for at in rng.uniform(0.3, t[-1] - 0.3, 4):
        wrapped[(t > at) & (t < at + rng.uniform(0.0, longest_s))] = np.nan
    found = unwrap(t, wrapped)
    alarms = found.gaps_unsure + found.gaps_unproved
    wrong = np.abs(found.psi_rad - found.psi_rad[0] - phi + phi[0]) > np.pi
    seen = np.isfinite(wrapped)
    for a, _ in alarms:
        seen[a:] = False  # beyond an alarm nothing is promised
    assert not wrong[seen].any()
    stated = proved_gap_s(rate)
    lone = [(a, b) for a, b in found.gaps_unproved if np.isfinite(wrapped[max(0, a - 12) : a + 1]).all()]
    lone = [(a, b) for a, b in lone if np.isfinite(wrapped[b : b + 12]).all() and a > 12 and b < len(t) - 12]
    assert all(t[b] - t[a] > stated for a, b in lone)


def test_a_turn_made_within_a_gap_between_two_stops_is_no_longer_passed_over_in_silence():
    t = np.arange(0.0, 6.0, 0.005)
    phi = TAU * 3.0 * np.clip(t - 2.0, 0.0, 1.0)  # three turns, and only the standing was recorded
    wrapped = wrap(phi)
    wrapped[(t > 1.9) & (t < 3.1)] = np.nan
    found = unwrap(t, wrapped)
    assert len(found.gaps_unproved) == 1
    assert found.psi_rad[-1] == pytest.approx(0.0, abs=1e-6)  # the control: they are lost


def test_what_follows_a_short_gap_at_another_angle_than_it_can_be_raises_an_alarm():
    t = np.arange(0.0, 4.0, 0.005)
    wrapped = wrap(np.where(t < 2.0, 0.0, 0.4 * TAU))  # 0.4 turn within 0.05 s and at a stand before and after
    wrapped[(t > 1.975) & (t < 2.025)] = np.nan
    assert len(unwrap(t, wrapped).gaps_unproved) == 1
