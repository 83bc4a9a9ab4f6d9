"""Calibrated turning vectors, thousands at once, against one at a time; what cannot change an angle."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.turnfit import angle_errors, calibrated, rings_of

PHI = np.arange(72) * 2 * np.pi / 72


def turns(seed, n, spoilt=0.05):
    """Ellipses in space with harmonics up to the 8th, off their centre."""
    rng = np.random.default_rng(seed)
    k = np.arange(9)
    waves = np.concatenate([np.cos(np.outer(k, PHI)), np.sin(np.outer(k, PHI))])
    size = np.where(k < 2, 1.0, spoilt * 0.5 ** np.maximum(k - 2, 0))
    terms = rng.standard_normal((n, 3, 18)) * np.concatenate([size, size])
    terms[:, :, 1], terms[:, :, 10] = [0.1, 0.0, 2.0], [-1.0, 0.2, 0.0]
    return np.swapaxes(terms @ waves, 1, 2)


def test_centre_and_ellipse_are_those_of_one_turn_at_a_time():
    vectors = turns(1, 40)
    rings = rings_of(vectors)
    waves = np.stack([np.ones(72), np.cos(PHI), np.sin(PHI)], axis=1)
    for n in range(40):  # numpy's least squares and singular values, turn by turn
        terms = np.linalg.lstsq(waves, vectors[n], rcond=None)[0]
        assert np.allclose(rings.centre[n], terms[0], atol=1e-12)
        assert np.allclose(rings.half_axes[n], np.linalg.svd(terms[1:], compute_uv=False), rtol=1e-10)
        assert np.allclose(rings.to_circle[n], np.linalg.pinv(terms[1:].T), atol=1e-10)


def test_harmonics_of_the_angle_as_read_are_those_of_a_loop_over_turns():
    vectors = turns(2, 30, spoilt=0.02)
    rings = rings_of(vectors)
    errors, left = calibrated(vectors, rings)
    for n in range(30):
        c, s = rings.to_circle[n] @ (vectors[n] - rings.centre[n]).T
        psi = np.unwrap(np.arctan2(s, c))
        e = psi - PHI - 2 * np.pi * np.round((psi[0] - PHI[0]) / (2 * np.pi))
        terms = np.column_stack([np.ones(72), *(f(k * psi) for k in range(1, 7) for f in (np.cos, np.sin))])
        free = np.column_stack([np.ones(72), *(f(k * PHI) for k in range(1, 7) for f in (np.cos, np.sin))])
        # free of harmonics of the true angle: the normal equations with those as instruments, solved at once
        exact = e - terms @ np.linalg.solve(free.T @ terms, free.T @ e)
        assert np.allclose(errors[n], e - e.mean(), atol=1e-12)
        assert np.allclose(left[n], exact - exact.mean(), atol=2e-3 * e.std())  # rounds^4 of 6 e, e some 0.02
        plain = e - terms @ np.linalg.lstsq(terms, e, rcond=None)[0]  # no series leaves less than least squares do
        assert plain.std() <= exact.std() * (1 + 1e-9) <= plain.std() * 1.05


def test_noise_of_a_reading_is_that_of_noisy_readings():
    vectors = turns(3, 1, spoilt=0.0)
    rings = rings_of(vectors)
    rng = np.random.default_rng(4)
    noisy = vectors + rng.normal(0, 1e-3, (20_000, 72, 3))
    told = angle_errors(noisy, rings.centre, rings.to_circle).std()
    assert told == pytest.approx(1e-3 * rings.per_unit[0], rel=0.003)  # 1.4 million readings: 0.06 % sd


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.2, 5.0), st.floats(-10.0, 10.0))
def test_no_tilt_scale_or_offset_of_the_sensor_changes_what_calibration_leaves(seed, scale, offset):
    # an ellipse brought to a circle is the same circle, whatever linear map it went through
    vectors = turns(seed, 3, spoilt=0.01)
    askew = np.random.default_rng(seed).standard_normal((3, 3)) + 3 * np.eye(3)
    if np.linalg.cond(askew) > 50:
        return
    plane = np.array(vectors)
    plane[..., 1] = 0.3 * plane[..., 0]  # in one plane: outside it a pseudo-inverse does see the map
    moved = scale * plane @ askew.T + offset
    (a, b), (c, d) = calibrated(plane, rings_of(plane)), calibrated(moved, rings_of(moved))
    assert np.allclose(a, c, atol=1e-9)
    assert np.allclose(b, d, atol=1e-9)


def test_a_vector_that_does_not_turn_has_no_inverse():
    flat = np.zeros((1, 72, 3))
    flat[0, :, 2] = np.cos(PHI)
    rings = rings_of(flat)
    assert rings.half_axes[0, 1] == 0.0
    assert not np.isfinite(rings.per_unit[0])
