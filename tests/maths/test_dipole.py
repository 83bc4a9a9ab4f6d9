"""A dipole's field against the textbook, its gradient against differences, its inverse against itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.dipole import dipole_field, dipole_gradient, dipole_of

place = st.tuples(st.floats(-5, 5), st.floats(-5, 5), st.floats(2, 9)).map(np.array)
moment = st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3)).map(lambda m: np.array([m]))


def test_on_the_axis_it_is_twice_what_it_is_beside():
    """B = 2 m / r3 along, -m / r3 across (Jackson, Classical Electrodynamics, 5.56, in units of mu0 / 4 pi)."""
    assert dipole_field(np.array([[0, 0, 1.0]]), np.array([0, 0, 2.0]))[0] == pytest.approx([0, 0, 0.25])
    assert dipole_field(np.array([[0, 0, 1.0]]), np.array([2.0, 0, 0]))[0] == pytest.approx([0, 0, -0.125])


@settings(max_examples=50, deadline=None)
@given(m=moment, r=place)
def test_gradient_is_the_difference_and_has_neither_divergence_nor_curl(m, r):
    gradient = dipole_gradient(m, r)[0]
    h = 1e-5
    for j in range(3):
        step = h * np.eye(3)[j]
        difference = (dipole_field(m, r + step) - dipole_field(m, r - step))[0] / (2 * h)
        assert gradient[:, j] == pytest.approx(difference, abs=1e-7)
    assert np.trace(gradient) == pytest.approx(0, abs=1e-12)
    assert gradient == pytest.approx(gradient.T, abs=1e-12)


@settings(max_examples=50, deadline=None)
@given(m=moment, r=place)
def test_the_dipole_is_found_again(m, r):
    assert dipole_of(dipole_field(m, r), r) == pytest.approx(m, abs=1e-9)
