"""Flats on an axle: geometry, section values and strength, against textbook cases and independent integration."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.wagon.wagons import HO
from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Axle, Magnets
from wayrule.wagon.axle import axle_material, section, strength
from wayrule.wagon.flats import flat, flat_of, strip, strips_of

axles = st.tuples(st.floats(0.5, 12.0), st.floats(0.02, 0.999))


def polygon_moments(d, f, n=40_000):
    """Area and second moments of the outline as a polygon, by the textbook's sums over its corners (Green)."""
    r = d / 2
    a = math.asin(min(f / r, 1.0))
    right = np.linspace(-a, a, n)
    angle = np.concatenate([right, math.pi + right])
    u, v = r * np.cos(angle), r * np.sin(angle)
    u2, v2 = np.roll(u, -1), np.roll(v, -1)
    cross = u * v2 - u2 * v
    area = cross.sum() / 2
    weak = (cross * (v * v + v * v2 + v2 * v2)).sum() / 12
    stiff = (cross * (u * u + u * u2 + u2 * u2)).sum() / 12
    return area, weak, stiff, np.stack([u, v])


def test_a_round_bar_is_the_handbook_s():
    # any handbook: A = pi d^2 / 4, I = pi d^4 / 64, Z = pi d^3 / 32
    got = section(6.0, 3.0)
    assert got.area_mm2 == pytest.approx(math.pi * 36 / 4, rel=1e-12)
    assert (got.weak_i_mm4, got.stiff_i_mm4) == pytest.approx((math.pi * 6**4 / 64,) * 2, rel=1e-12)
    assert (got.weak_z_mm3, got.stiff_z_mm3, got.turning_z_mm3) == pytest.approx((math.pi * 6**3 / 32,) * 3, rel=1e-12)


def test_a_thin_strip_is_a_rectangle():
    # f << r: a rectangle 2r x 2f: I = b h^3 / 12, Z = b h^2 / 6; the round ends matter by (f/r)^2 = 1e-6
    got = section(2.0, 0.001)
    assert got.weak_i_mm4 == pytest.approx(2.0 * 0.002**3 / 12, rel=2e-6)
    assert got.weak_z_mm3 == pytest.approx(2.0 * 0.002**2 / 6, rel=2e-6)
    assert got.stiff_i_mm4 == pytest.approx(0.002 * 2.0**3 / 12, rel=2e-6)


def test_a_shaving_off_top_and_bottom_strengthens_a_standing_bar():
    # Timoshenko, Strength of Materials, part I: cutting 0.011 d off a round beam at top and bottom raises its section
    # modulus by 0.7 % (the extreme fibres that go had carried little)
    got = section(100.0, 50.0 - 1.1).weak_z_mm3 / (math.pi * 100**3 / 32)
    assert got == pytest.approx(1.007, abs=0.0005)
    assert all(
        section(100.0, 50.0 - cut).weak_z_mm3 / (math.pi * 100**3 / 32) <= got + 1e-5 for cut in (0.7, 0.9, 1.3, 1.5)
    )


