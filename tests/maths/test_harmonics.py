"""Periodic reading error from smooth motion: errors put in by hand come out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.harmonics import fit_harmonics


def reading(phi, error):
    """psi with psi - h(psi) = phi, by fixed-point iteration."""
    psi = phi.copy()
    for _ in range(60):
        psi = phi + error(psi)
    return psi


def uneven_motion(seed, rate=200.0, seconds=60.0):
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, seconds, 1 / rate)
    slow = np.interp(t, np.linspace(0, seconds, 40), rng.uniform(0.8, 1.2, 40))
    return t, np.cumsum(28.0 * slow / rate)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 999), order=st.integers(1, 6), size=st.floats(0.01, 0.08), at=st.floats(0, 6.3))
def test_one_harmonic_comes_out(seed, order, size, at):
    t, phi = uneven_motion(seed)
    psi = reading(phi, lambda x: size * np.cos(order * x - at))
    found = fit_harmonics(t, psi, np.ones(len(t), bool))
    assert found.amplitude_rad[order - 1] == pytest.approx(size, abs=0.003)
    left = found.corrected(psi) - phi
    assert np.std(left) < 0.003


def test_sd_is_what_many_seeds_scatter():
    misses = []
    for seed in range(20):
        t, phi = uneven_motion(seed, rate=100.0, seconds=40.0)
        psi = reading(phi, lambda x: 0.05 * np.cos(2 * x)) + np.random.default_rng(seed).normal(0, 0.01, len(t))
        found = fit_harmonics(t, psi, np.ones(len(t), bool))
        misses.append((found.cosine[1] - 0.05) / found.sd_rad[1])
    assert np.sqrt(np.mean(np.square(misses))) < 1.5


def test_too_few_turns_claim_nothing():
    t = np.linspace(0, 2, 400)
    psi = 12.0 * t + 0.05 * np.sin(24 * t)
    found = fit_harmonics(t, psi, np.ones(400, bool))
    assert not found.amplitude_rad.any()
    assert np.isinf(found.sd_rad).all()
    np.testing.assert_array_equal(found.corrected(psi), psi)


def test_standing_and_reversing_stretches_do_not_spoil_it():
    t = np.arange(0.0, 80.0, 0.005)
    v = 25.0 * np.clip(np.minimum(np.abs((t % 40) - 20) - 4, 4) / 4, 0, 1) * np.where(t < 40, 1, -1)
    phi = np.cumsum(v) * 0.005
    psi = reading(phi, lambda x: 0.06 * np.sin(x) + 0.03 * np.cos(3 * x))
    steady = np.abs(v) > 5
    found = fit_harmonics(t, psi, steady)
    np.testing.assert_allclose(found.amplitude_rad[[0, 2]], [0.06, 0.03], atol=0.002)
    # a constant is left over: h has no mean, the angle's zero is free
    assert np.std(found.corrected(psi) - phi) < 0.003


def test_white_noise_claims_no_harmonic():
    t, phi = uneven_motion(5)
    claimed = [
        np.count_nonzero(
            fit_harmonics(
                t, phi + np.random.default_rng(k).normal(0, 0.01, len(t)), np.ones(len(t), bool)
            ).amplitude_rad
        )
        for k in range(10)
    ]
    assert sum(claimed) <= 1  # 60 pairs, three sd each
