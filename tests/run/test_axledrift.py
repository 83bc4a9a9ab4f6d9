"""What has changed at an axle: exact bodies are moved, warmed, taken off, and the field alone has to tell."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import AxleDrift, DriftCause, FloorLayer
from wayrule.run.axle import learn_axle
from wayrule.run.axledrift import axle_drift
from wayrule.sim.axlechanges import changed_field
from wayrule.sim.spin import Crooked, crooked_wheel, pushed, spin_recording
from wayrule.sim.wagons import G_WAGON, HO_VAN, N_VAN

WAGONS = {"HO": HO_VAN, "N": N_VAN, "G": G_WAGON}
STRAIGHT = Crooked(0.0, 0.0, 0.0, 0.0)
FAR = {name: float(np.linalg.norm(wagon.sensor.place_mm)) for name, wagon in WAGONS.items()}


def plate(wagon):
    return (FloorLayer("steel", 0.3, round(0.4 * wagon.sensor.place_mm[2], 2)),)


@lru_cache
def reference(name, plated=False, temp_c=None, seed=3):
    wagon, rng = WAGONS[name], np.random.default_rng(seed)
    field = changed_field(wagon, floor=plate(wagon) if plated else None)
    wheel = replace(crooked_wheel(wagon, rng, STRAIGHT), field=field)
    recording = spin_recording(wagon, wheel, *pushed(25.0, 200.0, rng), rng, temp_c=temp_c)
    learnt = learn_axle(recording, place_mm=wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt)
    return learnt.reference, wheel


def later(name, *, plated=False, turns=15.0, temps=(None, None), cut=slice(None), **changed) -> AxleDrift:
    """A later run, headed otherwise (Earth's field is another), with something changed."""
    wagon, rng = WAGONS[name], np.random.default_rng(8)
    known, wheel = reference(name, plated, temps[0])
    now = replace(wheel, field=changed_field(wagon, **changed), north_rad=wheel.north_rad + 2.0)
    t, phi = pushed(turns, 200.0, rng)
    recording = spin_recording(wagon, now, t, phi, rng)
    return axle_drift(
        known,
        recording.t_s[cut],
        recording.field_mt[cut],
        place_mm=wagon.sensor.place_mm,
        temperature_c=math.nan if temps[1] is None else temps[1],
    )


@pytest.mark.parametrize("name", WAGONS)
def test_nothing_is_told_where_only_the_heading_differs(name):
    found = later(name)
    assert found.likeliest.kind == "nothing"
    assert found.likeliest.probability > 0.8
    assert found.strength == pytest.approx(1.0, abs=4 * found.strength_sd)
    assert found.sigma < 2.0


@pytest.mark.parametrize("name", WAGONS)
def test_warmth_is_told_with_its_kelvins(name):
    """Neodymium loses 0.12 % of its remanence a kelvin (suppliers' tables); 30 K warmer is 3.6 % weaker."""
    found = later(name, strength=(-0.036, -0.036))
    assert found.likeliest.kind == "temperature"
    assert found.likeliest.size == pytest.approx(30.0, abs=2 * found.likeliest.sd + 1.0)
    assert found.strength == pytest.approx(0.964, abs=4 * found.strength_sd)


def test_a_thermometer_makes_small_warmth_sure_and_another_cause_of_the_same_size_unlikely():
    warm = later("HO", strength=(-0.018, -0.018), temps=(20.0, 35.0))
    assert warm.likeliest.kind == "temperature"
    assert warm.likeliest.size == pytest.approx(15.0, abs=3.0)
    raised = later("HO", strength=(-0.06, -0.06), temps=(20.0, 20.0))
    assert next(c.probability for c in raised.causes if c.kind == "temperature") < 0.01


@pytest.mark.parametrize("name", WAGONS)
def test_a_disc_that_came_off_is_told_as_such(name):
    found = later(name, strength=(0.0, -1.0))
    assert found.likeliest.kind == "magnet off"
    assert found.likeliest.probability > 0.95
    assert found.likeliest.size == pytest.approx(0.5, abs=0.05)
    assert "dangerous when swallowed" in found.likeliest.advice


@pytest.mark.parametrize("way", [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0)])
@pytest.mark.parametrize("name", WAGONS)
def test_a_disc_that_moved_is_told_with_its_size(name, way):
    """One disc by a twentieth of the distance to the sensor: the middle of both by half of that."""
    far = FAR[name]
    found = later(name, shift_mm=(tuple(0.05 * far * w for w in way), (0.0, 0.0, 0.0)))
    assert found.likeliest.kind == "magnet moved"
    assert found.likeliest.probability > 0.9
    assert found.likeliest.size == pytest.approx(0.025 * far, abs=2 * found.likeliest.sd)


