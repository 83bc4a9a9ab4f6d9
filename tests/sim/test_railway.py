"""Railways against published clothoids, circle geometry and exact closing."""

import math

import numpy as np
import pytest

from wayrule.sim import (
    Defect,
    Grade,
    Roughness,
    arc,
    branch_n,
    build,
    figure_eight,
    garden_g,
    oval,
    random_line,
    straight,
    transition,
)


@pytest.mark.parametrize(
    ("length", "radius", "x_end", "y_end", "turn_deg"),
    [
        # surveying-instrument manual, worked example A = 80, R = 100 (prints N = 63.348, tau = 18d20m06s)
        (64.0, 100.0, 63.34773956, 6.776896874, 18.33464944),
        # NEM 113:2016 table 2, H0: R 350, L 275; end point computed with Fresnel integrals
        (275.0, 350.0, 270.7859582, 35.61685193, 22.50905624),
        # NEM 113:2016 table 2, N: R 250, L 155
        (155.0, 250.0, 153.5170624, 15.9070593, 17.76169165),
        # NEM 113:2016 table 2, 0: R 1000, L 655
        (655.0, 1000.0, 648.0095139, 70.95822775, 18.76436779),
    ],
)
def test_transition_ends_where_the_tables_say(length, radius, x_end, y_end, turn_deg):
    line = build("table", [transition(length, 0.0, 1 / radius)])
    x, y = line.xy(length)
    assert x == pytest.approx(x_end, abs=1e-6)
    assert y == pytest.approx(y_end, abs=1e-6)
    assert math.degrees(line.heading(length)) == pytest.approx(turn_deg, abs=1e-7)


@pytest.mark.parametrize(
    ("x", "c", "s"),
    # Abramowitz and Stegun table 7.7 gives C(x), S(x) to 7 decimals; digits below recomputed to 12
    [(0.5, 0.492344225871, 0.06473243286), (1.0, 0.779893400377, 0.43825914739), (2.0, 0.488253406075, 0.343415678364)],
)
def test_long_clothoid_follows_the_fresnel_integrals(x, c, s):
    # with unit = a sqrt(pi): position = unit (C, S) at length unit x, curvature = pi x / unit
    unit = 1000.0
    line = build("spiral", [transition(unit * x, 0.0, math.pi * x / unit)])
    assert np.array(line.xy(unit * x)) == pytest.approx([unit * c, unit * s], abs=1e-6)


@pytest.mark.parametrize(
    ("radius", "chord", "versine"),
    # versine of a chord, circle geometry
    [(360, 100, 3.48913), (437.5, 100, 2.86653), (1000, 200, 5.01256)],
)
def test_arc_has_the_versine_of_its_circle(radius, chord, versine):
    turn = 2 * math.asin(chord / 2 / radius)
    line = build("bend", [arc(radius, math.degrees(turn))])
    (x0, x1, x2), (y0, y1, y2) = line.xy(np.array([0, 0.5, 1]) * line.length_mm)
    assert math.hypot(x2 - x0, y2 - y0) == pytest.approx(chord, abs=1e-6)
    assert math.hypot(x1 - (x0 + x2) / 2, y1 - (y0 + y2) / 2) == pytest.approx(versine, abs=2e-5)


@pytest.mark.parametrize("lay", [oval, figure_eight, garden_g])
def test_closed_lines_close_exactly(lay):
    line = lay(np.random.default_rng(3), defects=6)
    a, b = np.zeros(1), np.full(1, line.length_mm)
    for f in (line.z, line.cant, line.curvature, line.gradient, *(lambda s, i=i: line.xy(s)[i] for i in (0, 1))):
        assert abs(f(a) - f(b))[0] < 1e-9
    turns = (line.heading(b) - line.heading(a))[0] / (2 * math.pi)
    assert turns == pytest.approx({"Bertrand": 0}.get(line.name.split("'")[0], 1), abs=1e-12)
    # just before the end is just before the start: nothing jumps by more than the step itself
    x, y = line.xy(np.array([line.length_mm - 1e-3, 1e-3]))
    assert math.hypot(*np.diff([x, y])[:, 0]) == pytest.approx(2e-3, rel=1e-3)


def test_closing_changes_the_design_by_little():
    bare = oval(np.random.default_rng(3), roughness=0.0)
    rough = oval(np.random.default_rng(3), defects=6)
    for a, b in zip(bare.design.pieces, rough.design.pieces, strict=True):
        assert b.length_mm == pytest.approx(a.length_mm, rel=0.05)


