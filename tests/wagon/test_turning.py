"""Cogging against the textbook's dipole over soft iron, and limits of physics."""

import math

import numpy as np
import pytest
from scipy.constants import mu_0

from wayrule.maths.sheets import Sheet
from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.fields import field_mt
from wayrule.wagon.sources import sources_of
from wayrule.wagon.turning import Cogging, against_floor, against_plane, against_rails, will_it_turn

PAIR = sources_of(
    Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300.0, 1300.0))
)
SOFT = (Sheet(1e4, 1e7),)
MOMENT_A_M2 = 1.3 * 2 * math.pi * 4e-9 / mu_0
"""Two discs of 4 x 1 mm and 1.3 T: J V / mu0."""


@pytest.mark.parametrize(("height", "within"), [(50.0, 0.003), (100.0, 0.001)])
def test_far_from_thick_soft_iron_it_is_the_textbook_dipole(height, within):
    # U = -mu0 m2 (1 + cos2 phi)/(64 pi h3): torque mu0 m2/(64 pi h3), force 3 mu0 m2 (1 + cos2)/(64 pi h4)
    found = against_plane(PAIR, height, SOFT)
    h = height * 1e-3
    assert found.torque_n_mm == pytest.approx(1e3 * mu_0 * MOMENT_A_M2**2 / (64 * math.pi * h**3), rel=within)
    assert found.pull_max_n == pytest.approx(6 * mu_0 * MOMENT_A_M2**2 / (64 * math.pi * h**4), rel=within)
    assert found.pull_n == pytest.approx(4.5 * mu_0 * MOMENT_A_M2**2 / (64 * math.pi * h**4), rel=within)


def test_cogging_goes_to_nothing_as_the_square_of_the_field_times_the_iron_that_is_near():
    # the field at the iron falls as h^-3, its square as h^-6; of a half-space the iron that is near grows as h^3
    torque = [against_plane(PAIR, h, SOFT).torque_n_mm for h in (40.0, 80.0)]
    field = [np.linalg.norm(field_mt(PAIR, (0.0, 0.0, h))) for h in (40.0, 80.0)]
    assert torque[1] / torque[0] == pytest.approx((field[1] / field[0]) ** 2 * 2**3, rel=0.01)
    # of a rail only the length that is near grows
    far = [against_rails(PAIR, gauge_mm=g, wheel_mm=g, rail_mm2=0.01).torque_n_mm for g in (60.0, 120.0)]
    assert far[1] / far[0] == pytest.approx(2.0**-5, rel=0.5)


def test_force_is_the_slope_of_the_energy_by_direct_forces_on_the_poles():
    # a single disc over soft iron, axis upright: force of its image's field on its own face charges, by quadrature
    disc = sources_of(
        Magnets("single", diameter_mm=6.0, thickness_mm=2.0, flat_radius_mm=0.5, remanence_mt=(1200.0, 1200.0))
    )
    height = 7.0
    found = against_plane(disc, height, SOFT)
    node, weight = np.polynomial.legendre.leggauss(40)
    r = 1.5 * (1 + node)
    area = 2 * math.pi * r * 1.5 * weight
    force = 0.0
    for z, sign in ((2.5, 1.0), (0.5, -1.0)):  # faces of the disc at phi = 0
        # image: the same disc mirrored at the plane, its axis still up, so that it attracts
        mirror = np.stack([r, np.zeros_like(r), np.full_like(r, 2 * height - z)], -1)
        back = field_mt(disc, mirror)[:, 2]
        force += sign * float(np.sum(back * area)) * 1.2 * 1e-3 / mu_0 * 1e-6
    assert found.pull_max_n == pytest.approx(abs(force), rel=0.01)


def test_brass_does_not_pull_and_thin_steel_pulls_less_than_thick():
    floor = lambda m, t: against_floor(PAIR, [FloorLayer(m, t, 4.0)])  # noqa: E731
    assert floor("brass", 2.0).torque_n_mm == 0.0
    assert 0 < floor("steel", 0.1).torque_n_mm < floor("steel", 0.5).torque_n_mm < floor("steel", 5.0).torque_n_mm
    assert against_floor(PAIR, []) == Cogging("floor", 0.0, 0.0, 0.0)


