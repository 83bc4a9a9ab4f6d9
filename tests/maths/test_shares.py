"""Shares of variance against closed forms and an independent program (scipy's Sobol indices)."""

import numpy as np
import pytest
from scipy import stats

from wayrule.maths.shares import expansion, shares_of, terms_of

GROUPS = {"x": slice(0, 1), "y and z": slice(1, 3)}


def samples(n, seed=1):
    x = np.random.default_rng(seed).standard_normal((n, 3))
    return x, expansion(x, GROUPS)


def test_first_order_indices_are_scipys():
    def model(v):
        x, y, z = v
        return 2 * x + y + x * y + 0.5 * z * z + 0.3 * y * z

    x, inputs = samples(4000)
    found = shares_of(inputs, model(x.T)[:, None])
    reference = stats.sobol_indices(
        func=model, n=2**14, dists=[stats.norm()] * 3, rng=np.random.default_rng(2)
    ).first_order
    varying = 1 - found.always
    assert found.alone["x"] / varying == pytest.approx(reference[0], abs=0.02)  # scipy's own scatter at 2^14
    both = (reference[1] + reference[2]) + 0.09 / (4 + 1 + 1 + 0.5 + 0.09)  # and what y and z do together
    assert found.alone["y and z"] / varying == pytest.approx(both, abs=0.02)


def test_a_function_is_summed_over_its_places():
    # outputs x, 2 y + z and 3: mean squares 1, 5 and 9
    x, inputs = samples(1000)
    found = shares_of(inputs, np.column_stack([x[:, 0], 2 * x[:, 1] + x[:, 2], np.full(1000, 3.0)]))
    assert 15 * found.alone["x"] == pytest.approx(1)
    assert 15 * found.alone["y and z"] == pytest.approx(5)
    assert 15 * found.always == pytest.approx(9)
    assert abs(found.together) + abs(found.unexplained) < 1e-9


def test_what_is_beyond_squares_is_told_as_unexplained():
    # x cubed: variance 15 (moments of the normal law), of which its straight part 3 x has 9
    x, inputs = samples(60_000)
    found = shares_of(inputs, x[:, :1] ** 3)
    assert found.alone["x"] == pytest.approx(9 / 15, abs=0.02)
    assert found.unexplained == pytest.approx(6 / 15, abs=0.02)


def test_pure_noise_is_nobodys():
    _, inputs = samples(2000)
    found = shares_of(inputs, np.random.default_rng(8).standard_normal((2000, 24)))
    assert max(map(abs, (*found.alone.values(), found.together, found.always))) < 0.003
    assert found.unexplained == pytest.approx(1.0, abs=0.005)


def test_all_shares_add_up():
    x, inputs = samples(500, seed=5)
    found = shares_of(inputs, np.sin(x) + x[:, :1] * x[:, 1:2] ** 3 + 0.2)
    assert found.always + sum(found.alone.values()) + found.together + found.unexplained == pytest.approx(1.0)


def test_what_cannot_be_told_is_refused():
    x = np.random.default_rng(1).standard_normal((2 * terms_of(3) - 1, 3))
    with pytest.raises(ValueError, match="expected at least 20 samples of 3 inputs, came 19"):
        expansion(x, GROUPS)
    more = np.random.default_rng(1).standard_normal((50, 3))
    with pytest.raises(ValueError, match="groups that hold each of 3 inputs once"):
        expansion(more, {"x": slice(0, 2), "y": slice(1, 3)})
    with pytest.raises(ValueError, match="groups that hold each of 3 inputs once"):
        expansion(more, {"x": slice(0, 2)})
    with pytest.raises(ValueError, match="not all zero"):
        shares_of(expansion(more, GROUPS), np.zeros((50, 4)))
