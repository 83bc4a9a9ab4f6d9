"""Judging: what a line's truth is must come out; a sigma that reaches over the limit makes no verdict."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayrule.model import Finding, Mark, Surveyed, Train, Vehicle
from wayrule.model.track import STATION_COLUMNS
from wayrule.sim import Defect, Grade, Piece, arc, as_laid, build, oval, straight, transition
from wayrule.track.judge.beside import beside
from wayrule.track.judge.geometry import attack_deg, end_offset_mm, least_radius_mm, swing_mm
from wayrule.track.judge.judge import judge
from wayrule.track.judge.profile import edge_gap_mm
from wayrule.track.judge.subject import Subject
from wayrule.track.judge.verdict import judged, sigmas_for
from wayrule.track.rules.sets import rule_set

TANK = Vehicle("tank", "engine", 110.0, 50.0, 32.0, mass_g=250.0, axles=3)
COACH = Vehicle("coach", "car", 220.0, 160.0, 33.0, bogie_mm=29.0, mass_g=120.0)
LOCAL = Train("local", (TANK, COACH))
USUAL = rule_set("usual", 16.5, 87.0)


def laid(*pieces: Piece, grades: tuple[Grade, ...] = (), defects: tuple[Defect, ...] = ()) -> Surveyed:
    """An open HO line of these pieces, exactly known."""
    railway = build(
        "line", pieces, scale="HO", ratio=87.0, gauge_mm=16.5, closed=False, grades=grades, vertical_curve_mm=100.0,
        defects=defects, rng=np.random.default_rng(1), roughness=None, joints=None,
    )  # fmt: skip
    return as_laid(railway)


def verdicts(line: Surveyed, rule: str) -> list[Finding]:
    return sorted((f for f in judge(line, USUAL, LOCAL).findings if f.rule == rule), key=lambda f: f.s_mm)


# --- verdicts --------------------------------------------------------------------------------------------------------


@given(size=st.floats(0.1, 1e3), sd=st.floats(1e-6, 1e2), limit=st.floats(0.1, 1e3))
def test_a_verdict_is_sure_of_what_it_says(size: float, sd: float, limit: float) -> None:
    found = judged(size, sd, limit, "at least").verdict
    if found in ("pass", "fail"):
        assert abs(size - limit) >= 2.0 * sd * (1 - 1e-9)
        assert (size > limit) == (found == "pass")
    if found == "near":
        assert abs(size - limit) <= 0.2 * limit * (1 + 1e-9)


def test_what_is_not_known_is_not_judged() -> None:
    assert judged(math.nan, 1.0, 1.0, "at most").verdict == "cannot_tell"
    assert judged(1.0, math.nan, 1.0, "at most").verdict == "cannot_tell"
    assert judged(1.2, 0.0, 1.0, "at most").verdict == "fail"


def test_many_places_need_more_sigmas() -> None:
    # two sigmas one-sided: 2.275 %; over 100 places each may fail by chance with 0.02275 % (normal tables: z = 3.51)
    assert sigmas_for(100) == pytest.approx(3.51, abs=0.01)
    assert judged(3.0, 1.0, 0.5, "at most").verdict == "fail"
    assert judged(3.0, 1.0, 0.5, "at most", places=100).verdict == "cannot_tell"


# --- geometry --------------------------------------------------------------------------------------------------------


@given(radius=st.floats(200.0, 1e5), pivots=st.floats(50.0, 250.0), bogie=st.floats(0.0, 40.0))
def test_swing_is_that_of_points_on_circles(radius: float, pivots: float, bogie: float) -> None:
    """Built up by complex numbers: axles on the circle, pivots between axles, body between pivots."""
    car = Vehicle("car", "car", pivots * 1.4, pivots, 30.0, bogie_mm=bogie)
    bogie_in = radius * math.cos(math.asin(0.5 * bogie / radius))  # of a bogie's pivot from the curve's centre
    half_angle = math.asin(0.5 * pivots / bogie_in)
    front, rear = (bogie_in * complex(math.cos(a), math.sin(a)) for a in (half_angle, -half_angle))
    along = (front - rear) / abs(front - rear)
    middle = 0.5 * (front + rear)
    corner = middle + 0.7 * pivots * along + 15.0 * (along / 1j)
    inwards, outwards = swing_mm(car, radius)
    assert inwards == pytest.approx(radius - abs(middle), abs=1e-6)
    assert outwards == pytest.approx(max(0.0, abs(corner) - radius - 15.0), abs=1e-6)
    end = middle + 0.7 * pivots * along
    assert end_offset_mm(car, radius) == pytest.approx(abs(end) - radius, abs=1e-6)


def test_geometry_ends_where_a_vehicle_does_not_fit() -> None:
    assert np.isnan(swing_mm(COACH, 0.99 * least_radius_mm(COACH))[0])
    assert np.isfinite(swing_mm(COACH, 1.01 * least_radius_mm(COACH))[0])
    assert [float(x) for x in swing_mm(COACH, math.inf)] == [0.0, 0.0]
    # NEM 111:2016 s2.1 allows 12 deg: sin 12 deg = 0.2079, so R = 2.405 wheelbases
    assert attack_deg(100.0, 240.49) == pytest.approx(12.0, abs=0.01)


# --- the plan --------------------------------------------------------------------------------------------------------


def test_radius_against_the_longest_car() -> None:
    line = laid(straight(500.0), arc(640.0, 60.0), straight(500.0))
    (found,) = verdicts(line, "radius.cars")
    assert (found.verdict, found.limit) == ("fail", 660.0)  # 3 x 220 mm
    assert found.size == pytest.approx(640.0)
    assert "640 mm" in found.words
    assert found.source.startswith("layout-design rule")
    short = judge(line, USUAL, Train("shunter", (TANK,))).findings
    assert [f.verdict for f in short if f.rule == "radius.cars"] == ["pass"]


def test_a_missing_transition_fails_and_a_wide_curve_needs_none() -> None:
    tight = verdicts(laid(straight(500.0), arc(700.0, 60.0), straight(500.0)), "nem113.transition")
    assert [f.verdict for f in tight] == ["fail", "fail"]
    # NEM 113:2016 s1: none needed above 60 gauges (990 mm)
    assert verdicts(laid(straight(500.0), arc(1000.0, 60.0), straight(500.0)), "nem113.transition") == []
    k = 1 / 700.0
    eased = laid(straight(500.0), transition(300.0, 0.0, k), Piece("arc", 400.0, k, k), transition(300.0, k, 0.0))
    assert {f.verdict for f in verdicts(eased, "nem113.transition")} == {"pass"}


@pytest.mark.parametrize(("between_mm", "verdict"), [(150.0, "fail"), (235.0, "near"), (400.0, "pass")])
def test_straight_between_reverse_curves(between_mm: float, verdict: str) -> None:
    line = laid(straight(300.0), arc(700.0, 40.0), straight(between_mm), arc(700.0, -40.0), straight(300.0))
    (found,) = verdicts(line, "nem111.reverse")
    assert (found.verdict, found.size) == (verdict, pytest.approx(between_mm))


def test_reverse_curves_with_transitions_need_no_straight() -> None:
    k = 1 / 700.0
    bend = (transition(250.0, 0.0, k), Piece("arc", 300.0, k, k), transition(250.0, k, 0.0))
    back = (transition(250.0, 0.0, -k), Piece("arc", 300.0, -k, -k), transition(250.0, -k, 0.0))
    assert verdicts(laid(straight(300.0), *bend, *back, straight(300.0)), "nem111.reverse") == []


# --- the profile -----------------------------------------------------------------------------------------------------


def test_gradient_with_a_curve_on_it() -> None:
    line = laid(straight(800.0), arc(700.0, 90.0), straight(800.0), grades=(Grade(1.0, 0.035),))
    assert {f.verdict for f in verdicts(line, "gradient.most")} == {"pass"}
    found = verdicts(line, "gradient.compensated")[0]
    # 32 / R with R = 700 mm = 27.56 inch: 1.161 % more (hobby rule, HO)
    assert found.size == pytest.approx(3.5 + 32.0 / (700.0 / 25.4), rel=2e-3)
    assert found.verdict == "fail"


def test_gap_under_a_straight_edge_is_that_of_the_circle() -> None:
    line = laid(straight(6000.0), grades=(Grade(1.0, 0.0), Grade(1.0, 0.02)))
    subject = Subject(line, USUAL, LOCAL)
    gap, sd = edge_gap_mm(subject, 300.0)
    # two means of a gradient of known sigma, 150 mm of arm each: C/4 times the root of two
    assert sd == pytest.approx(75.0 * math.sqrt(2.0) * line.stations.gradient_sd)
    # an edge over a bend of 0.02 rad, eased over 100 mm: C g / 4 less what the easing takes, g v / 8
    assert np.nanmax(gap) == pytest.approx(300.0 * 0.02 / 4 - 0.02 * 100.0 / 8, abs=0.01)
    (found,) = [f for f in verdicts(line, "vertical.edge") if f.verdict != "pass"] or verdicts(line, "vertical.edge")
    assert found.s_mm == pytest.approx(3000.0, abs=20.0)


# --- across the rails ------------------------------------------------------------------------------------------------


def test_cant_the_wrong_way_is_told() -> None:
    k = 1 / 700.0
    # a left curve whose left (inner) rail is 0.8 mm high
    line = laid(
        straight(300.0), transition(250.0, 0.0, k, cant1_mm=0.8), Piece("arc", 600.0, k, k, 0.8, 0.8),
        transition(250.0, k, 0.0, cant0_mm=0.8), straight(300.0),
    )  # fmt: skip
    (found,) = verdicts(line, "nem114.against")
    assert (found.verdict, found.size) == ("fail", pytest.approx(0.8, abs=2e-3))  # less what the ends of the arc share
    # 0.8 mm over 250 mm, felt over 65 mm: 0.208 mm
    (twist,) = verdicts(line, "local.twist")
    assert twist.size == pytest.approx(0.8 * 65.0 / 250.0, abs=0.002)


def test_an_unknown_lean_of_the_wagon_makes_no_verdict_of_cant_but_one_of_twist() -> None:
    line = as_laid(oval(np.random.default_rng(3), roughness=0.0))
    stations = dataclasses.replace(line.stations, cant_sd_mm=np.full(len(line.stations.s_mm), 0.3))
    found = judge(dataclasses.replace(line, stations=stations), USUAL, LOCAL).findings
    cant = [f for f in found if f.rule == "nem114.cant"]
    assert {f.verdict for f in cant} == {"cannot_tell"}
    assert "turned round" in cant[0].settle
    assert {f.verdict for f in found if f.rule == "local.twist"} == {"pass"}


def test_every_planted_fault_is_found_and_ranked() -> None:
    railway = oval(np.random.default_rng(5), defects=6)
    done = judge(as_laid(railway), USUAL, LOCAL)
    failed = {(f.kind, round(f.s_mm)) for f in done.findings if f.verdict == "fail" and f.rule.startswith("local.")}
    assert {(f.kind, round(f.s_mm)) for f in railway.faults} <= failed
    risky = [r.s_mm for r in done.risks[:6]]
    for fault in railway.faults:
        assert min(abs(fault.s_mm - s) for s in risky) < 60.0, fault
    assert all(abs(sum(share for _, share in r.reasons) - 1.0) < 0.2 for r in done.risks)


def test_a_line_without_inertial_sensor_cannot_be_judged_across() -> None:
    line = as_laid(oval(np.random.default_rng(5)))
    nothing = np.full(len(line.stations.s_mm), math.nan)
    stations = dataclasses.replace(line.stations, cant_mm=nothing, cant_sd_mm=nothing)
    found = judge(dataclasses.replace(line, stations=stations), USUAL, LOCAL).findings
    for rule in ("nem114.cant", "local.twist"):
        (one,) = (f for f in found if f.rule == rule)
        assert (one.verdict, "does not know it" in one.settle) == ("cannot_tell", True)


# --- side by side ----------------------------------------------------------------------------------------------------


def test_free_space_of_two_concentric_curves() -> None:
    """500 and 560 mm: what is free is the spacing less the swing outwards inside and the swing inwards outside."""
    base = as_laid(oval(np.random.default_rng(3))).stations
    n = len(base.s_mm) // 2 * 2
    radius = np.repeat([500.0, 560.0], n // 2)
    angle = np.tile(np.linspace(0.0, 3.0, n // 2), 2)
    cut = {name: getattr(base, name)[:n] for name in STATION_COLUMNS}
    cut |= {
        "s_mm": np.cumsum(np.full(n, 3.0)), "x_mm": radius * np.sin(angle), "y_mm": -radius * np.cos(angle),
        "z_mm": np.zeros(n), "heading_rad": angle, "curvature_1_mm": 1.0 / radius,
    }  # fmt: skip
    line = dataclasses.replace(base, **cut, passes=base.passes[:n], closed=False, length_mm=3.0 * n)
    spread = beside(line, Train("coach", (COACH,)))
    outwards, inwards = float(swing_mm(COACH, 500.0)[1]), float(swing_mm(COACH, 560.0)[0])
    assert np.nanmedian(spread.spacing_mm) == pytest.approx(60.0, abs=0.2)
    expected = 60.0 - 33.0 - outwards - inwards
    inner = np.arange(n) < n // 2  # seen from either track
    for seen in (inner, ~inner):
        assert np.nanmedian(spread.free_mm[seen]) == pytest.approx(expected, abs=0.2)


def test_free_space_of_two_straight_tracks() -> None:
    line = laid(straight(1000.0), arc(30.0, 180.0), straight(1000.0))
    spread = beside(line.stations, LOCAL)
    middle = spread.spacing_mm[(line.stations.s_mm > 300.0) & (line.stations.s_mm < 700.0)]
    assert np.nanmedian(middle) == pytest.approx(60.0, abs=0.01)
    free = spread.free_mm[(line.stations.s_mm > 300.0) & (line.stations.s_mm < 700.0)]
    assert np.nanmedian(free) == pytest.approx(60.0 - 33.0, abs=0.05)  # two halves of the wider body
    found = verdicts(line, "own.clearance")
    assert found
    assert found[0].limit == pytest.approx(1.98)


def test_nearest_mark_and_place() -> None:
    line = as_laid(oval(np.random.default_rng(3)))
    marked = dataclasses.replace(line, marks=((100.0, Mark(0.0, "bridge")), (4000.0, Mark(1.0, "shed"))))
    subject = Subject(marked, USUAL, LOCAL)
    period = line.stations.length_mm
    assert subject.nearest_mark(period - 50.0) == ("bridge", pytest.approx(-150.0))
    assert subject.nearest_mark(3900.0) == ("shed", -100.0)


# --- by stock --------------------------------------------------------------------------------------------------------


def test_rules_for_a_kind_of_stock_ask_nothing_of_others() -> None:
    line = laid(straight(500.0), arc(700.0, 60.0), straight(500.0))
    rules = rule_set("nmra", 16.5, 87.0)
    # 50 ft in HO is 175 mm: 16.5 inch for cars to 50 ft, 40 inch for all equipment (RP-11, edition before 2018)
    (long,) = [f for f in judge(line, rules, LOCAL).findings if f.rule.startswith("rp11")]
    assert (long.verdict, long.limit) == ("fail", 40 * 25.4)
    (short,) = [f for f in judge(line, rules, Train("shunter", (TANK,))).findings if f.rule.startswith("rp11")]
    assert (short.verdict, short.limit) == ("pass", 16.5 * 25.4)
    assert not [f for f in judge(line, USUAL, LOCAL).findings if "buffers" in f.rule]
    # NEM 111:2016 s3.2: two axles 5 m apart with touching side buffers, group A1: 50 gauges, 825 mm in H0
    van = Vehicle("van", "car", 105.0, 55.0, 32.0, axles=2, coupler="buffers")
    (buffers,) = [f for f in judge(line, USUAL, Train("goods", (van,))).findings if "buffers" in f.rule]
    assert (buffers.rule, buffers.verdict, buffers.limit) == ("nem111.buffers.A1", "fail", 825.0)


def test_couplers_are_held_against_what_they_swing() -> None:
    line = laid(straight(600.0), arc(600.0, 60.0), arc(600.0, -60.0), straight(600.0))
    stiff = Train("stiff", (dataclasses.replace(COACH, offset_mm=6.0), COACH))
    (found,) = [f for f in judge(line, USUAL, stiff).findings if f.rule == "stock.coupler" and f.verdict == "fail"]
    assert found.s0_mm < 600.0 + 600.0 * math.pi / 3 < found.s1_mm
    assert found.size > 6.0
    assert found.source == "the stock"
    free = Train("free", (dataclasses.replace(COACH, offset_mm=20.0), COACH))
    assert [f.verdict for f in judge(line, USUAL, free).findings if f.rule == "stock.coupler"] == ["pass"]


def test_spacing_of_long_stock_follows_the_curve() -> None:
    """NEM 112, H0: 46 mm on the straight, 59 mm at 500 mm for the longest vehicles."""
    base = as_laid(oval(np.random.default_rng(3)))
    st = base.stations
    n = len(st.s_mm) // 2 * 2
    radius = np.repeat([500.0, 555.0], n // 2)
    angle = np.tile(np.linspace(0.0, 3.0, n // 2), 2)
    cut = {name: getattr(st, name)[:n] for name in STATION_COLUMNS}
    cut |= {
        "s_mm": np.cumsum(np.full(n, 3.0)), "x_mm": radius * np.sin(angle), "y_mm": -radius * np.cos(angle),
        "z_mm": np.zeros(n), "heading_rad": angle, "curvature_1_mm": 1.0 / radius,
    }  # fmt: skip
    stations = dataclasses.replace(st, **cut, passes=st.passes[:n], closed=False, length_mm=3.0 * n)
    line = dataclasses.replace(base, stations=stations, elements=(), faults=())
    long = Train("long", (dataclasses.replace(COACH, length_mm=300.0, pivots_mm=213.0),))
    by_curve = [f for f in judge(line, USUAL, long).findings if f.rule == "nem112.spacing"]
    assert {(f.limit, f.verdict) for f in by_curve} == {(59.0, "fail"), (55.0, "near")}
    short = [f for f in judge(line, USUAL, Train("tank", (TANK,))).findings if f.rule == "nem112.spacing"]
    assert {(f.limit, f.verdict) for f in short} == {(46.0, "pass")}
