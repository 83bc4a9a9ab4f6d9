"""Bias, scale and skew out of a known size, against the truth they were made with."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.ellipsoid import best_next, fit_ellipsoid, symmetric

LOOSE = np.repeat([10.0, 10.0, 10.0], 3)
TIGHT = np.repeat([0.1, 0.03, 0.003], 3)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_twelve_noiseless_orientations_give_all_nine_back(seed: int) -> None:
    rng = np.random.default_rng(seed)
    truth = rng.normal(0.0, np.repeat([0.05, 0.02, 0.005], 3))
    ways = rng.standard_normal((12, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    fit = fit_ellipsoid(ways @ symmetric(truth[3:]) + truth[:3], np.full(12, 1e-9), LOOSE)
    assert fit.values == pytest.approx(truth, abs=1e-6)
    assert np.abs(fit.leftover).max() < 1e-7


def test_errors_are_as_large_as_claimed() -> None:
    rng, off = np.random.default_rng(3), []
    for _ in range(150):
        truth = rng.normal(0.0, TIGHT)
        ways = np.vstack([np.eye(3), -np.eye(3), rng.standard_normal((3, 3))])
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        points = ways @ symmetric(truth[3:]) + truth[:3] + rng.normal(0.0, 1e-4, (9, 3))
        fit = fit_ellipsoid(points, np.full(9, 1e-4), TIGHT)
        off.append((fit.values - truth) / np.sqrt(np.diag(fit.covariance)))
    assert 0.75 < np.sqrt(np.mean(np.square(off))) < 1.25


def test_points_that_contradict_each_other_widen_the_sds() -> None:
    rng = np.random.default_rng(4)
    ways = rng.standard_normal((30, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    quiet = fit_ellipsoid(ways, np.full(30, 1e-4), TIGHT)
    loud = fit_ellipsoid(ways * (1 + 1e-2 * rng.standard_normal((30, 1))), np.full(30, 1e-4), TIGHT)
    assert np.sqrt(loud.covariance[0, 0] / quiet.covariance[0, 0]) > 30


def test_the_side_that_was_never_down_is_asked_for() -> None:
    sides = np.vstack([np.eye(3), -np.eye(3)])
    for missing in range(6):
        others = np.delete(sides, missing, axis=0)
        best, after = best_next(others, np.full(5, 1e-4), TIGHT, sides, slice(0, 3))
        assert best == missing
        assert after[:3].max() < 5e-4
