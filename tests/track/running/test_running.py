"""What runs here: couplers against circles, pull against arithmetic, speed against the handbook's formula."""

import dataclasses
import math

import numpy as np
import pytest

from wayrule.model import Train, Vehicle
from wayrule.sim import Grade, as_laid, build, oval
from wayrule.sim.design import Piece, arc, straight
from wayrule.track.judge.geometry import end_offset_mm
from wayrule.track.running.coupling import coupler_offset_mm
from wayrule.track.running.hauling import along_train, hauling
from wayrule.track.running.running import runs
from wayrule.track.running.speeds import outer_cant_mm, scale_speed_mm_s, sideways_speed_mm_s
from wayrule.units import scale_km_h

TANK = Vehicle("tank", "engine", 110.0, 50.0, 32.0, mass_g=250.0, axles=3, pull_n=0.6)
COACH = Vehicle("coach", "car", 300.0, 213.0, 33.0, bogie_mm=29.0, mass_g=120.0, rolling=0.02)


def line_of(*pieces: Piece, grades: tuple[Grade, ...] = ()):  # type: ignore[no-untyped-def]
    railway = build(
        "line", pieces, scale="HO", ratio=87.0, gauge_mm=16.5, closed=False, grades=grades, vertical_curve_mm=60.0,
        defects=(), rng=np.random.default_rng(1), roughness=None, joints=None,
    )  # fmt: skip
    return as_laid(railway, step_mm=1.0)


