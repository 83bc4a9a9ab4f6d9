"""Counting turns, against numpy's unwrap where that is right and against turns counted by hand where it is not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.run.unwrap import FAST_TURN, unwrap, wrap

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
