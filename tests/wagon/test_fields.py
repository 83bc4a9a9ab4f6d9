"""Fields of discs, rings and blocks against evaluations that share nothing with the library's closed forms."""

import math

import magpylib
import numpy as np
import pytest

from wayrule.model import Magnets
from wayrule.wagon.fields import field_mt
from wayrule.wagon.sources import Source, sources_of

BR = 1300.0
UP = np.array([0.0, 0.0, BR])


def charges_on_faces(points, diameter, thickness, br, *, n_r=60, n_a=240):
    """Field of an axially magnetised disc as its surface charges +-Br on both faces, integrated numerically.

    Gauss-Legendre over radius, trapezium over the angle (spectral for a periodic integrand): B = Br/4pi sum r/r3 dA.
    """
    node, weight = np.polynomial.legendre.leggauss(n_r)
    r = diameter / 4 * (1 + node)
    a = np.arange(n_a) * 2 * math.pi / n_a
    area = (diameter / 4 * weight * r)[:, None] * np.full(n_a, 2 * math.pi / n_a)
    total = np.zeros_like(points)
    for sign in (1.0, -1.0):
        place = np.stack(
            [r[:, None] * np.cos(a), r[:, None] * np.sin(a), np.full((n_r, n_a), sign * thickness / 2)], -1
        )
        gap = points[:, None, None] - place
        total += (
            sign
            * br
            / (4 * math.pi)
            * np.einsum("prak,ra->pk", gap / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, area)
        )
    return total


def charges_on_mantle(points, diameter, thickness, br, *, n_z=60, n_a=240):
    """The same for a disc magnetised across (along x): charge Br cos a on its mantle."""
    node, weight = np.polynomial.legendre.leggauss(n_z)
    z, a = thickness / 2 * node, np.arange(n_a) * 2 * math.pi / n_a
    share = (thickness / 2 * weight)[:, None] * (np.cos(a) * diameter / 2 * 2 * math.pi / n_a)
    place = np.stack(np.broadcast_arrays(diameter / 2 * np.cos(a), diameter / 2 * np.sin(a), z[:, None]), -1)
    gap = points[:, None, None] - place
    return br / (4 * math.pi) * np.einsum("pzak,za->pk", gap / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, share)


def charges_on_block(points, size, polarisation, *, n=50):
    """A block as charges J.n on its six faces, Gauss-Legendre on each."""
    node, weight = np.polynomial.legendre.leggauss(n)
    total = np.zeros_like(points)
    for axis in range(3):
        i, j = (k for k in range(3) if k != axis)
        for sign in (1.0, -1.0):
            place = np.zeros((n, n, 3))
            place[..., axis] = sign * size[axis] / 2
            place[..., i], place[..., j] = size[i] / 2 * node[:, None], size[j] / 2 * node
            area = np.outer(weight, weight) * size[i] * size[j] / 4
            gap = points[:, None, None] - place
            field = np.einsum("pabk,ab->pk", gap / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, area)
            total += sign * polarisation[axis] / (4 * math.pi) * field
    return total


def outside(seed, count, nearest):
    """Points all round, from `nearest` outwards, the axis among them."""
    rng = np.random.default_rng(seed)
    way = rng.standard_normal((count, 3))
    way[0] = (0.0, 0.0, 1.0)
    return way / np.linalg.norm(way, axis=1, keepdims=True) * rng.uniform(nearest, 8 * nearest, (count, 1))


def worst(got, exact):
    return np.max(np.linalg.norm(got - exact, axis=1) / np.linalg.norm(exact, axis=1))


@pytest.mark.parametrize(("diameter", "thickness"), [(2.0, 1.0), (3.0, 1.0), (12.0, 3.0), (4.0, 8.0)])
def test_disc_is_its_surface_charges_to_a_millionth(diameter, thickness):
    disc = Source("disc", (diameter, thickness), UP, np.zeros(3), np.eye(3))
    points = outside(1, 40, 0.75 * math.hypot(diameter, thickness))
    assert worst(field_mt((disc,), points), charges_on_faces(points, diameter, thickness, BR)) < 1e-6


@pytest.mark.parametrize(("diameter", "thickness"), [(3.0, 1.0), (6.0, 4.0)])
def test_disc_magnetised_across_is_its_mantle_charges_to_a_millionth(diameter, thickness):
    disc = Source("disc", (diameter, thickness), np.array([BR, 0.0, 0.0]), np.zeros(3), np.eye(3))
    points = outside(2, 40, 0.75 * math.hypot(diameter, thickness))
    assert worst(field_mt((disc,), points), charges_on_mantle(points, diameter, thickness, BR)) < 1e-6


def test_block_magnetised_any_way_is_its_surface_charges_to_a_millionth():
    size, way = (4.0, 3.0, 2.0), np.array([300.0, -700.0, 900.0])
    block = Source("block", size, way, np.zeros(3), np.eye(3))
    points = outside(3, 40, 0.8 * math.hypot(*size))
    assert worst(field_mt((block,), points), charges_on_block(points, size, way)) < 1e-6


