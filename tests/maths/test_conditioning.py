"""Conditioning: against Bayes' rule written out, against densities, and the limits of what a day tells."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wayrule.maths.conditioning import conditioned


def case(seed: int, n: int, k: int) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    root, spread = rng.standard_normal((n, n)), rng.standard_normal((k, k))
    own, noise = root @ root.T + 0.1 * np.eye(n), spread @ spread.T + 0.1 * np.eye(k)
    return rng.standard_normal(n), own, np.diag(rng.uniform(0, 1, n)), rng.standard_normal((k, n)), noise


@given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 6))
def test_it_is_bayes_rule_on_constants_and_day_at_once(seed: int, n: int, k: int) -> None:
    """(c, e) as one Gaussian, read by [H, H]: information form, then c alone by marginalising (any textbook)."""
    mean, own, day, matrix, noise = case(seed, n, k)
    day = day + 1e-6 * np.eye(n)
    read = np.random.default_rng(seed + 1).standard_normal(k)
    both = np.hstack([matrix, matrix])
    zero = np.zeros((n, n))
    prior = np.linalg.inv(np.block([[own, zero], [zero, day]]))
    covariance = np.linalg.inv(prior + both.T @ np.linalg.inv(noise) @ both)
    expected = covariance @ (prior @ np.append(mean, np.zeros(n)) + both.T @ np.linalg.inv(noise) @ read)
    found = conditioned(mean, own, day, matrix, read, noise)
    np.testing.assert_allclose(found[0], expected[:n], rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(found[1], covariance[:n, :n], rtol=1e-6, atol=1e-7)


def test_the_density_is_scipys() -> None:
    """One constant, no day: the posterior is prior times likelihood, normalised on a grid with scipy's densities."""
    found = conditioned(np.array([1.0]), np.array([[4.0]]), np.zeros((1, 1)), np.array([[2.0]]), np.array([5.0]),
                        np.array([[0.25]]))  # fmt: skip
    grid = np.linspace(-10, 10, 400_001)
    density = stats.norm(1.0, 2.0).pdf(grid) * stats.norm(2.0 * grid, 0.5).pdf(5.0)
    density /= density.sum()
    assert abs(found[0][0] - density @ grid) < 1e-6
    assert abs(found[1][0, 0] - density @ (grid - density @ grid) ** 2) < 1e-6


@given(st.integers(0, 10_000))
def test_order_does_not_matter_and_nothing_is_learnt_of_nothing(seed: int) -> None:
    mean, own, day, matrix, noise = case(seed, 4, 3)
    read = np.random.default_rng(seed + 1).standard_normal(3)
    back = [2, 0, 1]
    one = conditioned(mean, own, day, matrix, read, noise)
    other = conditioned(mean, own, day, matrix[back], read[back], noise[np.ix_(back, back)])
    np.testing.assert_allclose(one[0], other[0], atol=1e-9)
    np.testing.assert_allclose(one[1], other[1], atol=1e-9)
    none = conditioned(mean, own, day, matrix[:0], read[:0], noise[:0, :0])
    assert np.array_equal(none[0], mean)
    assert np.array_equal(none[1], own)
    assert np.linalg.eigvalsh(own - one[1]).min() > -1e-9, "never more than it was"


def test_a_hundred_readings_of_one_day_leave_the_days_part() -> None:
    """c is known no better than b's other part, e: 1 / (1/C + 1/G), however often b is read."""
    n = 100
    _, left = conditioned(np.zeros(1), np.eye(1), np.array([[0.04]]), np.ones((n, 1)), np.ones(n), 1e-6 * np.eye(n))
    assert abs(left[0, 0] - 1 / (1 / 1.0 + 1 / 0.04)) < 1e-5


def test_units_ten_thousand_apart_do_no_harm() -> None:
    """mm/s2 beside shares: the result scales as the units do."""
    mean, own, day, matrix, noise = case(5, 3, 2)
    units = np.array([1e-4, 1.0, 1e3])
    read = np.array([0.3, -0.2])
    plain = conditioned(mean, own, day, matrix, read, noise)
    scaled = conditioned(mean * units, own * np.outer(units, units), day * np.outer(units, units), matrix / units, read,
                         noise)  # fmt: skip
    np.testing.assert_allclose(scaled[0] / units, plain[0], rtol=1e-9)
    np.testing.assert_allclose(scaled[1] / np.outer(units, units), plain[1], rtol=1e-9, atol=1e-12)
