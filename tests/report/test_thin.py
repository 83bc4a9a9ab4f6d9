"""Thinning keeps every peak, never invents one, and stays below its promise of points."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.report.thin import thin_band, thin_index, thin_line

series = st.integers(2, 400).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(1e-3, 5.0), min_size=n, max_size=n),
        st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(float("nan"))), min_size=n, max_size=n),
        st.integers(1, 60),
    )
)


@settings(max_examples=50)
@given(series)
def test_line_keeps_extremes_gaps_and_ends(given_series):
    steps, values, bins = given_series
    x, y = np.cumsum(steps), np.array(values)
    before = y.copy()
    xs, ys = thin_line(x, y, bins)
    np.testing.assert_array_equal(y, before)
    assert len(xs) <= max(2 * bins, 3 * bins + 2)
    assert xs[0] == x[0]
    assert xs[-1] == x[-1]
    index = thin_index(x, y, bins)
    assert np.all(np.diff(index) > 0)
    if np.isfinite(y).any():
        assert np.nanmax(ys) == np.nanmax(y)
        assert np.nanmin(ys) == np.nanmin(y)
    assert np.isnan(ys).any() == np.isnan(y).any()


@settings(max_examples=50)
@given(series)
def test_band_encloses_every_sample(given_series):
    steps, values, bins = given_series
    x, y = np.cumsum(steps), np.array(values)
    xs, low, high = thin_band(x, y - 1.0, y + 1.0, bins)
    assert len(xs) == len(low) == len(high) <= max(2 * bins, bins + 2)
    if np.isfinite(y).any():
        assert np.nanmin(low) == np.nanmin(y) - 1.0
        assert np.nanmax(high) == np.nanmax(y) + 1.0
