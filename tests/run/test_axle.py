"""Learning an axle: truth from exact disc fields; refusals; which way is forward; what is told of the errors."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import AxleLearned, FloorLayer, Problem, Recording
from wayrule.run.axle import learn_axle
from wayrule.run.axlereading import read_by
from wayrule.sim.spin import crooked_wheel, flicked, pushed, spin_recording, twisted
from wayrule.sim.wagons import G_WAGON, HO_VAN, N_VAN

TAU = 2 * np.pi
PLATED = replace(HO_VAN, floor=(FloorLayer("steel", 0.2, 5.0),))
WAGONS = {"HO": HO_VAN, "N": N_VAN, "G": G_WAGON, "HO behind 0.2 mm of steel": PLATED}


def learn(wagon, recording, **more) -> AxleLearned:
    return learn_axle(recording, place_mm=wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt, **more)


@lru_cache
def learnt(name, motion=pushed, seed=3):
    """What is learnt of one crooked wagon, the wheel, and a later roll of it: (learnt, wheel, recording, angle)."""
    wagon, rng = WAGONS[name], np.random.default_rng(seed)
    wheel = crooked_wheel(wagon, rng)
    first = spin_recording(wagon, wheel, *motion(25.0, 200.0, rng), rng)
    t, phi = pushed(20.0, 200.0, rng)
    return learn(wagon, first), wheel, spin_recording(wagon, wheel, t, phi, rng), phi


def best_sd_rad(wagon, wheel, phi):
    """Least sd of an unbiased reading of three axes, rms: noise and steps over |dB/dphi| (Cramer 1946, Rao 1945)."""
    h, gain = 1e-4, wheel.gain.T
    slope = (wheel.field.at(phi + h) - wheel.field.at(phi - h)) @ gain / (2 * h)
    step = 2 * wagon.sensor.range_mt / 2**wagon.sensor.bits
    noise = np.hypot(wagon.sensor.noise_mt, step / 12**0.5)
    return float(np.sqrt(np.mean(noise**2 / np.sum(slope**2, axis=1))))


def off(read, phi):
    """Reading less truth (n,), whatever the zero of the angle."""
    away = np.angle(np.exp(1j * (read - phi)))
    return np.angle(np.exp(1j * (away - np.angle(np.mean(np.exp(1j * away))))))


@pytest.mark.parametrize("motion", [pushed, flicked])
@pytest.mark.parametrize("name", WAGONS)
def test_a_later_run_is_read_as_well_as_noise_allows_and_as_claimed(name, motion):
    """1.15 times the bound, 1.3 times the claim: limits of the issue; plain rings err by degrees here."""
    found, wheel, recording, phi = learnt(name, motion)
    read, sd = read_by(found.reference, recording.field_mt)
    error = float(np.std(off(read, phi)))
    assert error < 1.15 * best_sd_rad(WAGONS[name], wheel, phi)
    assert error < 1.3 * found.sd_rad
    assert found.sd_rad < 1.3 * error
    assert np.sqrt(np.mean(sd**2)) == pytest.approx(error, rel=0.3)


def test_without_its_harmonics_the_ring_errs_by_what_the_orders_say():
    found, _, _, _ = learnt("G")
    told = np.sqrt(sum(o.ring_rad**2 for o in found.orders) / 2)
    assert np.std(found.ring_error_rad) == pytest.approx(told, rel=0.05)
    assert told > 3 * found.ripple_sd_rad
    assert np.degrees(found.orders[1].ring_rad) > 1.0


def test_the_reference_says_the_field_that_is_there():
    """The exact field, by the sensor's own scale: sizes to the share of its third harmonic, angles to 0.5 deg."""
    found, wheel, _, _ = learnt("HO")
    phi = np.linspace(0, TAU, 360, endpoint=False)
    there = wheel.field.at(phi) @ wheel.gain.T
    read, _ = read_by(found.reference, there + found.reference.curve_mt[0] - there.mean(axis=0))
    size = np.ptp(there, axis=0) / 2
    curve = found.reference.curve_mt
    assert np.hypot(curve[1], curve[7]) == pytest.approx(size, rel=0.03)  # the third harmonic is 1 to 2 % of the field
    assert np.std(off(read, phi)) < np.radians(0.5)


def test_noise_is_what_was_put_in_and_the_turns_are_counted():
    found, _, _, _ = learnt("HO")
    assert found.reference.noise_mt == pytest.approx(np.hypot(0.03, 80 / 4096 / 12**0.5), rel=0.06)
    assert found.reference.turns == pytest.approx(25.0, abs=0.1)
    assert found.covered == 1.0