@settings(max_examples=40, deadline=None)
@given(axles)
def test_any_section_is_its_outline_integrated(axle):
    d, share = axle
    f = share * d / 2
    got = section(d, f)
    area, weak, stiff, _ = polygon_moments(d, f)
    # a polygon of 80 000 corners misses the circle by (pi/n)^2
    assert (got.area_mm2, got.weak_i_mm4, got.stiff_i_mm4) == pytest.approx((area, weak, stiff), rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(axles)
def test_the_turning_modulus_is_the_worst_of_all_fibres_and_angles(axle):
    d, share = axle
    f = share * d / 2
    _, weak, stiff, outline = polygon_moments(d, f, 400)
    turn = np.linspace(0, math.pi, 3601)[:, None]
    stress = np.abs(np.cos(turn) * outline[1] / weak + np.sin(turn) * outline[0] / stiff)
    # 0.05 deg steps of turn: 1 - cos(0.025 deg) = 1e-7; the outline of 800 corners: 2e-5
    assert 1 / section(d, f).turning_z_mm3 == pytest.approx(float(stress.max()), rel=1e-4)


@settings(deadline=None)
@given(axles)
def test_flats_only_weaken(axle):
    d, share = axle
    got = section(d, share * d / 2)
    assert got.turning_z_mm3 <= min(got.weak_z_mm3, math.pi * d**3 / 32) * (1 + 1e-9)
    assert got.turning_z_mm3 < section(d, min(1.0, share * 1.01) * d / 2).turning_z_mm3 * (1 + 1e-9)


def test_a_flat_by_hand():
    # 3-4-5 triangle: axle 10 across, flat 4 from the centre is 6 wide and 1 deep
    got = flat(10.0, 4.0)
    assert (got.width_mm, got.depth_mm, got.across_mm) == pytest.approx((6.0, 1.0, 8.0))
    deeper = flat(10.0, 3.99)
    assert deeper.width_mm - got.width_mm == pytest.approx(got.width_per_0_01, rel=0.01)


def test_the_flats_of_a_wagon():
    got = flat_of(HO)
    assert got is not None
    assert got.width_mm == pytest.approx(2 * math.sqrt(1 - 0.49))
    assert flat_of(replace(HO, axle=Axle())) is None
    assert flat_of(replace(HO, axle=Axle(1.4))) is None  # discs glued on a round axle of 0.7 mm radius
    assert flat_of(replace(HO, magnets=Magnets("ring", diameter_mm=6, hole_mm=2, thickness_mm=2))) is None


@pytest.mark.parametrize("f", [0.0, 1.0, 1.2])
def test_a_flat_outside_the_axle_is_refused(f):
    with pytest.raises(UsageError, match=rf"0 to 1 mm, came flat_radius_mm = {f:g}; correct"):
        flat(2.0, f)
    if f != 1.0:
        with pytest.raises(UsageError, match=r"up to 1 mm, half the axle, came"):
            section(2.0, f)


def test_a_strip_wraps_its_own_thickness():
    # by hand: pi * 10.6 = 33.3009; a paper 0.1 mm thicker needs pi * 0.1 more
    got = strip("wheel", 10.5, 0.1)
    assert got.length_mm == pytest.approx(33.3009, abs=1e-4)
    assert strip("wheel", 10.5, 0.2).length_mm - got.length_mm == pytest.approx(got.error_mm_per_0_1)
    # marks at 0 and half the strip, on a paper 0.1 mm thicker: half the strip spans less than half a turn
    span = got.length_mm / 2 / (math.pi * 10.7) * 360
    assert 180 - span == pytest.approx(got.error_deg_per_0_1, rel=0.02)
    assert [s.diameter_mm for s in strips_of(HO)] == [10.5, 2.0]


def test_strength_by_hand():
    # 50 g on two axles and 10 N: 10.245 N; overhang (24.5 - 16.5) / 2 = 4 mm; M = 10.245 * 4 / 2 = 20.49 N mm
    got = strength(HO, 50.0)
    assert got.load_n == pytest.approx(10 + 0.05 * 9.80665 / 2)
    assert got.moment_n_mm == pytest.approx(20.4903, abs=1e-3)
    assert got.plain_n_mm2 == pytest.approx(20.4903 / (math.pi * 8 / 32), rel=1e-4)
    assert got.stress_n_mm2 == pytest.approx(20.4903 / 0.480998, rel=1e-4)
    assert got.safety == pytest.approx(440 / got.stress_n_mm2)
    assert "strong enough" in got.text
    weak = strength(replace(HO, axle=replace(HO.axle, yield_mpa=60.0)), 50.0)
    assert (weak.yield_n_mm2, weak.source) == (60.0, "stated as axle.yield_mpa")
    assert "weak: file less" in weak.text
    assert strength(replace(HO, axle=replace(HO.axle, overhang_mm=2.0)), 50.0).moment_n_mm == pytest.approx(
        10.245, abs=1e-3
    )


@pytest.mark.parametrize(
    ("axle", "words"),
    [
        (
            Axle(length_mm=24.5, material="steel"),
            "axle: expected axle.diameter_mm and magnets.flat_radius_mm, came one",
        ),
        (Axle(2.0, material="steel"), "expected axle.overhang_mm, or an axle.length_mm above the gauge, came neither"),
        (Axle(2.0, 24.5), "expected axle.material or axle.yield_mpa, came neither; state one of steel, free-cutting"),
    ],
)
def test_what_strength_needs_is_named(axle, words):
    with pytest.raises(UndeterminedError) as caught:
        strength(replace(HO, axle=axle), 50.0)
    assert words in str(caught.value)


def test_an_unknown_material_is_answered_with_the_known_ones():
    with pytest.raises(UsageError, match=r"steel, free-cutting steel, .*, or a yield_mpa, came 'cheese'"):
        axle_material("cheese")
