"""Robust scales, against numpy on normal noise and with wild values added."""

import numpy as np
import pytest
from scipy.stats import norm

from wayrule.maths.robust import MAD_TO_SD, robust_sd, white_noise_sd


def test_factor_is_that_of_the_normal_distribution():
    assert pytest.approx(1.0 / norm.ppf(0.75), rel=1e-12) == MAD_TO_SD


def test_wild_values_and_nan_do_not_move_it():
    x = np.random.default_rng(1).normal(5.0, 2.0, 4000)
    assert robust_sd(x) == pytest.approx(2.0, rel=0.06)
    spoilt = x.copy()
    spoilt[:400] = 1e6
    spoilt[400:500] = np.nan
    assert robust_sd(spoilt) == pytest.approx(2.0, rel=0.25)
    assert np.isnan(robust_sd(np.full(3, np.nan)))


def test_white_part_of_a_slow_signal():
    t = np.linspace(0, 20, 4000)
    noise = np.random.default_rng(2).normal(0, 0.03, 4000)
    assert white_noise_sd(np.sin(t) + 5 * t + noise) == pytest.approx(0.03, rel=0.06)
    assert np.isnan(white_noise_sd(np.zeros(2)))
