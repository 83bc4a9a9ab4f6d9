"""Foreign fields against the dipole formula and published values of Earth's field."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from wayrule.model import Disturber, Magnets
from wayrule.wagon.disturbers import (
    EARTH,
    STRONGEST_EARTH_MT,
    Place,
    disturbance,
    earth,
    earth_mt,
    other_axle_steel,
    reed,
)
from wayrule.wagon.sources import sources_of

FACTS = Path(__file__).parents[3] / "shared" / "facts" / "earth_field.csv"
PAIR = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
SENSOR = (0.8, 1.2, 12.5)


def test_earth_by_place_is_igrf():
    # encyclopaedia: 25 to 65 uT; dip at 50 N 10 E 65.9 deg, at the equator of 0 E -30.2 deg (IGRF 2025)
    assert all(0.022 <= math.hypot(p.level_mt, p.down_mt) <= STRONGEST_EARTH_MT for p in EARTH)
    dips = [math.degrees(math.atan2(p.down_mt, p.level_mt)) for p in EARTH]
    assert dips == pytest.approx([-30.2, 66.7, 65.9, 66.9, 73.3, 48.8, -64.5, -34.6], abs=0.06)


@pytest.mark.skipif(not FACTS.exists(), reason="the shared facts are not here; the dips above are the outside check")
def test_earth_by_place_against_the_facts():
    with FACTS.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["H_uT"]]
    ours = np.array([(p.level_mt, p.down_mt) for p in EARTH]) * 1e3
    facts = np.array([(float(row["H_uT"]), float(row["Z_down_uT"])) for row in rows])
    assert ours == pytest.approx(facts)


def test_earth_turns_with_the_heading_and_stays_down():
    field = earth_mt(Place("here", 0.02, 0.045), np.array([0.0, math.pi / 2, math.pi]))
    assert field == pytest.approx(np.array([[0.02, 0, -0.045], [0, -0.02, -0.045], [-0.02, 0, -0.045]]), abs=1e-12)
    assert earth(EARTH[2]).changes == "heading"
    # half a per cent of a signal of 1.3 mT is 0.02 of a radian at most
    assert earth(EARTH[2]).angle_rad(1.3) == pytest.approx(0.04916 / 1.3, rel=2e-3)


def test_a_motor_falls_with_the_cube_of_its_distance():
    # on the axis of a dipole: B = mu0 2 m / (4 pi r3) = 0.2 mT m[A m2] / r[m]^3 ... 1 A m2 at 0.1 m: 0.2 mT
    motor = disturbance(Disturber("motor", (100.8, 1.2, 12.5), moment_ma_m2=1000.0), SENSOR, PAIR)
    assert motor.size_mt == pytest.approx(0.2, rel=1e-6)
    far = disturbance(Disturber("motor", (200.8, 1.2, 12.5), moment_ma_m2=1000.0), SENSOR, PAIR)
    assert motor.size_mt / far.size_mt == pytest.approx(8.0)
    assert (motor.changes, motor.name) == ("passes", "locomotive's motor")


def test_a_magnet_by_size_or_by_moment_is_the_same():
    # 10 x 5 x 4 mm of 1.2 T: J V / mu0 = 1.2 x 200e-9 / 1.2566e-6 = 191 mA m2 (1 mm3 of 1 T: 0.796)
    by_size = Disturber("uncoupler", (0.0, 0.0, -10.0), size_mm=(10.0, 5.0, 4.0), remanence_mt=(1150.0, 1200.0))
    by_moment = Disturber("uncoupler", (0.0, 0.0, -10.0), moment_ma_m2=0.7957747 * 240)
    rod = Disturber(
        "uncoupler", (0, 0, -10.0), diameter_mm=math.sqrt(800 / math.pi), length_mm=1.0, remanence_mt=(1200.0, 1200.0)
    )
    sizes = [disturbance(item, SENSOR, PAIR).size_mt for item in (by_size, by_moment, rod)]
    assert sizes == pytest.approx([sizes[0]] * 3, rel=1e-6)


def test_a_stated_direction_is_used():
    across = Disturber("motor", (100.0, 0.0, 0.0), moment_ma_m2=1000.0, direction=(0.0, 2.0, 0.0))
    assert disturbance(across, (0.0, 0.0, 0.0), PAIR).field_mt == pytest.approx((0.0, -0.1, 0.0))


def test_a_second_magnet_axle_is_the_same_dipole_further_away():
    item = Disturber("axle", (-65.0, 0.0, 0.0))
    found = disturbance(item, (0.0, 0.0, 0.0), PAIR)
    moment = sum(source.moment_mt_mm3[2] for source in PAIR)
    assert found.size_mt == pytest.approx(2 * moment / (4 * math.pi * 65.0**3))
    assert found.changes == "turns"


def test_own_iron_is_small_and_grows_with_its_size():
    small, large = (disturbance(Disturber("iron", (30, 0, 10), size_mm=(s, s, s)), SENSOR, PAIR) for s in (3.0, 6.0))
    assert large.size_mt / small.size_mt == pytest.approx(8.0)
    # a ball of 27 mm3 at 29 mm in 0.067 mT and more: 3 V B 2 / (4 pi r3)
    assert small.size_mt > 2 * 3 * 27 * 0.067 / (4 * math.pi * 29.4**3)


def test_the_other_axle_matters_less_the_further_it_is():
    near, far = (other_axle_steel(PAIR, SENSOR, away_mm=d, axle_mm=2.0, length_mm=24.0).size_mt for d in (29.0, 65.0))
    assert far < near / 8
    assert other_axle_steel((), SENSOR, away_mm=65.0, axle_mm=2.0, length_mm=24.0).changes == "heading"


def test_reed_contacts_trip_by_the_field_along_them():
    # HO: dipole 7.25 mm below the axle's middle gives tens of mT; 40 mm aside hardly any
    assert reed(PAIR, wheel_mm=10.5).trips == "surely"
    # far below: level part of a turning dipole, M / (4 pi h3)
    moment = sum(source.moment_mt_mm3[2] for source in PAIR)
    assert reed(PAIR, wheel_mm=60.0).field_mt == pytest.approx(moment / (4 * math.pi * 32.0**3), rel=0.01)
    away = reed(PAIR, wheel_mm=10.5, aside_mm=40.0)
    assert away.trips == "no"
    between = [reed(PAIR, wheel_mm=10.5, aside_mm=a) for a in np.arange(5.0, 30.0, 1.0)]
    assert {r.trips for r in between} == {"surely", "perhaps", "no"}


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (Disturber("motor", SENSOR, moment_ma_m2=1.0), "expected a place away from the sensor"),
        (Disturber("motor", (50.0, 0.0, 0.0)), "expected moment_ma_m2, or remanence_mt with size_mm"),
        (Disturber("iron", (50.0, 0.0, 0.0)), "disturber iron: expected size_mm, came none"),
    ],
)
def test_a_disturber_that_says_too_little_is_refused(item, words):
    with pytest.raises(ValueError, match=words):
        disturbance(item, SENSOR, PAIR)


def test_the_other_axles_steel_by_hand():
    # Earth alone, 0.067 mT evenly in all three axes; rod 2 x 24 mm: across 2 B, along B/N with slenderness 12:
    # N = (ln 24 - 1)/144 = 0.01513; moment pointing at the sensor 100 mm away: 2 m / (4 pi r3)
    found = other_axle_steel((), (0.0, 0.0, 0.0), away_mm=100.0, axle_mm=2.0, length_mm=24.0)
    each = 0.067 / math.sqrt(3)
    moment = math.pi * 24 * each * math.sqrt(2**2 + 2**2 + (1 / 0.015126) ** 2)
    assert found.size_mt == pytest.approx(2 * moment / (4 * math.pi * 100.0**3), rel=1e-3)
