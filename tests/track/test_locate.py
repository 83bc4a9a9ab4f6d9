"""Where a wagon is: found on lines whose truth is known, and told as ambiguous where it truly is."""

import dataclasses

import numpy as np
import pytest

from tests.lines import true_stations
from wayrule.model import LikelyPlace, Located
from wayrule.pipeline import travel
from wayrule.run.instrument import instrument
from wayrule.run.trail import trail
from wayrule.sim import GOOD, HO_VAN, Leg, Piece, RunPlan, build, oval, random_line, simulate, straight
from wayrule.track.followed import Followed, follow, next_fault
from wayrule.track.known import known_line
from wayrule.track.locate import locate

ONE = instrument(HO_VAN)
"""Nothing is known of the wagon but its file: bias of the accelerometer 11 mg, mounting 0.75 deg."""

LOOP = oval(np.random.default_rng(4))
BRANCH = random_line(np.random.default_rng(0), defects=2)


def pushed(line, start_mm, way_mm, *, turned=False, seed=1, speed=150.0):
    """A push, what it feels, and where it truly ends."""
    plan = RunPlan(start_mm, (Leg(way_mm, speed),), turned=turned, still_s=(2.0, 2.2))
    recording, truth = simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(seed))
    return trail(travel(recording, HO_VAN), ONE), truth.chainage_mm[-1]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("way_mm", [1500.0, -1500.0])
def test_a_push_of_1500_mm_is_found_within_20_mm_either_way_round_and_direction(turned, way_mm):
    came, end = pushed(LOOP, 4000.0, way_mm, turned=turned)
    found = locate(came, known_line(true_stations(LOOP)), ONE)
    assert found.certainty == "certain"
    assert found.places[0].way == (-1 if turned else 1)
    assert found.here is not None
    assert found.here.s_mm == pytest.approx(end % LOOP.length_mm, abs=20.0)  # what is promised in H0


def test_across_the_seam_of_a_closed_line():
    came, end = pushed(LOOP, LOOP.length_mm - 700.0, 1500.0)
    found = locate(came, known_line(true_stations(LOOP)), ONE)
    assert found.places[0].share > 0.9
    assert found.places[0].s_mm == pytest.approx(end % LOOP.length_mm, abs=20.0)


@pytest.mark.parametrize("turned", [False, True])
def test_on_an_open_line(turned):
    came, end = pushed(BRANCH, 6000.0, -1400.0, turned=turned, seed=5)
    found = locate(came, known_line(true_stations(BRANCH)), ONE)
    assert found.here is not None
    assert found.here.way == (-1 if turned else 1)
    assert found.here.s_mm == pytest.approx(end, abs=20.0)


def test_two_equal_halves_are_both_named():
    """A level oval of sectional track is its own image under half a turn: nothing tells its halves apart."""
    half = (straight(600.0), Piece("arc", 450.0 * np.pi, 1 / 450.0, 1 / 450.0), straight(600.0))
    bare = build("level oval", (*half, *half), scale="HO", ratio=87.0, gauge_mm=16.5, closed=True)
    came, end = pushed(bare, 1000.0, 1500.0)
    found = locate(came, known_line(true_stations(bare)), ONE)
    assert (found.certainty, found.here) == ("several", None)
    one, other = sorted(found.places, key=lambda p: -p.share)[:2]
    assert one.share < 0.9, "the map's grid falls otherwise on either half; nothing else differs"
    lap = bare.length_mm
    for place in (one, other):
        assert min((place.s_mm - end) % (lap / 2), (end - place.s_mm) % (lap / 2)) < 20.0
    assert abs(one.s_mm - other.s_mm) == pytest.approx(lap / 2, abs=20.0)


def test_on_another_line_it_is_nowhere():
    came, _ = pushed(BRANCH, 6000.0, 1500.0)
    found = locate(came, known_line(true_stations(LOOP)), ONE)
    assert found.here is None
    assert found.certainty == "nowhere"
    assert found.places == ()
    assert found.misfit > 2.0


def test_a_wagon_that_has_hardly_moved_knows_nothing():
    came, _ = pushed(LOOP, 4000.0, 60.0)
    found = locate(came, known_line(true_stations(LOOP)), ONE)
    assert (found.certainty, found.places) == ("unknown", ())


@pytest.mark.parametrize("off", [-0.004, 0.004])
def test_a_wheel_that_is_off_by_its_sigma_is_found_all_the_same(off):
    plan = RunPlan(2000.0, (Leg(1500.0, 150.0),), still_s=(2.0, 2.2))
    recording, truth = simulate(LOOP, HO_VAN, plan, GOOD, np.random.default_rng(3))
    went = travel(recording, HO_VAN)
    went = dataclasses.replace(went, distance_mm=went.distance_mm * (1.0 + off))
    found = locate(trail(went, ONE), known_line(true_stations(LOOP)), ONE)
    assert found.here is not None
    assert found.here.s_mm == pytest.approx(truth.chainage_mm[-1], abs=20.0)


LINE = known_line(true_stations(LOOP))


def _found(certainty, *places):
    return Located(certainty, tuple(LikelyPlace(s, 2.0, way, 0.5) for s, way in places), 1000.0, 1.0)


def test_a_certain_place_is_carried_on_by_the_wheel_and_held_as_long_as_nothing_contradicts():
    was = follow(None, _found("certain", (100.0, -1)), 5000.0, 0.001, LINE)
    assert was == Followed(100.0, 2.0, -1, 5000.0)
    assert was.now(5400.0, 0.001, LINE).value == pytest.approx(LOOP.length_mm - 300.0)
    held = follow(was, _found("several", (LOOP.length_mm - 300.0, -1), (4200.0, 1)), 5400.0, 0.001, LINE)
    assert held == was
    for _ in range(2):
        held = follow(held, _found("nowhere"), 5500.0, 0.001, LINE)
        assert held is not None
    assert follow(held, _found("nowhere"), 5500.0, 0.001, LINE) is None, "three times in a row it fits nowhere"
    moved = follow(was, _found("certain", (4000.0, 1)), 5400.0, 0.001, LINE)
    assert moved == Followed(4000.0, 2.0, 1, 5400.0)
    assert follow(None, _found("several", (1.0, 1), (2.0, 1)), 0.0, 0.001, LINE) is None


def test_the_next_fault_is_the_one_that_comes_next_the_way_it_rolls():
    faults = BRANCH.faults
    line = known_line(true_stations(BRANCH))
    between = 0.5 * (faults[0].s_mm + faults[1].s_mm)
    assert next_fault(between, 1, faults, line) == (1, pytest.approx(faults[1].s_mm - between))
    assert next_fault(between, -1, faults, line) == (0, pytest.approx(between - faults[0].s_mm))
    assert next_fault(BRANCH.length_mm, 1, faults, line) is None
