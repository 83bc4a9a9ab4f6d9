"""The error of a plain arctangent by order, against its series and against brute force."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.arctangent import by_order


def curve_of(x, y, most=6):
    """Fourier numbers of two readings over a turn."""
    phi = np.linspace(0, 2 * np.pi, 512, endpoint=False)
    k = np.arange(1, most + 1)
    both = np.stack([x(phi), y(phi)], axis=1)
    cosine, sine = (2 / 512 * f(np.outer(k, phi)) @ both for f in (np.cos, np.sin))
    return np.concatenate([both.mean(axis=0)[None], cosine, sine])


@settings(max_examples=30, deadline=None)
@given(rho=st.floats(0.01, 0.6), way=st.floats(0, 6.28), turn=st.sampled_from([1, -1]))
def test_an_offset_alone_makes_rho_to_the_k_over_k(rho, way, turn):
    """log(1 + x) = x - x2/2 + x3/3 .. (Mercator, Logarithmotechnia, 1668): its imaginary part at x = rho e^(i phi)."""
    found = by_order(
        curve_of(lambda p: np.cos(p) + rho * np.cos(way), lambda p: turn * np.sin(p) + rho * np.sin(way)), 6
    )
    k = np.arange(1, 7)
    assert found.raw == pytest.approx(rho**k / k, abs=1e-9)
    assert found.offset == pytest.approx(rho**k / k, abs=1e-9)
    assert found.axes == pytest.approx(0, abs=1e-9)
    assert found.shape == pytest.approx(0, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(gain=st.floats(0.5, 2.0), skew=st.floats(-0.3, 0.3))
def test_gain_and_phase_alone_show_twice_a_turn_and_at_its_multiples(gain, skew):
    """cos and gain sin(phi + skew): N/P = (1 - g e^(i s)) / (1 + g e^(-i s)), the two circles they are made of."""
    found = by_order(curve_of(np.cos, lambda p: gain * np.sin(p + skew)), 6)
    kappa = abs((1 - gain * np.exp(1j * skew)) / (1 + gain * np.exp(-1j * skew)))
    expected = [0, kappa, 0, kappa**2 / 2, 0, kappa**3 / 3]
    assert found.raw == pytest.approx(expected, abs=1e-9)
    assert found.axes == pytest.approx(expected, abs=1e-9)


def test_a_small_gain_error_is_half_of_it_twice_a_turn_and_a_small_skew_half_of_that():
    """Textbook sizes for a pair in quadrature: gain error g gives g/2, phase error s gives s/2, both twice a turn."""
    assert by_order(curve_of(np.cos, lambda p: 1.02 * np.sin(p)), 2).raw[1] == pytest.approx(0.01, rel=0.02)
    assert by_order(curve_of(np.cos, lambda p: np.sin(p + 0.02)), 2).raw[1] == pytest.approx(0.01, rel=0.02)


def test_shape_moves_to_the_orders_beside_its_own():
    """A third harmonic of 1 % ahead gives 1 % twice a turn, one back 1 % four times a turn."""
    ahead = by_order(
        curve_of(lambda p: np.cos(p) + 0.01 * np.cos(3 * p), lambda p: np.sin(p) + 0.01 * np.sin(3 * p)), 6
    )
    back = by_order(curve_of(lambda p: np.cos(p) + 0.01 * np.cos(3 * p), lambda p: np.sin(p) - 0.01 * np.sin(3 * p)), 6)
    assert ahead.shape == pytest.approx([0, 0.01, 0, 0, 0, 0], abs=1e-12)
    assert back.shape == pytest.approx([0, 0, 0, 0.01, 0, 0], abs=1e-12)
    assert ahead.raw[:2] == pytest.approx([0, 0.01], abs=1e-4)
    assert back.raw[3] == pytest.approx(0.01, abs=1e-4)


def test_beyond_the_circle_turns_are_lost_and_no_size_is_told():
    found = by_order(curve_of(lambda p: np.cos(p) + 1.2, np.sin), 3)
    assert np.isnan(found.raw).all()
    assert np.isnan(found.offset).all()