def test_figure_eight_crosses_itself_with_room_for_a_train():
    line = figure_eight(np.random.default_rng(5), defects=0)
    s = np.arange(0, line.length_mm, 10.0)
    x, y = line.xy(s)
    z = line.z(s)
    apart = np.abs(s[:, None] - s)
    apart = np.minimum(apart, line.length_mm - apart)
    near = (np.hypot(x[:, None] - x, y[:, None] - y) < 15.0) & (apart > 1000.0)
    assert near.any()
    assert np.abs(z[:, None] - z)[near].min() > 65.0  # mm; HO vehicles are up to about 60 mm high


def test_lines_are_as_long_as_they_claim():
    assert oval(np.random.default_rng(1)).length_mm == pytest.approx(9000, rel=0.02)
    assert figure_eight(np.random.default_rng(1)).length_mm == pytest.approx(25000, rel=0.04)
    assert branch_n(np.random.default_rng(1)).length_mm == pytest.approx(14000, rel=1e-9)
    assert garden_g(np.random.default_rng(1)).length_mm == pytest.approx(59000, rel=0.03)


def test_profiles_belong_together():
    """Each function is the derivative of the next: numerically, on a line with every irregularity."""
    line = branch_n(np.random.default_rng(2), defects=6)
    s = np.linspace(100, line.length_mm - 100, 4001)
    d = 0.5
    x1, y1 = line.xy(s + d)
    x0, y0 = line.xy(s - d)
    assert np.max(np.abs(np.hypot(x1 - x0, y1 - y0) / (2 * d) - 1)) < 7e-6  # (k d)^2 / 6 in a kink of 80 mm radius
    t = line.heading(s)
    assert np.max(np.abs((y1 - y0) / (2 * d) * np.cos(t) - (x1 - x0) / (2 * d) * np.sin(t))) < 3e-4
    assert np.std((line.heading(s + d) - line.heading(s - d)) / (2 * d) - line.curvature(s)) < 1e-4
    assert np.std((line.z(s + d) - line.z(s - d)) / (2 * d) - line.gradient(s)) < 5e-4
    one = line.mean_gradient(s, 2 * d)
    assert np.max(np.abs(one - (line.z(s + d) - line.z(s - d)) / (2 * d))) < 1e-12


def test_defects_have_the_size_and_sign_they_claim():
    def bent(*defects):
        return build("flat", [straight(2000.0)], defects=defects)

    plain = bent()
    at = 1000.0
    assert bent(Defect("dip", at, 0.6, 150.0)).z(at) - plain.z(at) == pytest.approx(-0.6, abs=1e-9)
    assert bent(Defect("hump", at, 0.6, 150.0)).z(at) - plain.z(at) == pytest.approx(0.6, abs=1e-9)
    assert bent(Defect("twist", at, 0.8, 150.0)).cant(at) == pytest.approx(0.8, abs=1e-9)
    left = bent(Defect("one_rail_dip", at, 0.8, 150.0, "left"))
    assert (left.cant(at), left.z(at)) == (pytest.approx(-0.8, abs=1e-9), pytest.approx(-0.4, abs=1e-9))
    assert bent(Defect("lateral", at, 1.0, 200.0)).xy(at)[1] == pytest.approx(1.0, abs=1e-3)
    kink = bent(Defect("kink", at, 1.2, 10.0))
    assert np.degrees(kink.heading(np.array([980.0, 1020.0]))) == pytest.approx([0.0, 1.2], abs=1e-9)
    fault = Defect("kink", at, 1.2, 10.0).fault
    assert (fault.kind, fault.unit, fault.size) == ("kink", "deg", 1.2)


def test_roughness_has_the_sd_it_claims():
    rough = Roughness(0.3, 0.2, 0.1, 100.0, 1500.0)
    line = build("long", [straight(60000.0)], roughness=rough, rng=np.random.default_rng(4))
    s = np.linspace(0, line.length_mm, 60001)
    x, y = line.xy(s)
    assert np.std(y - np.polyval(np.polyfit(x, y, 1), x)) == pytest.approx(0.3, rel=0.02)
    assert np.std(line.z(s)) == pytest.approx(0.2, rel=0.02)
    assert np.std(line.cant(s)) == pytest.approx(0.1, rel=0.02)


