"""The control chart against the handbook's printed example and counted patterns."""

import numpy as np
import pytest
from scipy import stats

from wayrule.maths.controlchart import D2_OF_TWO, chart, newest

FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
"""Flow rate of ten batches (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, example; from memory)."""


def test_the_handbooks_flow_rate() -> None:
    """Printed there: mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159."""
    found = chart(FLOW, np.full(10, 1.0))
    assert found.centre == pytest.approx(50.81)
    assert np.mean(np.abs(np.diff(FLOW))) == pytest.approx(1.8778, abs=5e-5)
    # the handbook divides by d2 rounded to 1.128: 3e-4 of the range
    assert found.limits == pytest.approx((45.8159, 55.8041), abs=2e-3)
    assert found.from_ranges
    assert found.signals == ()


def test_d2_is_the_mean_range_of_two_draws() -> None:
    """E|X - Y| of two standard normals is the mean of |N(0, 2)| (scipy's half normal)."""
    assert stats.halfnorm(scale=np.sqrt(2)).mean() == pytest.approx(D2_OF_TWO)


def few(*values: float) -> tuple[tuple[int, str], ...]:
    """Signals of values whose centre is pinned to 0 and sd to 1 by what they promise: fewer than eight."""
    return chart(np.array(values), np.ones(len(values))).signals


def test_one_far_out() -> None:
    assert few(0.2, -0.2, 0.1, 4.5, -0.1, -0.2)[0] == (3, "beyond three sigmas")
    assert few(0.2, -0.2, 0.1, 1.0, -0.1, -0.2) == ()


def test_two_of_three_and_four_of_five() -> None:
    assert (3, "two of three beyond two sigmas on one side") in few(-3.0, -2.9, 2.9, 3.0, -0.1, 0.1)
    assert (5, "four of five beyond one sigma on one side") in few(-2.9, -2.9, 1.5, 1.5, 1.5, 1.4)


def test_a_trend_is_told_once_and_at_the_sixth() -> None:
    found = few(0.9, 0.6, 0.3, 0.0, -0.3, -0.6, -0.9)
    assert found == ((5, "6 in a row that each fall"),)
    assert few(0.9, 0.6, 0.3, 0.0, -0.3, -0.2, -0.9) == ()


def test_eight_on_one_side() -> None:
    values = np.r_[np.full(8, -0.5) + 0.1 * np.resize([1, -1], 8), 1.0, 1.2, 0.9, 1.1]
    assert (7, "8 in a row on one side") in chart(values, np.ones(12)).signals


def test_the_same_every_time_keeps_what_was_promised() -> None:
    found = chart(np.full(9, 33.0), np.full(9, 0.01))
    assert (found.sd, found.from_ranges) == (pytest.approx(0.01), False)


def test_the_newest_against_those_before() -> None:
    assert np.isnan(newest(np.array([1.0]), np.array([0.1])))
    assert newest(np.array([1.0, 1.0, 2.0]), np.array([1.0, 1.0, 1e-9])) == pytest.approx(1 / np.sqrt(0.5))
