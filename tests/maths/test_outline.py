"""Blurred outlines: their block means, their fit and the search, against independent arithmetic."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import least_squares

from wayrule.maths.judge import price_of, prices
from wayrule.maths.outline import best_outline
from wayrule.maths.outlinefit import fit
from wayrule.maths.piecewise import Blocks, Gap, Outline, Spike, as_seen, basis, level_index, spike_means

PRICE = prices(60.0, gap_per_block=3.0, shortest=2.5, longest_gap=18.0)


def outline_at(x, at, left, right):
    """Value of an outline at x by plain interpolation, flat beyond its ends."""
    i = np.clip(np.searchsorted(at, x, side="right") - 1, 0, len(left) - 1)
    u = np.clip((x - at[i]) / (at[i + 1] - at[i]), 0, 1)
    return left[i] + (right[i] - left[i]) * u


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), blur=st.sampled_from([0.5, 2.0, 7.0]))
def test_block_means_by_numerical_integration(seed, blur):
    """A mean over a block of a moving mean is a double integral: scipy's adaptive quadrature of the outline itself."""
    rng = np.random.default_rng(seed)
    at = np.concatenate([[0.0], np.sort(rng.uniform(2, 28, 3)), [30.0]])
    at[1:-1] += [0.0, 0.5, 1.0]
    left, right = rng.normal(size=(2, 4))
    edge = np.array([3.0, 5.5, 9.0, 16.0, 24.0])
    stones = basis(at, edge, blur)
    got = stones.fall @ left + stones.rise @ right
    for i, (a, b) in enumerate(itertools.pairwise(edge)):
        # weight of x in the mean of the moving mean: the overlap of block and window, a trapezium
        def weighted(x, a=a, b=b):
            overlap = np.minimum(x + blur / 2, b) - np.maximum(x - blur / 2, a)
            return max(overlap, 0.0) / (blur * (b - a)) * outline_at(x, at, left, right)

        corners = [c for c in (*at, a - blur / 2, a + blur / 2, b - blur / 2, b + blur / 2) if a - blur < c < b + blur]
        want = quad(weighted, a - blur, b + blur, points=sorted(corners), limit=200)[0]
        assert got[i] == pytest.approx(want, abs=1e-7)


def test_spike_is_a_step_of_the_integral():
    edge = np.linspace(0, 20, 41)
    mean, change = spike_means(np.array([7.3]), edge, 3.0)
    assert np.sum(mean[:, 0] * np.diff(edge)) == pytest.approx(1.0)
    moved, _ = spike_means(np.array([7.3 + 1e-4]), edge, 3.0)
    where = np.abs(change[:, 0]) > 0
    assert (moved - mean)[where, 0] == pytest.approx(1e-4 * change[where, 0], rel=1e-6)


def test_levels_are_shared_where_ramps_join():
    left, right, count = level_index(("flat", "ramp", "ramp", "zero", "ramp"), False)
    assert left.tolist() == [0, 0, 1, -1, -1]
    assert right.tolist() == [0, 1, -1, -1, 2]
    assert count == 3
    left, right, count = level_index(("flat", "zero", "flat"), True)
    assert (left.tolist(), right.tolist(), count) == ([0, -1, 0], [0, -1, 0], 1)


def noisy(rng, at, left, right, sd, blur=2.0, n=120):
    edge = np.linspace(at[0], at[-1], n + 1)
    stones = basis(at, edge, blur)
    y = stones.fall @ left + stones.rise @ right + rng.normal(0, sd, n)
    return Blocks(edge, y, np.full(n, 1 / sd**2))


