"""Ellipse through points, against an independent solution and against exact ellipses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import eig
from scipy.optimize import least_squares

from wayrule.maths.ellipse import even_subset, fit_ellipse, principal_plane


def points_on(centre, semi_axes, tilt, angles):
    c, s = np.cos(tilt), np.sin(tilt)
    local = np.column_stack([semi_axes[0] * np.cos(angles), semi_axes[1] * np.sin(angles)])
    return local @ np.array([[c, s], [-s, c]]) + centre


@settings(max_examples=60, deadline=None)
@given(
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    long=st.floats(1.0, 50.0),
    ratio=st.floats(0.1, 0.95),
    tilt=st.floats(-1.5, 1.5),
)
def test_exact_points_give_the_ellipse_back(x, y, long, ratio, tilt):
    points = points_on((x, y), (long, ratio * long), tilt, np.linspace(0.0, 6.0, 40))
    found = fit_ellipse(points)
    np.testing.assert_allclose(found.centre, (x, y), atol=1e-6 * long + 1e-8 * (abs(x) + abs(y)))
    np.testing.assert_allclose(found.semi_axes, (long, ratio * long), rtol=1e-6)
    assert np.sin(found.tilt_rad - tilt) == pytest.approx(0.0, abs=1e-4)
    np.testing.assert_allclose(np.hypot(*found.on_circle(points).T), 1.0, atol=1e-6)


def test_agrees_with_the_undivided_eigenproblem():
    """Fitzgibbon, Pilu & Fisher 1999: the 6 x 6 generalised eigenproblem S a = lambda C a, solved whole by scipy.

    Eight points often used in the literature on ellipse fits (coordinates from memory; any eight would do).
    """
    points = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7], [6, 2], [8, 4]], dtype=float)
    middle = points.mean(axis=0)
    spread = np.sqrt(((points - middle) ** 2).mean())
    x, y = ((points - middle) / spread).T
    design = np.column_stack([x * x, x * y, y * y, x, y, np.ones(8)])
    constraint = np.zeros((6, 6))
    constraint[0, 2] = constraint[2, 0] = 2.0
    constraint[1, 1] = -1.0
    values, vectors = eig(design.T @ design, constraint)
    positive = np.isfinite(values) & (values.real > 0)
    conic = vectors[:, int(np.flatnonzero(positive)[0])].real
    found = fit_ellipse(points)
    a = np.linspace(0.0, 2 * np.pi, 60)
    u, v = (points_on(found.centre, found.semi_axes, found.tilt_rad, a) - middle).T / spread
    on_it = np.column_stack([u * u, u * v, v * v, u, v, np.ones(60)]) @ conic
    np.testing.assert_allclose(on_it / np.abs(conic).max(), 0.0, atol=1e-9)


def test_agrees_with_an_orthogonal_distance_fit_under_noise():
    """Independent solution: least squares on the normalised radius by scipy's general optimiser."""
    rng = np.random.default_rng(8)
    points = points_on((20.0, -7.0), (9.7, 5.0), 0.3, rng.uniform(0, 2 * np.pi, 800)) + rng.normal(0, 0.05, (800, 2))

    def misfit(p):
        c, s = np.cos(p[4]), np.sin(p[4])
        local = (points - p[:2]) @ np.array([[c, -s], [s, c]])
        return np.hypot(local[:, 0] / p[2], local[:, 1] / p[3]) - 1.0

    reference = least_squares(misfit, [19.0, -6.0, 9.0, 6.0, 0.2]).x
    found = fit_ellipse(points)
    # 0.05 of noise over 800 points leaves about 0.003 in centre and axes
    np.testing.assert_allclose(found.centre, reference[:2], atol=0.01)
    np.testing.assert_allclose(found.semi_axes, reference[2:4], atol=0.01)


@pytest.mark.parametrize(
    "points",
    [np.zeros((4, 2)), np.full((20, 2), 3.0), np.column_stack([np.arange(20.0), 2 * np.arange(20.0)])],
    ids=["four points", "one place", "a line"],
)
def test_no_ellipse_is_none(points):
    assert fit_ellipse(points) is None


def test_plane_is_not_tilted_by_an_offset():
    rng = np.random.default_rng(2)
    normal = np.array([0.2, 0.9, -0.3])
    normal /= np.linalg.norm(normal)
    u = np.cross(normal, [0, 0, 1.0])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    a = rng.uniform(0, 2 * np.pi, 500)
    points = 1000.0 * normal + [70.0, 3.0, 9.0] + np.outer(10 * np.cos(a), u) + np.outer(5 * np.sin(a), v)
    _, basis, spreads = principal_plane(points)
    assert abs(np.cross(*basis) @ normal) == pytest.approx(1.0, abs=1e-9)
    assert spreads[2] == pytest.approx(0.0, abs=1e-9)


def test_thinning_takes_the_weight_off_a_long_stand():
    a = np.concatenate([np.full(5000, 0.3), np.linspace(0, 2 * np.pi, 600)])
    points = np.column_stack([np.cos(a), np.sin(a)])
    rows = even_subset(points)
    at_stand = np.hypot(*(points[rows] - points[0]).T) < 0.02
    assert at_stand.mean() < 0.1
    assert len(rows) > 400
