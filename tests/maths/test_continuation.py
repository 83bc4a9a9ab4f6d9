"""Shifted copies against the Hankel integral of a dipole behind a plate, done independently by adaptive quadrature."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, jv

from wayrule.maths.continuation import COPIES, continuation, mirrored, together
from wayrule.maths.sheets import Sheet, through


def plate(k, mu, t):
    """Transmission of a plane plate as its images sum up (textbook; no code shared with `maths.sheets`)."""
    return 4 * mu / ((mu + 1) ** 2 - (mu - 1) ** 2 * math.exp(-2 * k * t))


def hankel(rho, d, mu, t):
    """Bz, Br of an upright and Bx, Bz, By of a level dipole (along x, seen at (rho, 0)) behind a plate, by quad."""

    def total(kernel):
        edges = [0.0, 1e-4, 1e-3, 0.01, 0.1, 1.0, 3.0, 10.0, 30.0, 60.0]
        pieces = [
            quad(lambda x: kernel(x * rho / d) * x * x * math.exp(-x) * plate(x / d, mu, t), a, b, epsabs=1e-13)[0]
            for a, b in pairwise(edges)
        ]
        return sum(pieces) / d**3

    def half(q):
        return (j0(q) + jv(2, q)) / 2  # J1(q)/q without the division

    return np.array(
        [
            total(j0),
            total(lambda q: jv(1, q)),
            -total(lambda q: j0(q) - half(q)),
            total(lambda q: jv(1, q)),
            -total(half),
        ]
    )


def dipole(rho, z):
    """The same five parts in air: B = (3 (m.r) r / r^2 - m) / r^3."""
    r = math.hypot(rho, z)
    cross = 3 * rho * z / r**2
    return np.array([3 * z * z / r**2 - 1, cross, 3 * rho**2 / r**2 - 1, cross, -1.0]) / r**3


@pytest.mark.parametrize("mu", [1.0, 3.0, 100.0, 1000.0, 10000.0])
@pytest.mark.parametrize("t", [0.1, 1.0, 5.0])
@pytest.mark.parametrize("aside", [0.0, 0.5, 1.0])
def test_dipole_behind_a_plate_is_the_hankel_integral_for_both_ways_it_can_lie(mu, t, aside):
    d = 12.5
    copies = continuation([lambda k: through(k, (Sheet(t, mu),))], d)
    got = sum(w * dipole(aside * d, d + s) for w, s in zip(copies.weight[0].real, copies.shift_mm, strict=True))
    exact = hankel(aside * d, d, mu, t)
    size = np.array([np.hypot(*exact[:2]), np.hypot(*exact[:2]), *[np.hypot(*exact[2:4])] * 2, abs(exact[4])])
    # promised 1e-4; the method leaves 1e-6 where the sensor is as far aside as it is high
    assert np.max(np.abs(got - exact) / size) < 2e-6


def test_free_integral_is_the_dipole():
    # the yardstick itself: with mu = 1 the Hankel integral is the closed form
    assert hankel(5.0, 10.0, 1.0, 1.0) == pytest.approx(dipole(5.0, 10.0), rel=1e-9, abs=1e-12)


def test_multipoles_straight_above_are_passed_on_exactly():
    # right above, degree l has the field l+1 over z^(l+2) = integral of k^(l+1) e^(-kz) / l!
    d, mu, t = 8.0, 400.0, 0.7
    copies = continuation([lambda k: through(k, (Sheet(t, mu),))], d)
    for degree in range(1, COPIES + 1):
        p = degree + 1
        got = float(np.sum(copies.weight[0].real * (d + copies.shift_mm) ** -(p + 1.0)))
        edges = [0, 1e-3, 1e-2, 0.1, 1, 5, 20, 80]
        exact = sum(
            quad(lambda x, p=p: x**p / math.factorial(p) * math.exp(-x) * plate(x / d, mu, t), a, b, epsabs=1e-14)[0]
            for a, b in pairwise(edges)
        )
        assert got * d ** (p + 1) == pytest.approx(exact, rel=1e-8)


def test_thick_soft_plate_is_the_two_interfaces():
    # thick: only the first image is near, T = 4 mu / (mu + 1)^2 (method of images at two plane faces)
    copies = continuation([lambda k: through(k, (Sheet(1e4, 50.0),))], 10.0)
    on_axis = float(np.sum(copies.weight[0].real * (10.0 + copies.shift_mm) ** -3.0)) * 1e3
    assert on_axis == pytest.approx(200 / 51**2, rel=1e-6)


def test_a_mirror_turns_places_and_two_sums_add():
    plain = continuation([lambda k: np.ones(len(k), dtype=complex)], 5.0, copies=4)
    seen = mirrored(plain, 7.0)
    assert np.all(seen.side == -1)
    assert seen.shift_mm[0] == 14.0  # z -> 14 - z
    both = together(plain, seen)
    assert both.weight.shape == (1, 8)
    assert both.side.tolist() == [1.0] * 4 + [-1.0] * 4