def test_harmonics_are_known_as_well_as_their_sds_say():
    """Chi-square of 12 numbers over 8 wheels; 96 degrees of freedom lie within 0.7 to 1.4 but once in 300."""
    squares = []
    for seed in range(8):
        found, wheel, _, _ = learnt("HO", pushed, seed)
        phi = np.linspace(0, TAU, 720, endpoint=False)
        there = wheel.field.at(phi) @ wheel.gain.T
        there += found.reference.curve_mt[0] - there.mean(axis=0)
        read, _ = read_by(found.reference, there)
        error = off(read, phi)
        k = np.arange(2, 7)
        for f in (np.cos, np.sin):
            squares.append((2 / 720 * f(np.outer(k, phi)) @ error / found.reference.angle_sd_rad[1:]) ** 2)
    assert 0.5 < np.mean(squares) < 1.6


def test_the_angle_and_the_ring_agree_as_the_type_promises():
    """phi = psi - sum of A_k cos k psi + B_k sin k psi, psi read on the ring, for a field on the curve."""
    reference = learnt("HO")[0].reference
    phi = np.linspace(0, TAU, 100, endpoint=False)
    terms = np.column_stack(
        [np.ones(100), np.cos(np.outer(phi, np.arange(1, 7))), np.sin(np.outer(phi, np.arange(1, 7)))]
    )
    flat = (terms @ reference.curve_mt - reference.centre_mt) @ reference.basis.T
    along = np.array([np.cos(reference.tilt_rad), np.sin(reference.tilt_rad)])
    across = np.array([-along[1], along[0]])
    symmetric = (
        np.outer(along, along) / reference.semi_axes_mt[0] + np.outer(across, across) / reference.semi_axes_mt[1]
    )
    x, y = symmetric @ flat.T
    psi = reference.forward * np.arctan2(y, x)
    k = np.outer(psi, np.arange(1, 7))
    said = psi - np.cos(k) @ reference.angle_rad[0] - np.sin(k) @ reference.angle_rad[1]
    assert np.abs(np.angle(np.exp(1j * (said - phi)))).max() < 3e-3  # the seventh order


def test_two_axes_are_enough():
    rng = np.random.default_rng(5)
    wheel = crooked_wheel(HO_VAN, rng)
    t, phi = pushed(25.0, 200.0, rng)
    recording = spin_recording(HO_VAN, wheel, t, phi, rng)
    field = recording.field_mt.copy()
    field[:, 1] = np.nan
    found = learn(HO_VAN, replace(recording, field_mt=field))
    assert found.reference.axes.tolist() == [True, False, True]
    read, _ = read_by(found.reference, field)
    assert np.std(off(read, phi)) < 1.3 * found.sd_rad


def made(motion=pushed, turns=25.0, wagon=HO_VAN, seed=2, rate=200.0, **more):
    rng = np.random.default_rng(seed)
    wheel = crooked_wheel(wagon, rng)
    t, phi = motion(turns, rate, rng, **more)
    return spin_recording(wagon, wheel, t, phi, rng), t, phi


def refused(recording, wagon=HO_VAN):
    with pytest.raises(UndeterminedError) as caught:
        learn(wagon, recording)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_too_few_turns_are_refused():
    assert "expected 20 turns of the axle and more, came 9.0; turn it on" in refused(made(turns=9.0)[0])


def test_fingers_that_twist_the_axle_are_refused():
    said = refused(made(motion=twisted)[0])
    assert "fits and starts, as of fingers that twist the axle on; flick the axle and let it run free" in said


def rocked(amplitude_turns, seconds=60.0):
    rng = np.random.default_rng(1)
    t = np.arange(0.0, seconds, 0.005)
    phi = 1.0 + TAU * amplitude_turns * np.sin(3.0 * t)
    return spin_recording(HO_VAN, crooked_wheel(HO_VAN, rng), t, phi, rng)


def test_arcs_are_refused_however_often_they_are_rocked():
    assert "to and fro over 8" in refused(rocked(0.42))
    assert "at least 70% of a turn" in refused(rocked(0.25))
    assert "fits and starts" in refused(rocked(0.8))


def test_an_axle_that_stands_is_refused():
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 10.0, 0.005)
    recording = spin_recording(HO_VAN, crooked_wheel(HO_VAN, rng), t, np.ones(2000), rng)
    assert "expected an axle that turns, came a field that stays within its noise" in refused(recording)