@pytest.mark.parametrize("name", WAGONS)
def test_a_plate_taken_out_and_one_put_in_are_told_with_the_factor(name):
    out = later(name, plated=True)
    factor = np.ptp(changed_field(WAGONS[name]).field_mt[:, 2])
    factor /= np.ptp(changed_field(WAGONS[name], floor=plate(WAGONS[name])).field_mt[:, 2])
    assert out.likeliest.kind == "plate out"
    assert out.likeliest.size == pytest.approx(factor, rel=0.1)
    put = later(name, floor=plate(WAGONS[name]))
    assert put.likeliest.kind == "plate in"
    assert put.likeliest.size == pytest.approx(1 / factor, rel=0.15)


@pytest.mark.parametrize("name", WAGONS)
def test_a_sensor_that_was_raised_is_told_with_its_size(name):
    far = FAR[name]
    found = later(name, sensor_mm=(0.0, 0.0, 0.05 * far))
    assert found.likeliest.kind == "sensor moved"
    assert found.likeliest.size == pytest.approx(0.05 * far, abs=3 * found.likeliest.sd)
    assert "up" in found.likeliest.text


def test_a_sensor_that_turned_is_told_as_moved():
    assert later("HO", sensor_rad=(0.0, 0.05, 0.0)).likeliest.kind == "sensor moved"


def test_a_window_of_two_turns_is_enough_for_what_is_large():
    found = later("HO", strength=(0.0, -1.0), cut=slice(600, 700))
    assert found.likeliest.kind == "magnet off"
    assert later("HO", cut=slice(600, 700)).likeliest.kind == "nothing"


def standing(offset_mt):
    known, _ = reference("HO")
    rng = np.random.default_rng(1)
    field = known.curve_mt[0] + known.curve_mt[1] + offset_mt + rng.normal(0, 0.03, (400, 3))
    return axle_drift(known, np.arange(400) * 0.005, field, place_mm=HO_VAN.sensor.place_mm)


def test_a_standing_axle_is_on_the_curve_or_off_it_and_no_more_is_told():
    on, off = standing(np.array([0.03, 0.0, -0.03])), standing(np.array([0.0, 0.9, 0.0]))
    assert not on.turned
    assert on.likeliest.kind == "nothing"
    assert off.likeliest.kind == "unknown"
    assert off.off_mt == pytest.approx(0.9, abs=0.1)
    assert "Turn the axle" in off.likeliest.advice


def test_no_place_gives_shares_of_the_distance():
    known, wheel = reference("HO")
    rng = np.random.default_rng(8)
    moved = replace(wheel, field=changed_field(HO_VAN, sensor_mm=(0.0, 0.0, 0.6)))
    t, phi = pushed(15.0, 200.0, rng)
    found = axle_drift(known, t, spin_recording(HO_VAN, moved, t, phi, rng).field_mt)
    assert found.likeliest.kind == "sensor moved"
    assert found.likeliest.unit == "1"
    assert found.likeliest.size == pytest.approx(0.6 / FAR["HO"], rel=0.4)
    assert "% of its distance from the axle" in found.likeliest.text


def test_a_field_that_nothing_explains_is_unknown():
    known, wheel = reference("HO")
    rng = np.random.default_rng(8)
    t, phi = pushed(15.0, 200.0, rng)
    field = spin_recording(HO_VAN, wheel, t, phi, rng).field_mt
    field = field + 0.5 * np.cos(3 * phi)[:, None] * [1.0, 0.0, 0.3]
    found = axle_drift(known, t, field, place_mm=HO_VAN.sensor.place_mm)
    assert found.likeliest.kind == "unknown"
    assert "nothing known explains" in found.likeliest.text


def test_without_readings_it_says_so():
    known, _ = reference("HO")
    with pytest.raises(UndeterminedError, match=r"expected at least 10 readings in the axes .* came 0; record"):
        axle_drift(known, np.arange(50.0), np.full((50, 3), np.nan))


def test_probabilities_fall_and_sum_to_one_and_wrong_ones_are_refused():
    found = later("HO")
    chances = [cause.probability for cause in found.causes]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="expected falling probabilities"):
        replace(found, causes=found.causes[::-1])
    with pytest.raises(ValueError, match="expected at least one, came none"):
        replace(found, causes=())
    assert isinstance(found.likeliest, DriftCause)
