"""Plane sheets against hand formulas: images, thin and thick limits of eddy currents, many sheets as one."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayrule.maths.sheets import Sheet, back, through

MU0 = 4e-7 * math.pi
K = np.array([0.01, 0.05, 0.1, 0.3, 1.0])


def eddy_sheet(k_1_mm, t_mm, sigma_ms_m, omega):
    """Exact plane sheet, permeability 1, in metres: 4 k g e^{kt} / ((k + g)^2 e^{gt} - (k - g)^2 e^{-gt})."""
    k, t = k_1_mm * 1e3, t_mm * 1e-3
    g = cmath.sqrt(k * k + 1j * omega * MU0 * sigma_ms_m * 1e6)
    return 4 * k * g * cmath.exp(k * t) / ((k + g) ** 2 * cmath.exp(g * t) - (k - g) ** 2 * cmath.exp(-g * t))


@pytest.mark.parametrize("omega", [1.0, 60.0, 1000.0])
@pytest.mark.parametrize("t", [0.2, 1.0, 5.0])
def test_eddy_currents_are_the_exact_plane_sheet(omega, t):
    got = through(K, (Sheet(t, 1.0, 35.0),), omega)
    exact = np.array([eddy_sheet(k, t, 35.0, omega) for k in K])
    assert np.max(np.abs(got / exact - 1)) < 1e-6  # promised 1e-3


def test_thin_sheet_by_hand():
    # thin against 1/k and the skin: T = 1 / (1 + i omega mu0 sigma t / (2 k)); brass 0.1 mm at 100 rad/s, k = 0.1/mm
    got = through(np.array([0.1]), (Sheet(0.1, 1.0, 15.5),), 100.0)[0]
    assert got == pytest.approx(1 / (1 + 1j * 100 * MU0 * 15.5e6 * 1e-4 / (2 * 100.0)), rel=1e-3)


def test_thick_sheet_by_hand():
    # thicker than the skin: T = 4 k g / (k + g)^2 e^{-(g - k) t}; copper 20 mm at 5000 rad/s
    k, t, omega = 0.1, 20.0, 5000.0
    g = cmath.sqrt(100.0**2 + 1j * omega * MU0 * 58e6)
    got = through(np.array([k]), (Sheet(t, 1.0, 58.0),), omega)[0]
    assert got == pytest.approx(4 * 100 * g / (100 + g) ** 2 * cmath.exp(-(g - 100) * t * 1e-3), rel=1e-3)


def test_at_rest_a_conductor_does_nothing():
    assert np.max(np.abs(through(K, (Sheet(3.0, 1.0, 58.0), Sheet(2.0), Sheet(1.0, 1.0, 4.8))) - 1)) < 1e-14


def test_a_lag_has_a_negative_phase_and_turning_back_leads():
    forwards = through(K, (Sheet(1.0, 1.0, 35.0),), 50.0)
    assert np.all(np.angle(forwards) < 0)
    assert through(K, (Sheet(1.0, 1.0, 35.0),), -50.0) == pytest.approx(np.conj(forwards))


@given(st.floats(1.0, 1e4), st.floats(0.1, 5.0), st.floats(1e-3, 3.0), st.floats(0.0, 1e3))
def test_a_sheet_cut_in_two_is_the_same_sheet(mu, t, k, omega):
    whole = through(np.array([k]), (Sheet(t, mu, 7.0),), omega)[0]
    halves = through(np.array([k]), (Sheet(t / 3, mu, 7.0), Sheet(2 * t / 3, mu, 7.0)), omega)[0]
    assert halves == pytest.approx(whole, rel=1e-9)


@given(st.floats(1.001, 1e4), st.floats(0.1, 5.0), st.floats(1e-3, 3.0))
def test_steel_always_lowers_what_passes_and_never_sends_back_more_than_comes(mu, t, k):
    wave = np.array([k])
    assert 0 < through(wave, (Sheet(t, mu),))[0].real < 1
    assert 0 < back(wave, (Sheet(t, mu),))[0].real < 1


def test_what_is_sent_back_is_the_series_of_images():
    # near face: beta (1 - e^{-2kt}) / (1 - beta^2 e^{-2kt}), beta = (mu - 1)/(mu + 1)
    beta, fall = 199 / 201, np.exp(-2 * K * 0.5)
    assert back(K, (Sheet(0.5, 200.0),)) == pytest.approx(beta * (1 - fall) / (1 - beta**2 * fall), rel=1e-12)