def test_no_field_is_refused():
    assert "expected the field of the axle's magnets, came none" in refused(Recording("log", np.arange(9.0)))


def test_a_sensor_at_its_end_is_refused():
    recording, _, _ = made()
    field = recording.field_mt.copy()
    ended = field[:, 2] > 1.5
    field[ended, 2] = np.nan
    problem = Problem("saturated", int(ended.sum()), "", "marked missing", "readings of the field sensor's z axis")
    said = refused(replace(recording, field_mt=field, problems=(problem,)))
    assert f"came {ended.sum()} readings at its end; set the sensor's range wider" in said
    assert "of them missing near" in refused(replace(recording, field_mt=field))


def test_a_field_that_wobbles_is_refused():
    recording, t, _ = made()
    moved = recording.field_mt + 0.25 * np.sin(2.3 * t)[:, None]  # a magnetic tool in the other hand
    assert "expected a field that repeats with every turn" in refused(replace(recording, field_mt=moved))


def test_turning_that_is_too_rough_for_its_harmonics_is_refused():
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 10.0, 0.005)
    hand = np.convolve(rng.normal(0.0, 0.1, len(t)), np.hanning(21), mode="same")  # 0.25 rad, another one each 0.05 s
    phi = 1.0 + 20.0 * t + hand
    said = refused(spin_recording(HO_VAN, crooked_wheel(HO_VAN, rng), t, phi, rng))
    assert "expected turning smooth enough to tell the reading's periodic error from the hand's" in said


def test_place_and_axes_say_which_way_is_forward():
    found, _, _, _ = learnt("HO")
    assert found.reference.forward_source == "place and axes of the sensor"


def test_pushed_forward_first_overrules_a_sensor_that_sits_the_other_way_round():
    recording, _, phi = made()
    turned = replace(recording, field_mt=recording.field_mt * [-1.0, 1.0, 1.0])  # its forward axis points back
    wrong = learn(HO_VAN, turned)
    right = learn(HO_VAN, turned, pushed_forward_first=True)
    assert right.reference.forward == -wrong.reference.forward
    assert right.reference.forward_source == "pushed forward first, as stated"
    assert any("say otherwise" in note for note in right.notes)
    read, _ = read_by(right.reference, turned.field_mt)
    assert np.unwrap(read)[-1] - read[0] == pytest.approx(phi[-1] - phi[0], abs=0.3)


def felt(recording, t, phi, sign=1.0):
    """The same with an accelerometer on a wagon that rolls: +1 g up, and forward what the wheel gains [mm/s2]."""
    forward = np.gradient(np.gradient(5.25 * phi, t), t)
    acc = np.stack([sign * forward, 0 * t, np.full(len(t), 9810.0)], axis=1)
    return replace(recording, acc_mm_s2=acc + np.random.default_rng(1).normal(0, 8.0, acc.shape))


def test_the_accelerometer_says_which_way_is_forward_and_no_gyro_is_needed():
    recording, t, phi = made(turns=60.0)
    turned = replace(recording, field_mt=recording.field_mt * [-1.0, 1.0, 1.0])
    found = learn(HO_VAN, felt(turned, t, phi), diameter_mm=10.5)
    assert found.reference.forward_source == "accelerometer"
    read, _ = read_by(found.reference, turned.field_mt)
    assert np.unwrap(read)[-1] > 0
    other = learn(HO_VAN, felt(turned, t, phi, -1.0), diameter_mm=10.5)
    assert other.reference.forward == -found.reference.forward


def test_what_remains_is_told_as_travel_and_the_limits_as_speed_and_gap():
    found, _, _, _ = learnt("HO")
    assert found.travel_um(10.5) == pytest.approx(5250 * found.sd_rad)
    assert 50 < found.travel_um(10.5) < 120  # noise 0.03 mT, ring 2.7 x 1.3 mT, wheel 10.5 mm: 0.016 rad of 5.25 mm
    assert found.limit_turns_s == pytest.approx(0.4 * 200.0)
    assert found.limit_gap_s == pytest.approx(0.233, abs=0.001)


def test_left_over_by_angle_is_nothing_but_noise():
    """72 means with sds of their own: chi-square of 72, 44 to 108 in 99.5 of 100."""
    found, _, _, _ = learnt("HO")
    assert 44 < np.nansum((found.left_rad / found.left_sd_rad) ** 2) < 120
