"""Distance and its sigma, worked by hand; scale speed against the published table."""

import math

import numpy as np
import pytest

from wayrule.model import Recording, Wheel
from wayrule.run.chainage import rolled
from wayrule.run.inputs import distance
from wayrule.units import scale_km_h, scale_mph


@pytest.mark.parametrize(
    ("diameter_mm", "turns", "way_mm"),
    [(10.50, 1, 32.98672), (10.50, 272, 8972.388), (5.75, 100, 1806.416), (31.0, -3, -292.1681)],
)
def test_way_is_turns_times_pi_times_diameter(diameter_mm, turns, way_mm):
    """By hand: pi = 3.14159265, seven digits."""
    phi = np.array([0.3, 0.3 + 2 * math.pi * turns])
    assert distance(phi, math.pi * diameter_mm)[-1] == pytest.approx(way_mm, rel=1e-6)


@pytest.mark.parametrize(
    ("ratio", "v_100_km_h", "v_60_mph"),
    [
        (220, 126.26, 121.92),
        (160, 173.61, 167.64),
        (120, 231.48, 223.52),
        (87, 319.28, 308.3),
        (87.0857, 318.97, 308.0),
        (76.2, 364.54, 352.0),
        (64, 434.03, 419.1),
        (45, 617.28, 596.05),
        (22.5, 1234.57, 1192.11),
    ],
)
def test_scale_speed_table(ratio, v_100_km_h, v_60_mph):
    """Table of scale speeds: model speed x ratio, time not scaled; printed to 0.01 mm/s."""
    assert scale_km_h(v_100_km_h, ratio) == pytest.approx(100.0, abs=0.006 * ratio * 0.0036 + 1e-9)
    assert scale_mph(v_60_mph, ratio) == pytest.approx(60.0, abs=0.06 * ratio * 0.0036 / 1.609)


def test_nan_stays_nan():
    assert np.isnan(distance(np.array([0.0, np.nan, 1.0]), 33.0)).tolist() == [False, True, False]


def test_ticks_are_counted_over_a_missing_reading():
    ticks = np.array([100.0, 120.0, np.nan, 160.0, 150.0])
    log = Recording(name="r", t_s=np.arange(5.0), ticks_count=ticks)
    found = rolled(log, Wheel(diameter_mm=10.0, ticks_per_turn=20))
    # by hand: 31.4159 mm / 20 = 1.570796 mm a tick
    np.testing.assert_allclose(found.distance_mm, [0, 31.41593, 62.83185, 94.24778, 78.53982], rtol=1e-6)
    assert found.quantum_mm == pytest.approx(1.570796, rel=1e-6)
    assert [p.kind for p in found.problems] == ["missing wheel readings"]
    assert found.problems[0].text == "r: 1 wheel readings are missing, first at 2.00 s; interpolated in time."
    assert found.unsure.tolist() == [False, False, True, False, False]


def test_speed_is_summed_by_trapezoids_over_the_real_stamps():
    t = np.array([0.0, 0.1, 0.3, 0.4, 0.7])
    v = np.array([0.0, 10.0, 30.0, 40.0, 70.0])  # 100 t
    found = rolled(Recording(name="r", t_s=t, wheel_mm_s=v), Wheel())
    np.testing.assert_allclose(found.distance_mm, 50.0 * t**2, atol=1e-12)  # s = a t^2 / 2, a = 100
    assert found.scale_sd == 0.01
    assert "scale_sd under [wheel]" in found.notes[-1]


def test_gap_of_a_speed_is_told_and_widens_the_sigma():
    t = np.arange(0.0, 20.0, 0.05)
    t = t[(t < 8) | (t >= 11)]
    found = rolled(Recording(name="r", t_s=t, wheel_mm_s=np.full(len(t), 200.0)), Wheel(scale_sd=0.001))
    (problem,) = found.problems
    assert problem.kind == "speed gaps"
    assert "1 gaps in the wheel speed, longest 3.05 s, first at 7.95 s" in problem.text
    assert found.distance_mm[-1] == pytest.approx(200.0 * (t[-1] - t[0]))
    # a tenth of the speed over the gap: 0.1 x 200 x 3.05 = 61 mm
    i = int(np.searchsorted(t, 8.0))
    assert found.growth_sd_mm[i] == pytest.approx(61.0, rel=0.01)
    assert found.growth_sd_mm[i - 1] < 1.0
    assert found.unsure[i - 1 : i + 1].all()


def test_standing_counter_says_so():
    found = rolled(Recording(name="r", t_s=np.arange(9.0), wheel_mm=np.full(9, 3.0)), Wheel())
    assert not found.turned
    assert "never changes" in found.notes[0]


def test_noise_at_standstill_is_no_way_travelled(make_roll):
    """Slip and play add up along the way; ten minutes of standing add nothing to them."""
    made = make_roll(stops=((0.0, 5.0), (25.0, 100.0)))
    found = rolled(Recording(name="r", t_s=made.t_s, field_mt=made.field_mt), Wheel(diameter_mm=10.5))
    at = np.searchsorted(made.t_s, [4.0, 30.0, 95.0])
    grown = found.growth_sd_mm[at]
    assert grown[0] < 0.02
    assert grown[2] == pytest.approx(grown[1], rel=0.02)
    assert grown[1] == pytest.approx(0.2 * math.sqrt(made.s_mm[-1] / 1000.0), rel=0.05)
