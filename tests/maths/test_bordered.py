"""Banded blocks with a border against numpy's dense solver and inverse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from wayrule.maths.bordered import BandBlock, Bordered, fold


def ring(rng: np.random.Generator, n: int, width: int, closed: bool) -> np.ndarray:
    """A symmetric positive definite band matrix, wrapping round when closed."""
    rows = []
    for _i in range(2 * n):
        row = np.zeros(n)
        start = rng.integers(0, n if closed else n - width)
        row[(start + np.arange(width)) % n] = rng.normal(size=width)
        rows.append(row)
    a = np.array(rows)
    return a.T @ a + 0.1 * np.eye(n)


@settings(max_examples=30, deadline=None)
@given(n=st.integers(12, 60), width=st.integers(1, 5), closed=st.booleans(), seed=st.integers(0, 99))
def test_solution_and_covariance_agree_with_dense_algebra(n, width, closed, seed):
    rng = np.random.default_rng(seed)
    a, b = ring(rng, n, width, closed), ring(rng, n + 3, width, closed)
    k = 4
    border = rng.normal(size=(2 * n + 3, k))
    corner = np.diag([5.0, 7.0, -1e-4, -1e-4]) + 0.1  # the last two are multipliers of constraints
    corner[2:, 2:] = np.diag([-1e-4, -1e-4])
    system = Bordered.of([sparse.csr_array(a), sparse.csr_array(b)], border, corner, closed=closed)
    whole = np.block([[a, np.zeros((n, n + 3)), border[:n]], [np.zeros((n + 3, n)), b, border[n:]], [border.T, corner]])
    f, g = rng.normal(size=2 * n + 3), rng.normal(size=k)
    x, y = system.solve(f, g)
    np.testing.assert_allclose(whole @ np.r_[x, y], np.r_[f, g], atol=1e-7)
    rows = rng.normal(size=(6, 2 * n + 3))
    rows_border = rng.normal(size=(6, k))
    full = np.hstack((rows, rows_border))
    want = full @ np.linalg.solve(whole, full.T)
    np.testing.assert_allclose(system.covariance(rows, rows_border), want, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(system.variances(sparse.csr_array(rows), rows_border, chunk=4), np.diag(want), rtol=1e-6)


def test_a_ring_is_folded_so_that_neighbours_stay_near():
    order = fold(101, closed=True)
    place = np.empty(101, int)
    place[order] = np.arange(101)
    apart = np.abs(place - np.roll(place, 1))
    assert sorted(order.tolist()) == list(range(101))
    assert apart.max() == 2


def test_a_matrix_that_is_not_positive_definite_is_refused():
    with pytest.raises(np.linalg.LinAlgError):
        BandBlock.of(sparse.csr_array(-np.eye(4)), closed=False)