def test_coupler_offset_on_a_circle_is_that_of_circles() -> None:
    line = line_of(straight(600.0), arc(500.0, 120.0), straight(600.0))
    offset = coupler_offset_mm(line.stations, TANK, COACH)
    middle = offset[len(offset) // 2]
    # both ends lie outside (to the right in a left curve), the coach's farther
    expected = float(end_offset_mm(COACH, 500.0) - end_offset_mm(TANK, 500.0))
    assert middle == pytest.approx(expected, rel=0.06)  # their axes are not quite parallel: cos of 12 deg at most
    same = coupler_offset_mm(line.stations, COACH, COACH)
    assert abs(same[len(same) // 2]) < 0.01
    assert np.isnan(offset[0])


def test_coupler_offset_of_a_reverse_is_the_sum_of_both() -> None:
    line = line_of(straight(600.0), arc(600.0, 60.0), arc(600.0, -60.0), straight(600.0))
    offset = np.abs(coupler_offset_mm(line.stations, COACH, COACH))
    s_mm = float(line.stations.s_mm[int(np.nanargmax(offset))])
    # with the joint where the hand changes, each end lies out by what its chord does not follow: both add up
    assert s_mm == pytest.approx(600.0 + 600.0 * math.pi / 3, abs=15.0)
    assert np.nanmax(offset) == pytest.approx(2.0 * float(end_offset_mm(COACH, 600.0)), rel=0.1)


def test_pull_is_weight_times_grade_curve_and_rolling() -> None:
    line = line_of(straight(3000.0), grades=(Grade(1.0, 0.03),))
    train = Train("train", (TANK, COACH, COACH))
    found = hauling(line.stations, train, 87.0)
    # 240 g on 3 % with 2 % rolling resistance: 0.240 kg x 9.80665 m/s2 x 0.05
    assert found.pull_n[len(line.stations.s_mm) // 2, 0] == pytest.approx(0.240 * 9.80665 * 0.05, rel=1e-3)
    assert found.pull_n[len(line.stations.s_mm) // 2, 1] == pytest.approx(0.240 * 9.80665 * -0.01, rel=1e-2)
    cars = next(m for m in found.met if m.name == "cars hauled")
    # 0.6 N less the engine's own 0.25 kg on 3 %, over 0.0588 N a car
    assert cars.value == math.floor((0.6 - 0.250 * 9.80665 * 0.03) / (0.120 * 9.80665 * 0.05))
    assert found.assumed == ()


def test_pull_is_not_made_up() -> None:
    line = line_of(straight(1000.0))
    bare = dataclasses.replace(COACH, mass_g=math.nan)
    for train, why in (
        (Train("cars", (COACH,)), "no engine"),
        (Train("engine", (TANK,)), "no cars"),
        (Train("both", (TANK, bare)), "cars whose mass is not known"),
    ):
        found = hauling(line.stations, train, 87.0)
        assert why in found.assumed[0]
        assert np.isnan(found.pull_n).all()
    light = dataclasses.replace(TANK, pull_n=math.nan)
    told = hauling(line.stations, Train("t", (light, dataclasses.replace(COACH, rolling=math.nan))), 87.0).assumed
    assert [("memory" in sentence) for sentence in told] == [True, True]
    heavy = dataclasses.replace(light, mass_g=math.nan)
    assert "give pull_n" in hauling(line.stations, Train("t", (heavy, COACH)), 87.0).assumed[0]


def test_a_long_train_feels_the_mean_grade() -> None:
    line = as_laid(oval(np.random.default_rng(3), roughness=0.0))
    st = line.stations
    mean = along_train(st, st.gradient, st.length_mm)
    assert np.abs(mean).max() < 1e-3  # as long as the loop: what climbs also falls


def test_speeds_are_those_of_the_formulas() -> None:
    # E = 11.8 V2 / R (EN 13803's form, g = 9.80665 and 1500 mm): 100 mm on 250 m gives V = 46.03 km/h
    v = scale_speed_mm_s(250e3 / 87.0, 0.0, 16.5, 87.0)
    assert scale_km_h(v, 87.0) == pytest.approx(math.sqrt(100.0 * 250.0 / 11.802), rel=1e-3)
    # v^2 / R = 0.2 g
    assert sideways_speed_mm_s(500.0, 0.0, 16.5) ** 2 / 500.0 == pytest.approx(0.2 * 9806.65)
    assert sideways_speed_mm_s(500.0, -5.0, 16.5) == 0.0


def test_cant_of_the_outer_rail_helps_and_of_the_inner_one_hurts() -> None:
    line = as_laid(oval(np.random.default_rng(3), roughness=0.0))  # its left curves have 0.8 mm of cant
    arc_of_it = next(e for e in line.elements if e.kind == "arc")
    assert outer_cant_mm(line, arc_of_it) == pytest.approx(0.8, abs=0.01)
    turned = dataclasses.replace(line.stations, cant_mm=-line.stations.cant_mm)
    assert outer_cant_mm(dataclasses.replace(line, stations=turned), arc_of_it) == pytest.approx(-0.8, abs=0.01)


def test_everything_that_a_train_meets() -> None:
    line = line_of(straight(700.0), arc(600.0, 70.0), arc(450.0, -70.0), straight(700.0))
    met = runs(line, Train("train", (dataclasses.replace(TANK, offset_mm=2.0), COACH, COACH)))
    radius, reverse, coupler = (met.worst(name) for name in ("radius", "reverse", "coupler offset"))
    assert radius is not None
    assert radius.value == pytest.approx(450.0, rel=1e-6)
    assert reverse is not None
    assert reverse.value == pytest.approx(600.0, rel=0.02)
    assert reverse.s_mm == pytest.approx(700.0 + 600.0 * math.radians(70.0), abs=160.0)
    assert coupler is not None
    assert "too little" in coupler.words
    assert met.worst("clearance") is None
    assert met.worst("speed, scale") is not None


def test_a_vehicle_that_does_not_fit_is_named() -> None:
    line = line_of(straight(300.0), arc(105.0, 90.0), straight(300.0))
    radius = runs(line, Train("train", (COACH, COACH))).worst("radius")
    assert radius is not None
    assert "coach does not fit it at all" in radius.words


def test_widening_of_the_sheet_stands_beside_the_swing() -> None:
    line = line_of(straight(600.0), arc(450.0, 90.0), straight(600.0))
    body = Vehicle("body", "car", 278.0, 197.0, 33.0, bogie_mm=29.0)  # group B: 24.2 m with pivots 17.2 m apart
    found = runs(line, Train("cars", (body,))).worst("widening")
    assert found is not None
    assert found.value == pytest.approx(9.0, abs=0.01)  # NEM 103:2016 p2, H0 B at R 450
    longest = runs(line, Train("cars", (body,))).worst("longest car")
    assert longest is not None
    assert longest.value == pytest.approx(150.0)
