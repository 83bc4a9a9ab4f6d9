"""Rate, jitter and losses of clocks that were made with known ones."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.errors import UndeterminedError
from wayrule.run.clock import clock, clock_text, row_numbers


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), rate=st.floats(20.0, 1700.0), jitter=st.floats(0.0, 0.1), lost=st.floats(0.0, 0.1))
def test_rate_and_losses_are_found_whatever_the_rate(seed: int, rate: float, jitter: float, lost: float) -> None:
    rng = np.random.default_rng(seed)
    keep = rng.random(3000) >= lost
    keep[[0, -1]] = True
    row = np.flatnonzero(keep)
    t = (row + np.clip(jitter * rng.standard_normal(len(row)), -0.35, 0.35)) / rate
    found = clock(t)
    assert row_numbers(t).tolist() == row.tolist()
    assert found.lost == 3000 - len(row)
    assert abs(found.rate_hz - rate) < 5 * found.rate_sd_hz + 1e-9 * rate
    assert found.jitter_s == pytest.approx(jitter / rate, rel=0.15, abs=1e-9)


def test_a_clock_that_speeds_up_is_followed_and_its_drift_told() -> None:
    row = np.arange(20_000)
    t = row / 200.0 * (1 - 1e-4 * row / 20_000)  # 100 ppm faster in time at the end: rate +1e-4 from half to half
    found = clock(t)
    assert found.lost == 0
    assert found.drift_ppm == pytest.approx(100.0, rel=0.02)
    assert found.jitter_s < 2e-5


def test_a_clock_that_drifts_knows_its_rate_less_well() -> None:
    row = np.arange(20_000)
    t = row / 200.0 * (1 - 1e-4 * row / 20_000)
    whole, part = clock(t), clock(t[:10_000])
    assert abs(whole.rate_hz - part.rate_hz) < 3 * whole.rate_sd_hz
    assert whole.rate_sd_hz < 0.02


def test_what_a_person_reads() -> None:
    found = clock(np.delete(np.arange(100) / 50.0, 40), nominal_hz=50.0)
    assert clock_text(found) == "50.00 rows a second where 50 were expected, jitter 0.00 ms, 1 row missing."
    assert found.longest_gap_s == pytest.approx(0.04)
    with pytest.raises(UndeterminedError, match="short: expected 10 rows and more, came 4"):
        clock(np.arange(4.0), where="short")