def test_skids_sticks_or_fine_by_the_rails_grip():
    # 25 g on an axle with 10.5 mm wheels: least grip 0.1 x 0.245 N x 5.25 mm = 0.129 N mm; rolling 0.02 x 0.49 x 5.25
    verdict = lambda torque: will_it_turn([Cogging("floor", torque, 0, 0)], axle_load_g=25, wheel_mm=10.5)  # noqa: E731
    assert verdict(0.10).grip_n_mm[0] == pytest.approx(0.1 * 0.025 * 9.80665 * 5.25)
    assert [verdict(t).verdict for t in (0.04, 0.10, 0.14)] == ["fine", "sticks", "skids"]


def test_magnets_that_swing_into_the_steel_are_refused():
    with pytest.raises(ValueError, match=r"expected it to begin beyond 2.62 mm, where the magnets swing, came 2.5"):
        against_floor(PAIR, [FloorLayer("steel", 1.0, 2.5)])


def test_a_wide_plate_with_sizes_is_the_endless_one_and_one_beside_the_axle_pulls_less():
    # thin sheets on a grid against images: steel 0.2 mm, 5 mm over the axle; the grid is good to some per cent
    endless = against_floor(PAIR, [FloorLayer("steel", 0.2, 5.0)])
    wide = against_floor(PAIR, [FloorLayer("steel", 0.2, 5.0, length_mm=120.0, width_mm=120.0)])
    assert wide.torque_n_mm == pytest.approx(endless.torque_n_mm, rel=0.1)
    assert wide.pull_n == pytest.approx(endless.pull_n, rel=0.1)
    beside = against_floor(PAIR, [FloorLayer("steel", 0.2, 5.0, length_mm=40.0, width_mm=40.0, centre_mm=(26.0, 0.0))])
    assert 0 < beside.torque_n_mm < 0.5 * endless.torque_n_mm
    with pytest.raises(ValueError, match=r"beyond 2.62 mm, where the magnets swing, came 2"):
        against_floor(PAIR, [FloorLayer("steel", 0.2, 2.0, length_mm=40.0, width_mm=40.0)])


def test_rails_by_hand():
    # a dipole m at height h over two rods: U = -1/2 sum of (2 B_across2 + n B_along2) A ds / mu0, in SI; so thin that n
    # is the permeability's alone
    g, area = 60.0, 1e-4
    found = against_rails(PAIR, gauge_mm=g, wheel_mm=g, rail_mm2=area)
    s = np.linspace(-4 * math.hypot(30, 30), 4 * math.hypot(30, 30), 2001) * 1e-3
    h = 0.03 + math.sqrt(area) * 1e-3

    def energy(phi):
        m = MOMENT_A_M2 * np.array([math.sin(phi), 0.0, math.cos(phi)])
        total = 0.0
        for y in (-0.03, 0.03):
            r = np.stack([s, np.full_like(s, y), np.full_like(s, -h)], -1)
            away = np.linalg.norm(r, axis=1, keepdims=True)
            b = 1e-7 * (3 * (r @ m)[:, None] * r / away**5 - m / away**3)
            total -= (
                0.5
                / mu_0
                * np.sum(2 * (b[:, 1] ** 2 + b[:, 2] ** 2) + 200 * b[:, 0] ** 2)
                * area
                * 1e-6
                * (s[1] - s[0])
            )
        return total * 1e3

    phi = np.linspace(0, 2 * math.pi, 181)
    torque = np.max(np.abs(np.gradient([energy(p) for p in phi], phi)))
    assert found.torque_n_mm == pytest.approx(torque, rel=0.02)


def test_the_usual_rail_is_a_hundredth_of_the_gauge_squared():
    # code 100 rail on 16.5 mm: 2.54 mm high, some 2.6 mm2 (from memory)
    usual, stated = (against_rails(PAIR, gauge_mm=16.5, wheel_mm=10.5, rail_mm2=a).torque_n_mm for a in (None, 2.6))
    assert usual == pytest.approx(stated, rel=0.02)
