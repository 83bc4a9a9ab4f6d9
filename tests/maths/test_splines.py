"""Uniform cubic B-splines against scipy's general B-splines (an independent implementation)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import BSpline

from wayrule.maths.splines import UniformSpline


def reference(spline: UniformSpline, c: np.ndarray) -> BSpline:
    """The same function in scipy: open knots reach three beyond each end, closed ones go round."""
    if spline.closed:
        t = spline.origin + spline.h * np.arange(-3, spline.n + 4)
        return BSpline(t, np.r_[c, c, c][spline.n - 1 : 2 * spline.n + 2], 3, extrapolate="periodic")
    return BSpline(spline.origin + spline.h * np.arange(-3, spline.n + 1), c, 3)


@pytest.mark.parametrize("closed", [False, True])
def test_value_and_slope_agree_with_scipy(closed):
    spline = UniformSpline.over(2.0, 12.0, 0.37, closed=closed)
    c = np.random.default_rng(1).normal(size=spline.n)
    p = np.linspace(2.0, 12.0 - 1e-6, 57)
    want = reference(spline, c)
    np.testing.assert_allclose(spline.value_rows(p) @ c, want(p), atol=1e-12)
    np.testing.assert_allclose(spline.slope_rows(p) @ c, want(p, 1), atol=1e-10)


@settings(max_examples=60, deadline=None)
@given(
    start=st.floats(2.0, 9.0),
    length=st.floats(0.05, 2.9),
    back=st.booleans(),
    closed=st.booleans(),
    seed=st.integers(0, 9),
)
def test_mean_over_an_interval_is_the_integral_over_its_length(start, length, back, closed, seed):
    spline = UniformSpline.over(2.0, 12.0, 0.37, closed=closed)
    c = np.random.default_rng(seed).normal(size=spline.n)
    a, signed = (start + length, -length) if back else (start, length)
    mean = (spline.mean_rows(np.array([a]), signed) @ c)[0]
    assert mean == pytest.approx(reference(spline, c).integrate(start, start + length) / length, abs=1e-9)


def test_a_closed_spline_repeats_after_its_period():
    spline = UniformSpline.over(0.0, 10.0, 0.5, closed=True)
    c = np.random.default_rng(2).normal(size=spline.n)
    p = np.linspace(0, 10, 31)
    np.testing.assert_allclose(spline.value_rows(p) @ c, spline.value_rows(p + 30.0) @ c, atol=1e-12)


def test_an_open_spline_is_held_beyond_its_ends():
    spline = UniformSpline.over(0.0, 10.0, 0.5, closed=False)
    c = np.random.default_rng(3).normal(size=spline.n)
    ends = spline.value_rows(np.array([0.0, -4.0, 10.0, 13.0])) @ c
    assert ends[0] == pytest.approx(ends[1])
    assert ends[2] == pytest.approx(ends[3], abs=1e-6)
