"""Plates that end: bounds that shrink as the plate grows, and what a plate off to the side does."""

import math

import numpy as np
import pytest

from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.edges import edge_effect, fullness
from wayrule.wagon.plates import covers, passage
from wayrule.wagon.sources import sources_of
from wayrule.wagon.turns import fields_over_turn

PAIR = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
PLACE = (0.8, 1.2, 12.5)


def plate(size, **where):
    return FloorLayer("steel", 0.5, 4.0, length_mm=size, width_mm=size, **where)


def test_the_bound_shrinks_as_the_plate_grows():
    shares = [edge_effect(PAIR, PLACE, [plate(size)]).share for size in (20.0, 40.0, 80.0)]
    assert shares[0] > 3 * shares[1] > 9 * shares[2]
    assert shares[2] < 0.08


def test_an_endless_plate_and_brass_have_no_edge():
    assert edge_effect(PAIR, PLACE, [FloorLayer("steel", 0.5, 4.0)]) is None
    assert edge_effect(PAIR, PLACE, [FloorLayer("brass", 0.5, 4.0, length_mm=10.0, width_mm=10.0)]) is None


def test_far_off_to_the_side_a_plate_does_nothing():
    there = [plate(20.0, centre_mm=(400.0, 0.0))]
    assert passage(there, PLACE[2], over_mm=PLACE[:2]) is None
    free = fields_over_turn(PAIR, PLACE)[0]
    assert edge_effect(PAIR, PLACE, there).bound_mt < 1e-4 * np.max(np.abs(free))


def test_a_plate_that_ends_by_the_sensor_is_the_same_field_whether_it_counts_as_over_or_not():
    # just under the sensor's foot and just not: endless plus change must agree, whatever was taken as endless
    sums = []
    for x in (-19.19, -19.21):  # the plate ends at 0.81 or 0.79 mm, the sensor is at 0.8
        floor = [FloorLayer("steel", 0.05, 4.0, length_mm=40.0, width_mm=40.0, centre_mm=(x, 0.0))]
        effect = edge_effect(PAIR, PLACE, floor)
        endless = passage(floor, PLACE[2], over_mm=PLACE[:2])
        sums.append(fields_over_turn(PAIR, PLACE, phi_rad=effect.phi_rad, floor=endless)[0] + effect.change_mt)
    assert np.max(np.abs(sums[0] - sums[1])) < 0.01 * np.max(np.abs(sums[1]))


def test_off_the_edge_the_field_rises_to_that_in_air():
    free = np.max(np.abs(fields_over_turn(PAIR, PLACE)[0]))
    sizes = []
    for x in (0.0, 15.0, 25.0, 35.0):
        floor = [plate(40.0, centre_mm=(x, 0.0))]
        effect = edge_effect(PAIR, PLACE, floor)
        endless = passage(floor, PLACE[2], over_mm=PLACE[:2])
        field = fields_over_turn(PAIR, PLACE, phi_rad=effect.phi_rad, floor=endless)[0] + effect.change_mt
        sizes.append(np.max(np.abs(field)))
    assert sizes[0] < sizes[1] < sizes[2] < sizes[3]
    assert sizes[3] == pytest.approx(free, rel=0.15)


def test_a_finite_plate_over_the_sensor_is_reckoned_too():
    roof = FloorLayer("steel", 0.5, 16.0, length_mm=40.0, width_mm=40.0)
    wide = FloorLayer("steel", 0.5, 16.0, length_mm=160.0, width_mm=160.0)
    assert edge_effect(PAIR, PLACE, [wide]).share < edge_effect(PAIR, PLACE, [roof]).share < 0.1


def test_flux_in_thin_steel_by_hand():
    # perfectly soft sheet over a dipole M at h: K = M r / (2 pi (r2 + h2)^1.5), greatest 0.385 M / (2 pi h2), which
    # leaves along the sheet; M lying level gives up to twice that; discs nearer than their middle give more
    found = fullness(PAIR, [FloorLayer("steel", 0.2, 12.0, relative_permeability=1e4)])[0]
    moment = sum(source.moment_mt_mm3[2] for source in PAIR)
    by_hand = 0.385 * moment / (2 * math.pi * 12.1**2) / 0.2
    assert by_hand < found.polarisation_mt < 2.2 * by_hand


def test_thin_tinplate_close_to_strong_magnets_is_full_and_a_ballast_plate_is_not():
    thin, thick = (fullness(PAIR, [FloorLayer(m, t, 3.0)])[0] for m, t in (("tinplate", 0.05), ("steel", 1.0)))
    assert thin.share > 1.0
    assert thick.share < 0.5
    assert thick.saturation_mt == 2100.0
    assert fullness(PAIR, [FloorLayer("brass", 1.0, 3.0)]) == ()


@pytest.mark.parametrize(
    ("x", "y", "over"), [(0.0, 0.0, True), (19.0, -9.0, True), (21.0, 0.0, False), (0.0, 11.0, False)]
)
def test_what_a_plate_covers(x, y, over):
    assert covers(FloorLayer("steel", 1.0, 3.0, length_mm=40.0, width_mm=20.0), x, y) is over
