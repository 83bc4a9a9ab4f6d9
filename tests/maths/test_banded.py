"""Banded sums and their factors against numpy's dense solver."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from wayrule.maths.banded import Banded, fold


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


def summed(matrix: np.ndarray, *, closed: bool, position: np.ndarray | None = None) -> Banded:
    """The matrix as the sum of two parts; narrow at first, so that it has to grow."""
    out = Banded(len(matrix), position, closed=closed, width=2)
    out.add(sparse.csr_array(0.25 * matrix))
    out.add(sparse.csr_array(0.75 * matrix))
    return out


@settings(max_examples=40, deadline=None)
@given(n=st.integers(6, 90), width=st.integers(1, 5), closed=st.booleans(), seed=st.integers(0, 99))
def test_solutions_agree_with_dense_algebra(n, width, closed, seed):
    rng = np.random.default_rng(seed)
    a = ring(rng, n, width, closed)
    shuffled = rng.permutation(n)
    factor = summed(a[np.ix_(shuffled, shuffled)], closed=closed, position=shuffled.astype(float)).factored()
    one, many = rng.normal(size=n), rng.normal(size=(n, 3))
    dense = a[np.ix_(shuffled, shuffled)]
    np.testing.assert_allclose(factor.solve(one), np.linalg.solve(dense, one), rtol=1e-7, atol=1e-9)
    np.testing.assert_allclose(factor.solve(many), np.linalg.solve(dense, many), rtol=1e-7, atol=1e-9)
    few = many * (np.abs(many) > 1)
    np.testing.assert_allclose(
        factor.gram(sparse.csr_array(few)), few.T @ np.linalg.solve(dense, few), rtol=1e-7, atol=1e-9
    )


def test_a_band_is_kept_and_no_more():
    """A tridiagonal matrix of a thousand unknowns in a ring, folded: two places apart at most."""
    n = 1000
    ahead = sparse.csr_array((np.ones(n), (np.arange(n), np.roll(np.arange(n), -1))), shape=(n, n))
    band = Banded(n, closed=True, width=1)
    band.add(sparse.csr_array(3 * sparse.eye_array(n) + ahead + ahead.T))
    assert band.width == 2
    assert band.values.shape == (n, 3)


def test_a_ring_is_folded_so_that_neighbours_stay_near():
    order = fold(101, closed=True)
    place = np.empty(101, int)
    place[order] = np.arange(101)
    apart = np.abs(place - np.roll(place, 1))
    assert sorted(order.tolist()) == list(range(101))
    assert apart.max() == 2


def test_a_matrix_that_is_not_positive_definite_is_refused():
    with pytest.raises(np.linalg.LinAlgError):
        summed(-np.eye(4), closed=False).factored()
