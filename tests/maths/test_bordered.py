"""Banded blocks with a border against numpy's dense solver and inverse."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from tests.maths.test_banded import ring, summed
from wayrule.maths.bordered import Bordered


@settings(max_examples=30, deadline=None)
@given(n=st.integers(12, 60), width=st.integers(1, 5), closed=st.booleans(), seed=st.integers(0, 99))
def test_solution_and_covariance_agree_with_dense_algebra(n, width, closed, seed):
    rng = np.random.default_rng(seed)
    a, b = ring(rng, n, width, closed), ring(rng, n + 3, width, closed)
    k = 4
    border = rng.normal(size=(2 * n + 3, k))
    corner = np.diag([5.0, 7.0, -1e-4, -1e-4]) + 0.1  # the last two are multipliers of constraints
    corner[2:, 2:] = np.diag([-1e-4, -1e-4])
    border[:n, 1] = 0.0  # the first block does not meet the second unknown of the border
    borders = [sparse.csr_array(border[:n]), sparse.csr_array(border[n:])]
    blocks = [summed(one, closed=closed) for one in (a, b)]
    system = Bordered.of(blocks, borders, corner)
    whole = np.block([[a, np.zeros((n, n + 3)), border[:n]], [np.zeros((n + 3, n)), b, border[n:]], [border.T, corner]])
    f, g = rng.normal(size=2 * n + 3), rng.normal(size=k)
    x, y = system.solve(f, g)
    np.testing.assert_allclose(whole @ np.r_[x, y], np.r_[f, g], atol=1e-7)
    rows = rng.normal(size=(6, 2 * n + 3))
    rows_border = rng.normal(size=(6, k))
    full = np.hstack((rows, rows_border))
    want = full @ np.linalg.solve(whole, full.T)
    np.testing.assert_allclose(system.covariance(rows, rows_border), want, rtol=1e-6, atol=1e-8)
    for block, part in ((0, slice(0, n)), (1, slice(n, None))):
        own = np.zeros_like(rows)
        own[:, part] = rows[:, part]
        alone = np.diag(system.covariance(own, rows_border))
        seen = system.variances(block, sparse.csr_array(rows[:, part]), rows_border, chunk=4)
        np.testing.assert_allclose(seen, alone, rtol=1e-6)