def test_fit_against_a_general_optimiser():
    """Breaks and levels of straight, transition, arc, straight by scipy's least_squares with its own derivatives."""
    rng = np.random.default_rng(5)
    at = np.array([0.0, 31.0, 52.0, 80.0, 120.0])
    blocks = noisy(rng, at, np.array([0, 0, 3.0, 0]), np.array([0, 3.0, 3.0, 0]), 0.2)
    guess = Outline(("zero", "ramp", "flat", "zero"), np.array([0.0, 27.0, 55.0, 83.0, 120.0]))
    got = fit(blocks, guess, 2.0)

    def residual(p):
        stones = basis(np.array([0.0, *p[:3], 120.0]), blocks.edge, 2.0)
        level = np.array([0, 0, p[3], 0]), np.array([0, p[3], p[3], 0])
        return (blocks.y - stones.fall @ level[0] - stones.rise @ level[1]) * np.sqrt(blocks.weight)

    want = least_squares(residual, [29.0, 54.0, 81.0, 2.5], x_scale=[10.0, 10.0, 10.0, 1.0])
    assert got.chi2 == pytest.approx(2 * want.cost, abs=0.02)
    assert got.outline.at[1:-1] == pytest.approx(want.x[:3], abs=0.01)
    assert got.right[1] == pytest.approx(want.x[3], abs=1e-3)
    cov = np.linalg.inv(want.jac.T @ want.jac)
    assert got.at_sd[1:-1] == pytest.approx(np.sqrt(np.diag(cov)[:3]), rel=0.02)
    assert got.mean_sd[2] == pytest.approx(np.sqrt(cov[3, 3]), rel=0.02)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_search_is_never_worse_than_the_truth(seed):
    """The score of what is found is no higher than that of the outline that made the data, fitted."""
    rng = np.random.default_rng(seed)
    level = rng.choice([-1, 1]) * rng.uniform(2, 5)
    kinds, left, right = [
        (("zero", "flat", "zero"), [0, level, 0], [0, level, 0]),
        (("zero", "ramp", "flat", "ramp", "zero"), [0, 0, level, level, 0], [0, level, level, 0, 0]),
        (("flat", "ramp", "flat"), [level, level, -level], [level, -level, -level]),
        (("zero",), [0], [0]),
        (("flat", "flat"), [level, level / 2], [level, level / 2]),
    ][rng.integers(5)]
    m = len(kinds)
    at = 120.0 * np.concatenate([[0], np.cumsum(rng.uniform(1, 2, m))])
    at /= at[-1] / 120.0
    blocks = noisy(rng, at, np.array(left, float), np.array(right, float), 0.4)
    truth = fit(blocks, Outline(kinds, at), 2.0)
    found = best_outline(blocks, 2.0, PRICE)
    score = found.chi2 + price_of(found.outline, blocks, PRICE, 2.0)
    # a move must gain half a unit to be made, and a place may rest in a neighbouring dimple
    assert score <= truth.chi2 + price_of(truth.outline, blocks, PRICE, 2.0) + 1.5


def test_a_spike_beside_nothing_is_found_and_sized():
    rng = np.random.default_rng(8)
    blocks = noisy(rng, np.array([0.0, 60.0, 120.0]), np.array([0, 2.0]), np.array([0, 2.0]), 0.1, blur=4.0)
    y = blocks.y + 6.0 * spike_means(np.array([30.0]), blocks.edge, 4.0)[0][:, 0]
    found = best_outline(Blocks(blocks.edge, y, blocks.weight), 4.0, PRICE)
    assert found.outline.kinds == ("zero", "flat")
    (spike,) = found.outline.spikes
    assert spike.at == pytest.approx(30.0, abs=0.2)
    assert found.size[0] == pytest.approx(6.0, abs=0.5)  # sd of six means of 0.1 over 4: 0.2


def test_a_wiggle_does_not_move_the_break_it_hides():
    """A bump of the second integral across a step: its gap keeps the mean, and so the place of the step."""
    rng = np.random.default_rng(9)
    blocks = noisy(rng, np.array([0.0, 60.0, 120.0]), np.array([0, 2.0]), np.array([0, 2.0]), 0.05, blur=2.0)
    middle = 0.5 * (blocks.edge[1:] + blocks.edge[:-1])
    inside = np.abs(middle - 58.0) < 6.0
    y = blocks.y + np.where(inside, -8.0 * np.cos(2 * np.pi * (middle - 58.0) / 12.0), 0.0)
    found = best_outline(Blocks(blocks.edge, y, blocks.weight), 2.0, PRICE)
    assert found.outline.kinds == ("zero", "flat")
    assert len(found.outline.gaps) == 1
    assert found.outline.at[1] == pytest.approx(60.0, abs=0.3)  # the wiggle's blocks sum to zero within that


def test_what_a_gap_leaves_to_be_judged():
    edge = np.arange(11.0)
    blocks = Blocks(edge, np.arange(10.0), np.full(10, 4.0))
    whole = as_seen(blocks, Outline(("zero",), edge[[0, -1]], (Gap(2.0, 6.0),)), 1.0)
    assert whole.edge.tolist() == [0, 1, 2, 6, 7, 8, 9, 10]
    assert whole.y[2] == pytest.approx(3.5)
    assert whole.weight[2] == pytest.approx(16.0)  # mean of four independent values of weight 4
    opened = as_seen(blocks, Outline(("zero",), edge[[0, -1]], (Gap(2.0, 6.0, False),)), 1.0)
    assert opened.weight.tolist() == [4, 4, 0, 0, 0, 0, 4, 4, 4, 4]
    soft = as_seen(blocks, Outline(("zero",), edge[[0, -1]], (), (Spike(5.0, 0.25),)), 1.0)
    assert soft.weight.tolist() == [4, 4, 4, 4, 2, 2, 4, 4, 4, 4]