def test_elements_describe_the_design():
    line = oval(np.random.default_rng(1), roughness=0.0)
    plan = [e for e in line.elements if e.plane == "plan"]
    assert [e.kind for e in plan] == ["straight", *(["transition", "arc", "transition", "straight"] * 2)]
    assert sum(e.turned_rad for e in plan) == pytest.approx(2 * math.pi, abs=1e-9)
    assert plan[0].s0_mm == 0.0
    assert plan[-1].s1_mm == pytest.approx(line.length_mm, abs=1e-6)
    for e in plan:
        assert line.curvature((e.s0_mm + e.s1_mm) / 2) == pytest.approx((e.curvature0_1_mm + e.curvature1_1_mm) / 2)
    profile = [e for e in line.elements if e.plane == "profile"]
    for e in profile:
        assert line.gradient((e.s0_mm + e.s1_mm) / 2) == pytest.approx((e.gradient0 + e.gradient1) / 2, abs=1e-4)
    assert sum((e.gradient0 + e.gradient1) / 2 * e.length_mm for e in profile) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("scale", ["N", "HO", "G"])
def test_random_lines_differ_and_repeat(scale):
    lines = [random_line(np.random.default_rng(seed), scale) for seed in (0, 0, 1)]
    assert np.array_equal(lines[0].tables.x_mm, lines[1].tables.x_mm)
    assert lines[0].length_mm != lines[2].length_mm
    assert all(len(line.faults) == 4 for line in lines)


def test_what_cannot_be_laid_is_refused():
    with pytest.raises(ValueError, match="at least one piece"):
        build("none", [])
    with pytest.raises(ValueError, match="cannot be closed"):
        build("open", [straight(1000.0), arc(500.0, 90.0)], closed=True)
    with pytest.raises(ValueError, match="must be longer than its vertical curve of 300 mm, came 100 mm"):
        build("steep", [straight(1000.0)], grades=[Grade(1, 0.0), Grade(9, 0.02)], vertical_curve_mm=300.0)
    with pytest.raises(ValueError, match="must both climb and fall"):
        build("up", [arc(500.0, 360.0), straight(1e-3)], closed=True, grades=[Grade(1, 0.01)])
    with pytest.raises(ValueError, match="needs a random generator"):
        build("rough", [straight(1000.0)], roughness=Roughness.of_gauge(16.5))
    with pytest.raises(ValueError, match=r"the line runs from 0 to 1000.0 mm, came 900.0 to 1200.0 mm"):
        build("short", [straight(1000.0)]).xy(np.array([900.0, 1200.0]))


@pytest.mark.parametrize("lay", [oval, figure_eight, branch_n, garden_g])
def test_the_outer_rail_is_high(lay):
    line = lay(np.random.default_rng(1), roughness=0.0)
    arcs = [e for e in line.elements if e.kind == "arc"]
    assert arcs
    for e in arcs:
        assert line.cant((e.s0_mm + e.s1_mm) / 2) * e.curvature0_1_mm < 0  # left-hand curve: right rail high
        # NEM 114:2007 s1: at most gauge / 15
        assert abs(line.cant((e.s0_mm + e.s1_mm) / 2)) <= line.gauge_mm / 15


def test_falls_undo_climbs():
    line = build(
        "hill", [arc(900.0, 180.0), straight(800.0), arc(900.0, 180.0), straight(800.0)], closed=True,
        grades=[Grade(1, 0.02), Grade(1, 0.0), Grade(2, -0.03)], vertical_curve_mm=200.0,
    )  # fmt: skip
    assert line.mean_gradient(line.length_mm / 2, line.length_mm) == pytest.approx(0.0, abs=1e-12)
    quarter = line.length_mm / 4
    # climbs 2 % of a quarter, so the half that falls does so by 1 %, not by 3
    assert line.gradient(quarter / 2) == pytest.approx(0.02)
    assert line.gradient(3 * quarter) == pytest.approx(-0.01)


def test_round_corners_close_by_construction():
    from wayrule.sim.layouts import round_corners

    corners = np.array([[3000.0, 0.0], [3000.0, 2000.0], [0.0, 2000.0], [0.0, 0.0]])
    pieces = round_corners(corners, [500.0, 600.0, 450.0, 700.0], 200.0, cant_mm=0.8)
    open_line = build("square", pieces)  # laid open: nothing is fitted
    x, y = open_line.xy(open_line.length_mm)
    assert math.hypot(x, y) < 1e-6
    assert math.degrees(open_line.turn_rad) == pytest.approx(360.0)
    with pytest.raises(ValueError, match=r"side 0 of 2000 mm is too short for its corners by \d+ mm"):
        round_corners(corners, [500.0, 1500.0, 450.0, 700.0], 200.0)
    with pytest.raises(ValueError, match="corner of 90 deg is too slight for transitions of 900 mm"):
        round_corners(corners, [500.0] * 4, 900.0)
