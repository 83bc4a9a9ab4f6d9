"""The error budget: limits of physics, practice, and what the decoding reckons with as well."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.wagon.wagons import ALL, HO, G, N
from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Budget, BudgetLine, Disturber, FieldSensor, FloorLayer, Magnets, Wagon, Wheel
from wayrule.run import chainage
from wayrule.sim.wagons import HO_COACH, HO_VAN, N_VAN
from wayrule.wagon import budget as module
from wayrule.wagon.budget import Conditions, budget
from wayrule.wagon.staying import staying


def line(found: Budget, cause: str) -> BudgetLine:
    return next(one for one in found.lines if one.cause == cause)


def floored(wagon: Wagon, *layers: FloorLayer) -> Wagon:
    return replace(wagon, floor=layers)


@pytest.mark.parametrize("wagon", ALL.values(), ids=ALL)
def test_squares_of_the_lines_add(wagon: Wagon):
    found = budget(wagon, edges=False)
    assert found.distance_sd_mm == pytest.approx(math.sqrt(sum(one.on_mm(found.way_mm) ** 2 for one in found.lines)))
    assert found.after_rad == pytest.approx(math.hypot(*(one.after_rad for one in found.lines)))
    assert found.dominant.distance_mm == max(one.distance_mm for one in found.lines)


def test_what_adds_up_doubles_with_the_way_and_the_rest_does_not():
    one, two = (budget(HO_VAN, Conditions(way_mm=way)) for way in (2000.0, 4000.0))
    assert line(two, "size of the wheel").on_mm(4000.0) == pytest.approx(
        2 * line(one, "size of the wheel").on_mm(2000.0)
    )
    assert two.repeats_mm == pytest.approx(one.repeats_mm, rel=0.1)


def test_noise_is_the_dipole_formula_far_away():
    # far above, the pair is a dipole m: half axes 2m/(4 pi r^3) and m/(4 pi r^3), noise over the root of their product
    far = replace(HO_VAN, sensor=FieldSensor(None, None, 1e-4, 200.0, (0.0, 0.0, 100.0)))
    moment = 2 * 1300 * math.pi * 2.0**2 * 1.0
    axis = moment / (4 * math.pi * 100.0**3)
    # the discs lie 1.2 mm from the centre: (1.2/100)^2 of a difference, six times at most
    assert line(budget(far), "noise of the sensor").after_rad == pytest.approx(1e-4 / (axis * math.sqrt(2)), rel=2e-3)


def test_both_ends_of_a_way_have_their_reading_and_one_end_its_curve():
    found = budget(HO_COACH)
    noise, swing = line(found, "noise of the sensor"), line(found, "swing in a curve")
    # the difference of two independent readings has the root of two of one's sd; a curve is at one end only
    assert noise.distance_mm == pytest.approx(math.sqrt(2) * 5.25 * noise.after_rad)
    assert swing.distance_mm == pytest.approx(5.25 * swing.after_rad)


def test_top_speed_is_0_4_turns_a_reading():
    found = budget(HO_VAN)
    assert found.top_mm_s == pytest.approx(0.4 * 200 * math.pi * 10.5)
    # 120 km/h at 1:87 are 383 mm/s (scale speed: full size over the ratio)
    assert found.rate_hz == pytest.approx(120e6 / 3600 / 87 / (0.4 * math.pi * 10.5))


def test_brass_and_aluminium_cost_nothing_at_a_stand():
    free = budget(floored(HO_VAN), Conditions(speed_mm_s=0.001))
    for material in ("brass", "aluminium", "lead"):
        found = budget(floored(HO_VAN, FloorLayer(material, 1.0, 4.0)), Conditions(speed_mm_s=0.001))
        assert found.repeats_mm == pytest.approx(free.repeats_mm, rel=1e-9), material
        assert line(found, "floor").distance_mm == 0.0


def test_steel_costs_and_taking_it_out_restores():
    free, behind = budget(floored(N_VAN)), budget(floored(N_VAN, FloorLayer("steel", 0.5, 2.6)))
    assert behind.signal_mt[1] < free.signal_mt[1]
    assert behind.repeats_mm > free.repeats_mm
    assert line(behind, "noise of the sensor") == line(
        free, "noise of the sensor"
    )  # what the plate adds is its own line


def test_practice():
    # common practice, no source
    garden = replace(
        G,
        magnets=Magnets("disc_pair", diameter_mm=12.0, thickness_mm=3.0, grade="N42", flat_radius_mm=2.4),
        sensor=replace(G.sensor, place_mm=(0.0, 0.0, 35.0)),
    )
    assert budget(garden).repeats_mm < 0.5
    small = Magnets("disc_pair", diameter_mm=3.0, thickness_mm=1.0, grade="N42", flat_radius_mm=0.7)
    near, far = (
        budget(replace(floored(HO_VAN, FloorLayer("plastic", 1.0, 3.2)), magnets=small, sensor=_at(HO_VAN, height)))
        for height in (8.0, 16.0)
    )
    assert near.repeats_mm < 0.1
    assert far.repeats_mm < 1.0
    tiny = Magnets("disc_pair", diameter_mm=2.0, thickness_mm=1.0, grade="N45", flat_radius_mm=0.4)
    plated, bare = (
        budget(replace(floored(N_VAN, *floor), magnets=tiny)) for floor in ((FloorLayer("steel", 0.5, 2.6),), ())
    )
    assert plated.repeats_mm < 0.5
    assert plated.repeats_mm > 1.2 * bare.repeats_mm


def _at(wagon: Wagon, height_mm: float) -> FieldSensor:
    return replace(wagon.sensor, place_mm=(0.0, 0.0, height_mm))


def test_a_two_axle_wagon_beats_a_bogie_wagon_in_a_sharp_curve():
    sharp = Conditions(radius_mm=360.0)
    bogie, two = line(budget(HO_COACH, sharp), "swing in a curve"), line(budget(HO_VAN, sharp), "swing in a curve")
    assert two.distance_mm == pytest.approx(0.0, abs=1e-9)
    assert bogie.distance_mm > 0.1
    wide = line(budget(HO_COACH, Conditions(radius_mm=3600.0)), "swing in a curve")
    assert wide.distance_mm < 0.2 * bogie.distance_mm


def test_a_curve_it_cannot_stand_in_is_one_line():
    with pytest.raises(UsageError, match=r"curve: expected a radius .*came 50 mm"):
        budget(HO_COACH, Conditions(radius_mm=50.0))


def test_magnets_along_the_axle_are_refused_with_the_ellipse():
    # a moment along the axle stays where it is while the axle turns: no first harmonic
    along = replace(_magnets(), magnetisation=(0.0, 1.0, 0.0))
    with pytest.raises(UsageError, match=r"sensor\.place_mm: expected a field that turns, came an ellipse of"):
        budget(replace(HO_VAN, magnets=along))


def _magnets() -> Magnets:
    assert HO_VAN.magnets is not None
    return HO_VAN.magnets


def test_what_is_missing_is_named():
    with pytest.raises(UndeterminedError, match=r"sensor\.place_mm missing"):
        budget(replace(HO_VAN, sensor=FieldSensor()))


def test_a_motor_far_away_is_a_line_of_its_own():
    near, far = (
        budget(replace(HO_VAN, disturbers=(Disturber("motor", (away, 0.0, 10.0), moment_ma_m2=500.0),)))
        for away in (100.0, 200.0)
    )
    # a dipole's field falls with the cube (textbook); the place is 2.5 mm below the sensor: the square of 2.5/100
    ratio = line(near, "locomotive's motor").distance_mm / line(far, "locomotive's motor").distance_mm
    assert ratio == pytest.approx(8.0, rel=0.03)


def test_saturation_and_the_range_in_use():
    tight = replace(HO_VAN, sensor=replace(HO_VAN.sensor, range_mt=2.0))
    assert budget(tight).saturates
    assert not budget(HO_VAN).saturates
    found = budget(HO)
    assert found.nearest_mt > found.signal_mt[0] > found.signal_mt[1] > found.farthest_mt


def test_design_and_decoding_reckon_with_the_same_figures():
    assert module.DIAMETER_SD == chainage.DEFAULT_DIAMETER_SD
    assert module.SLIP_MM_PER_ROOT_M == chainage.SLIP_MM_PER_ROOT_M


def test_wheel_of_unknown_quality():
    found = budget(replace(N, wheel=Wheel(5.6)))
    assert "assumed" in line(found, "size of the wheel").how


def test_what_stays_of_a_normal_cloud_is_the_integral_of_its_density():
    # mean of r^2 where r <= T, r of a round normal cloud of sd s on each axis: 2s^2 (1 - (1 + u) e^-u), u = T^2/2s^2
    s, told = 0.01, 0.015
    u = told**2 / (2 * s**2)
    cloud = np.array([[s + 0j], [1j * s]])
    found = staying(np.zeros(1, dtype=complex), cloud, told, np.zeros(1), 0.0, 0.0)
    exact = math.sqrt(2 * s**2 * (1 - (1 + u) * math.exp(-u)) / 2)
    assert found.build_after == pytest.approx(exact, rel=0.05)  # 24 rings: one in or out is 4 %
    assert found.build_before == pytest.approx(s, rel=1e-9)
