"""Two clocks tied by late stamps: against made-up clocks whose truth is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.clocktie import tie_clocks


def clocks(seed, span_s, mean_delay_s, period_s=0.05):
    """A crystal 40 ppm off whose rate wanders by about 1 ppm an hour; delays with a tail, and a stall."""
    rng = np.random.default_rng(seed)
    sent = np.arange(0.0, span_s, period_s)
    truth = 1000.0 + sent * (1 + 40e-6) + np.cumsum(np.cumsum(rng.normal(0, 1e-9, len(sent))) * period_s)
    late = rng.exponential(mean_delay_s, len(sent))
    late += (rng.random(len(sent)) < 0.02) * rng.exponential(0.2, len(sent))
    stall = rng.integers(0, len(sent) // 2)
    late[stall : stall + len(sent) // 10] += 0.3
    return sent, truth, late


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("span_s", "mean_s"), [(20.0, 0.005), (60.0, 0.005), (600.0, 0.02), (3600.0, 0.02)])
def test_within_a_millisecond_whatever_the_delays(seed, span_s, mean_s):
    sent, truth, late = clocks(seed, span_s, mean_s)
    tie = tie_clocks(sent, truth + late)
    assert np.abs(tie.second(sent) - truth).max() < 1e-3
    assert tie.stamps == len(sent)
    if span_s >= 600:
        assert (tie.rate - 1) * 1e6 == pytest.approx(40, abs=2), "1 ms over ten minutes is 1.7 ppm"
    assert tie.first(tie.second(sent)) == pytest.approx(sent, abs=1e-9)


def test_without_delay_it_is_exact():
    sent = np.arange(0.0, 500.0, 0.5)
    tie = tie_clocks(sent, 5.0 + sent * 1.00003)
    assert tie.second(np.array([-10.0, 250.0, 600.0])) == pytest.approx(
        5.0 + np.array([-10, 250, 600]) * 1.00003, abs=1e-7
    )
    assert tie.rate - 1 == pytest.approx(3e-5, rel=1e-3)


def test_order_does_not_matter_and_late_repeats_change_nothing():
    sent, truth, late = clocks(1, 120.0, 0.005)
    rng = np.random.default_rng(2)
    again = rng.integers(0, len(sent), 500)  # kept while the link was away, and sent 10 to 60 s later
    x = np.concatenate([sent, sent[again]])
    y = np.concatenate([truth + late, truth[again] + rng.uniform(10, 60, 500)])
    mixed = rng.permutation(len(x))
    one, other = tie_clocks(sent, truth + late), tie_clocks(x[mixed], y[mixed])
    assert other.second(sent) == pytest.approx(one.second(sent), abs=2e-4)


def test_a_clock_that_does_not_count_its_sleep():
    sent, truth, late = clocks(3, 240.0, 0.005)
    came = truth + late
    awake = (came < 1100.0) | (came > 1130.0)
    host = np.where(came > 1130.0, came - 30.0, came)
    tie = tie_clocks(sent[awake], host[awake], breaks_s=(1100.0,))
    true_host = np.where(sent > 131.0, truth - 30.0, truth)
    sure = (sent < 99.0) | (sent > 131.0)
    assert np.abs(tie.second(sent) - true_host)[sure].max() < 1e-3
    assert (tie.rate - 1) * 1e6 == pytest.approx(40, abs=8), "1 ms over two minutes is 8 ppm"


@pytest.mark.parametrize("n", [1, 2, 5])
def test_a_handful_of_stamps(n):
    sent = np.arange(n) * 0.2
    tie = tie_clocks(sent, sent + 3.0 + np.array([0.004, 0.001, 0.009, 0.002, 0.003])[:n])
    assert tie.second(np.array([0.0]))[0] == pytest.approx(3.004 if n == 1 else 3.001, abs=1e-3)
    assert np.isnan(tie.sd_s) == (n == 1), "with one stamp there is no telling"
    assert tie.rate == pytest.approx(1.0, abs=3e-4)
    assert tie.first(np.array([8.0]))[0] == pytest.approx(5.0, abs=5e-3)


def test_none_is_a_defect():
    with pytest.raises(ValueError, match="expected stamps to tie clocks by, came none"):
        tie_clocks(np.array([]), np.array([]))


@given(st.lists(st.tuples(st.floats(0, 1e5), st.floats(0, 1e5)), min_size=1, max_size=200))
@settings(max_examples=80, deadline=None)
def test_anything_gives_a_tie_of_finite_numbers(stamps):
    x, y = np.array(stamps).T
    tie = tie_clocks(x, y)
    assert np.isfinite(tie.second(np.linspace(-10, 1e5, 50))).all()
    assert np.all(np.diff(tie.x_s) >= 0)