@pytest.mark.parametrize("way", [(0.0, 0.0, BR), (BR, 0.0, 0.0), (400.0, 500.0, 600.0)])
def test_ring_as_difference_of_discs_is_two_half_rings(way):
    # cylinder segments: other formulas than those of full cylinders (F. Slanovc et al., J. Magn. Magn. Mat. 559 (2022)
    # 169482, as magpylib has them; for a whole ring it would take the difference itself)
    ring = Source("ring", (8.0, 3.0, 4.0), np.array(way), np.zeros(3), np.eye(3))
    points = outside(4, 30, 5.0)
    halves = [
        magpylib.magnet.CylinderSegment(dimension=(1.5, 4.0, 4.0, begin, begin + 180.0), polarization=way).getB(points)
        for begin in (0.0, 180.0)
    ]
    assert worst(field_mt((ring,), points), halves[0] + halves[1]) < 1e-6


def test_in_its_bore_a_ring_magnetised_along_is_its_charges_too():
    # where the axle is: B = mu0 H of the faces' charges, no polarisation there
    ring = Source("ring", (8.0, 4.0, 3.0), UP, np.zeros(3), np.eye(3))
    points = np.array([[0.0, 0.0, 0.0], [0.5, 0.2, 0.3]])
    charges = charges_on_faces(points, 8.0, 3.0, BR, n_r=400, n_a=400) - charges_on_faces(
        points, 4.0, 3.0, BR, n_r=400, n_a=400
    )
    assert worst(field_mt((ring,), points), charges) < 1e-6


@pytest.mark.parametrize(
    "magnets",
    [
        Magnets("disc_pair", diameter_mm=3.0, thickness_mm=1.0, flat_radius_mm=0.6, grade="N42"),
        Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=3.0, grade="N42"),
        Magnets("block", length_mm=4.0, width_mm=2.0, thickness_mm=1.0, flat_radius_mm=0.6, grade="N42"),
        Magnets("single", diameter_mm=3.0, thickness_mm=1.0, flat_radius_mm=0.6, grade="N42"),
    ],
)
def test_far_away_every_arrangement_is_a_dipole(magnets):
    # the next multipole of one magnet off the centre is (place / distance) of the dipole
    sources = sources_of(magnets)
    far = 2000.0
    points = outside(5, 20, far)
    points *= far / np.linalg.norm(points, axis=1, keepdims=True)
    moment = sum(source.moment_mt_mm3 for source in sources)
    unit = points / far
    dipole = (3 * (unit @ moment)[:, None] * unit - moment) / (4 * math.pi * far**3)
    assert worst(field_mt(sources, points), dipole) < 3e-3


def test_the_field_has_no_divergence_and_no_curl_outside():
    ring = sources_of(Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=3.0, grade="N42"))
    place, h = np.array([4.0, 3.0, 5.0]), 1e-3
    jacobian = np.stack([(field_mt(ring, place + h * e) - field_mt(ring, place - h * e)) / (2 * h) for e in np.eye(3)])
    assert abs(np.trace(jacobian)) < 1e-6 * np.max(np.abs(jacobian))
    assert np.max(np.abs(jacobian - jacobian.T)) < 1e-6 * np.max(np.abs(jacobian))


@pytest.mark.parametrize(
    ("source", "point"),
    [
        (Source("disc", (4.0, 1.0), UP, np.zeros(3), np.eye(3)), (1.0, 0.0, 0.2)),
        (Source("block", (4.0, 1.0, 2.0), UP, np.zeros(3), np.eye(3)), (1.9, 0.4, 0.9)),
        (Source("ring", (4.0, 2.0, 1.0), UP, np.zeros(3), np.eye(3)), (1.5, 0.0, 0.0)),
    ],
)
def test_a_point_in_a_magnet_is_refused(source, point):
    with pytest.raises(ValueError, match=r"expected points outside the magnets, came .* mm in a"):
        field_mt((source,), point)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        (("disc", (4.0,)), "expected 2 sizes above 0 for a disc"),
        (("block", (4.0, 0.0, 1.0)), "expected 3 sizes above 0 for a block"),
        (("ring", (4.0, 5.0, 1.0)), "expected a hole below the diameter 4, came 5"),
    ],
)
def test_a_body_that_cannot_be_is_refused(sizes, words):
    with pytest.raises(ValueError, match=words):
        Source(*sizes, UP, np.zeros(3), np.eye(3))


def test_a_ring_magnetised_along_the_axle_is_refused():
    with pytest.raises(ValueError, match="looks the same at every angle"):
        sources_of(Magnets("ring", diameter_mm=6, hole_mm=2, thickness_mm=3, grade="N42", magnetisation=(0, 1, 0)))
