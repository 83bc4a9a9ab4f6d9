"""Lines, arcs and clothoids against printed tables and worked examples."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths import clothoid

# Abramowitz and Stegun, table 7.7 (7 printed decimals), C(x) and S(x)
FRESNEL = [
    (0.1, 0.0999975, 0.0005236),
    (0.5, 0.4923442, 0.0647324),
    (1.0, 0.7798934, 0.4382591),
    (1.5, 0.4452612, 0.6975050),
    (2.0, 0.4882534, 0.3434157),
    (3.0, 0.6057208, 0.4963130),
    (4.0, 0.4984260, 0.4205158),
    (5.0, 0.5636312, 0.4991914),
]

# R, L, end x, end y, offset of the circle, centre along the tangent. Rows 1 (A = 80, R = 100, surveying-instrument
# manual) and 2 (public alignment-exchange test file) print L and x or the angle; the rest is 30-digit arithmetic.
# Rows 3 to 5: R and L of NEM 113:2016 table 2 for H0, N and 0.
CLOTHOIDS = [
    (100, 64, 63.34773956, 6.776896874, 1.700438682, 31.8910835),
    (100, 60, 59.46224533, 5.961538853, 1.495187765, 29.91022467),
    (350, 275, 270.7859582, 35.61685193, 8.953513683, 136.7956482),
    (250, 155, 153.5170624, 15.9070593, 3.990451774, 77.25240333),
    (1000, 655, 648.0095139, 70.95822775, 17.80772163, 326.3326016),
]

# R, chord, exact mid-chord offset (circle geometry), mm
VERSINES = [(150, 50, 2.09801), (360, 100, 3.48913), (505, 100, 2.48134), (1000, 200, 5.01256), (3000, 300, 3.75235)]

# degree of curve by a 100 ft chord -> radius in ft, R = 50 / sin(D/2) (North American railway practice)
DEGREE_CHORD = [(1, 5729.651), (5, 1146.279), (10, 573.686), (30, 193.185), (23.0739, 250.0)]


@pytest.mark.parametrize(("x", "c", "s"), FRESNEL)
def test_fresnel_table(x, c, s):
    got = clothoid.fresnel(x)
    assert got[0] == pytest.approx(c, abs=6e-8)  # half of the last printed digit
    assert got[1] == pytest.approx(s, abs=6e-8)


@pytest.mark.parametrize(("radius", "length", "x", "y", "p", "k"), CLOTHOIDS)
def test_worked_clothoids(radius, length, x, y, p, k):
    got_x, got_y, got_t = clothoid.end(0.0, 1 / radius, length)
    assert (got_x, got_y) == pytest.approx((x, y), rel=5e-10)  # half of the tenth digit, at worst
    assert got_t == pytest.approx(length / (2 * radius), rel=1e-14)
    assert clothoid.shift(radius, length) == pytest.approx((p, k), rel=2e-9)


@pytest.mark.parametrize("turn", [0.1, 1.0, math.pi, 8.0, 50.0, 300.0])
def test_stated_range_against_fresnel(turn):
    """A clothoid from the straight is a scaled Fresnel integral: a sqrt(pi) (C, S)(L / (a sqrt(pi)))."""
    length = 1000.0
    k1 = 2 * turn / length
    a = math.sqrt(length / k1)
    c, s = clothoid.fresnel(length / (a * math.sqrt(math.pi)))
    x, y, _ = clothoid.end(0.0, k1, length)
    assert abs(x - a * math.sqrt(math.pi) * c) < 1e-12 * length
    assert abs(y - a * math.sqrt(math.pi) * s) < 1e-12 * length


@pytest.mark.parametrize(("radius", "chord", "versine"), VERSINES)
def test_versine_of_an_arc(radius, chord, versine):
    length = 2 * radius * math.asin(chord / (2 * radius))
    x, y, _ = clothoid.points(1 / radius, 1 / radius, length, [0.5 * length, length])
    assert math.hypot(x[1], y[1]) == pytest.approx(chord, rel=1e-12)
    offset = abs(x[0] * y[1] - y[0] * x[1]) / chord
    assert offset == pytest.approx(versine, abs=6e-6)  # the table prints five decimals


@pytest.mark.parametrize(("degree", "radius"), DEGREE_CHORD)
def test_degree_of_curve(degree, radius):
    """An arc of that radius that turns by D has a chord of 100 ft."""
    x, y, _ = clothoid.end(1 / radius, 1 / radius, radius * math.radians(degree))
    assert math.hypot(x, y) == pytest.approx(100.0, rel=2e-6)  # radii are printed to seven digits


@settings(max_examples=60, deadline=None)
@given(
    k0=st.floats(-0.01, 0.01),
    k1=st.floats(-0.01, 0.01),
    length=st.floats(1.0, 5000.0),
    cut=st.floats(0.05, 0.95),
)
def test_a_piece_is_the_sum_of_its_parts_and_mirrors(k0, k1, length, cut):
    x, y, t = clothoid.end(k0, k1, length)
    middle = k0 + (k1 - k0) * cut
    xa, ya, ta = clothoid.end(k0, middle, cut * length)
    xb, yb, tb = clothoid.end(middle, k1, (1 - cut) * length)
    assert xa + math.cos(ta) * xb - math.sin(ta) * yb == pytest.approx(x, abs=1e-10 * length)
    assert ya + math.sin(ta) * xb + math.cos(ta) * yb == pytest.approx(y, abs=1e-10 * length)
    assert ta + tb == pytest.approx(t, abs=1e-9)
    assert clothoid.turn_rad(k0, k1, length) == pytest.approx(t, abs=1e-9)
    assert clothoid.end(-k0, -k1, length) == pytest.approx((x, -y, -t), abs=1e-10 * length)


def test_places_in_any_order():
    s = np.array([30.0, 0.0, 60.0, 30.0])
    x, y, t = clothoid.points(0.0, 0.01, 60.0, s)
    for i, at in enumerate(s):
        k = 0.01 * at / 60.0
        assert (x[i], y[i], t[i]) == pytest.approx(clothoid.end(0.0, k, at) if at else (0.0, 0.0, 0.0), abs=1e-12)


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ((0.0, 0.01, 0.0, [0.0]), "length_mm must be above 0, came 0.0"),
        ((0.0, 0.01, 10.0, [11.0]), "s_mm must lie between 0 and 10.0, came 11.0 to 11.0"),
        ((0.0, 100.0, 10.0, [5.0]), "at most 628 rad of turn, came 1000"),
    ],
)
def test_refusals(args, message):
    with pytest.raises(ValueError, match=r"clothoid\.points") as caught:
        clothoid.points(*args)
    assert message in str(caught.value)


def test_road_alignments_close():
    """Published road alignments (InfraModel sample set, CC BY 4.0): our pieces, laid end to end, reach their ends."""
    table = Path(__file__).parents[3] / "shared/data/landxml_inframodel/elements.csv"
    if not table.exists():
        pytest.skip("the published alignments are not here")
    with table.open(newline="") as f:
        for row in csv.DictReader(f):
            k, length = float(row["curvature_ccw_per_m"]), float(row["length_m"])
            x, y, t = clothoid.end(k, k, length)
            h = float(row["start_heading_ccw_from_east_rad"])
            east = float(row["start_east_m"]) + math.cos(h) * x - math.sin(h) * y
            north = float(row["start_north_m"]) + math.sin(h) * x + math.cos(h) * y
            assert east == pytest.approx(float(row["end_east_m"]), abs=1e-4)
            assert north == pytest.approx(float(row["end_north_m"]), abs=1e-4)
            assert math.remainder(h + t - float(row["end_heading_ccw_from_east_rad"]), math.tau) == pytest.approx(
                0, abs=2e-6
            )
