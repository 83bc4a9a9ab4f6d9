"""Local slopes, against numpy's polynomial fit window by window and scipy's Savitzky-Golay filter."""

import numpy as np
import pytest
from scipy.signal import savgol_filter

from wayrule.maths.localfit import local_slope


def test_agrees_with_savitzky_golay_on_even_stamps():
    rng = np.random.default_rng(1)
    y = np.cumsum(rng.normal(size=300))
    for degree in (1, 2):
        found, gain, count = local_slope(np.arange(300) * 0.01, y, 0.05, degree=degree)
        reference = savgol_filter(y, 11, degree, deriv=1, delta=0.01)
        np.testing.assert_allclose(found[5:-5], reference[5:-5], rtol=1e-8, atol=1e-8)
        # Savitzky & Golay: variance of the slope is 12 / (m (m^2 - 1)) per step^2 for m points
        np.testing.assert_allclose(gain[5:-5], np.sqrt(12 / (11 * 120)) / 0.01, rtol=1e-9)
        assert set(count[5:-5]) == {11}


@pytest.mark.parametrize("degree", [1, 2])
def test_agrees_with_polyfit_on_uneven_stamps_with_missing_values(degree):
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.001, 0.02, 200)) + 5000.0  # an hour and more into a log
    y = rng.normal(size=200)
    y[[30, 31, 90]] = np.nan
    found, _, count = local_slope(t, y, 0.08, degree=degree)
    for i in range(200):
        near = (np.abs(t - t[i]) <= 0.08) & np.isfinite(y)
        assert count[i] == near.sum()
        if near.sum() >= degree + 1:
            reference = np.polyfit(t[near] - t[i], y[near], degree)[-2]
            assert found[i] == pytest.approx(reference, rel=1e-6, abs=1e-6)


def test_too_few_neighbours_give_nan():
    found, gain, _ = local_slope(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 2.0]), 0.5)
    assert np.isnan(found).all()
    assert np.isnan(gain).all()
    assert [len(a) for a in local_slope(np.zeros(0), np.zeros(0), 1.0)] == [0, 0, 0]


def test_gain_is_the_sd_of_the_slope():
    rng = np.random.default_rng(3)
    t = np.cumsum(rng.uniform(0.005, 0.015, 60))
    slopes = np.array([local_slope(t, rng.normal(size=60), 0.1)[0] for _ in range(400)])
    gain = local_slope(t, np.zeros(60), 0.1)[1]
    np.testing.assert_allclose(slopes.std(axis=0), gain, rtol=0.15)  # 400 draws: 3.5 % each, the worst of 60
