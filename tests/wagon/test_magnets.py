"""The field of the magnets against textbook formulas and limits of physics."""

import math
from itertools import pairwise

import numpy as np
import pytest

from wayrule.model import Magnets
from wayrule.wagon.grades import GRADES, remanence_mt
from wayrule.wagon.magnets import turn_field

PAIR = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300.0, 1300.0))
SINGLE = Magnets("single", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300.0, 1300.0))


def disc_on_axis_mt(br_mt, radius, thickness, near):
    """Textbook: B = Br/2 ((z+t)/sqrt(R^2+(z+t)^2) - z/sqrt(R^2+z^2)), z from the near face."""
    far = near + thickness
    return br_mt / 2 * (far / math.hypot(radius, far) - near / math.hypot(radius, near))


def test_single_disc_on_its_axis_is_the_textbook_formula():
    field = turn_field(SINGLE, (0.0, 0.0, 12.5)).at([0.0])[0]
    assert field[2] == pytest.approx(disc_on_axis_mt(1300, 2.0, 1.0, 12.5 - 1.7), rel=1e-9)
    assert abs(field[0]) + abs(field[1]) < 1e-9


def test_pair_on_its_axis_is_the_sum_of_two_discs():
    field = turn_field(PAIR, (0.0, 0.0, 12.5)).at([0.0])[0]
    both = disc_on_axis_mt(1300, 2.0, 1.0, 12.5 - 1.7) + disc_on_axis_mt(1300, 2.0, 1.0, 12.5 + 0.7)
    assert field[2] == pytest.approx(both, rel=1e-9)


def test_far_away_the_pair_is_a_dipole_and_the_ellipse_is_two_to_one():
    # dipole limit: B = Br V / (4 pi r^3) (3 (m.r) r - m); at 60 diameters the next multipole is (d/r)^2 < 3e-4
    far = 240.0
    turn = turn_field(PAIR, (0.0, 0.0, far))
    volume = 2 * math.pi * 2.0**2 * 1.0
    across = 1300 * volume / (4 * math.pi * far**3)
    phi = np.linspace(0, 2 * math.pi, 37)
    expected = np.stack([-across * np.sin(phi), 0 * phi, 2 * across * np.cos(phi)], axis=-1)
    assert np.max(np.abs(turn.at(phi) - expected)) < 1e-3 * across


def test_dipole_off_to_the_side_against_the_vector_formula():
    place = np.array([90.0, 120.0, 150.0])
    r = np.linalg.norm(place)
    phi = np.array([0.3, 2.0, 4.4])
    m = np.stack([np.sin(phi), 0 * phi, np.cos(phi)], axis=-1)
    unit = place / r
    expected = 1300 * 8 * math.pi / (4 * math.pi * r**3) * (3 * (m @ unit)[:, None] * unit - m)
    got = turn_field(PAIR, tuple(place)).at(phi)
    assert np.max(np.abs(got - expected)) < 2e-3 * np.max(np.abs(expected))


def test_half_a_turn_reverses_the_field_of_an_even_pair():
    turn = turn_field(PAIR, (0.8, 1.2, 12.5))
    phi = np.linspace(0, 6, 50)
    assert np.max(np.abs(turn.at(phi) + turn.at(phi + math.pi))) < 1e-9


def test_rolling_forward_brings_the_upper_disc_to_the_front():
    # a sensor in front sees the near face, hence the strongest outward field, a quarter turn after "up"
    ahead = turn_field(PAIR, (12.5, 0.0, 0.0)).at([math.pi / 2])[0]
    assert ahead[0] == pytest.approx(turn_field(PAIR, (0.0, 0.0, 12.5)).at([0.0])[0][2], rel=1e-9)


def test_between_table_rows_the_field_is_right_to_a_nanotesla():
    coarse, fine = (turn_field(PAIR, (0.8, 1.2, 12.5), steps=n) for n in (720, 7200))
    phi = np.linspace(-20, 20, 999)
    assert np.max(np.abs(coarse.at(phi) - fine.at(phi))) < 1e-6  # mT


def test_axle_tilt_turns_field_and_sensor_together():
    # a tilt about z by a small angle, seen by a sensor turned with it, is the same field turned
    a = 0.02
    turn = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    place = np.array([0.8, 1.2, 12.5])
    straight = turn_field(PAIR, tuple(place)).at([1.0])[0]
    tilted = turn_field(PAIR, tuple(turn @ place), tilt_rad=(0.0, a)).at([1.0])[0]
    assert tilted == pytest.approx(turn @ straight, abs=1e-9)


def test_imbalance_adds_an_even_part():
    turn = turn_field(PAIR, (0.0, 0.0, 12.5), imbalance=0.05)
    assert abs(turn.at([0.0])[0][2] + turn.at([math.pi])[0][2]) > 0.01


def test_grades_rise():
    lows = [grade.remanence_mt[0] for name, grade in GRADES.items() if name.startswith("N")]
    assert all(a < b for a, b in pairwise(lows))
    # N42: 1.28 to 1.32 T in the published tables of suppliers
    assert remanence_mt(Magnets("disc_pair", grade="N42")) == (1280.0, 1320.0)


@pytest.mark.parametrize(
    ("magnets", "place", "words"),
    [
        (Magnets("ring", grade="N42"), (0, 0, 9), "missing: diameter_mm, hole_mm, thickness_mm"),
        (Magnets("disc_pair", diameter_mm=4.0, grade="N42"), (0, 0, 9), "came one of them missing"),
        (PAIR, (0, 0, 2.0), "must lie outside the 2.62 mm circle"),
        (
            Magnets("single", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N99"),
            (0, 0, 9),
            "came 'N99'",
        ),
    ],
)
def test_what_cannot_be_computed_is_refused(magnets, place, words):
    with pytest.raises(ValueError, match=words):
        turn_field(magnets, place)
