"""The mean curve and the nearest angle on it, against curves drawn by hand and the bound of Cramer and Rao."""

import numpy as np
import pytest

from wayrule.maths.turncurve import mean_curve, slopes_of, terms_of, towards

CURVE = np.array([[0.1, 0.2, -0.3], [0.0, 0.3, 2.0], [0.01, 0.0, 0.02], [1.0, 0.0, 0.1], [0.0, 0.02, 0.03]])


def test_a_curve_that_was_drawn_is_found_again():
    phi = np.linspace(0, 40, 500)
    points = terms_of(phi, 2) @ CURVE
    points[7] = np.nan
    assert mean_curve(phi, points, np.arange(500) != 7, 2) == pytest.approx(CURVE, abs=1e-12)


def test_slope_is_the_difference():
    phi, h = np.linspace(0, 7, 50), 1e-6
    assert slopes_of(phi, CURVE) == pytest.approx(
        (terms_of(phi + h, 2) - terms_of(phi - h, 2)) @ CURVE / (2 * h), abs=1e-8
    )


def test_noise_leaves_the_angle_its_least_variance_and_no_bias():
    """Var >= s2 / |B'|2 for any unbiased reading (Cramer 1946, Rao 1945); one Gauss-Newton step attains it."""
    rng = np.random.default_rng(4)
    phi = rng.uniform(0, 2 * np.pi, 40_000)
    noisy = terms_of(phi, 2) @ CURVE + rng.normal(0, 0.01, (40_000, 3))
    step, across, slope = towards(phi, noisy, CURVE)
    assert np.mean((step * slope) ** 2) == pytest.approx(0.01**2, rel=0.03)  # 40 000 squares: 0.7 % each sd
    assert abs(np.mean(step)) < 3 * 0.01 / slope.min() / 200
    assert np.sum(across**2) / 80_000 == pytest.approx(0.01**2, rel=0.03)  # two components are left
    assert np.abs(np.sum(across * slopes_of(phi, CURVE), axis=1)).max() < 1e-12
