"""Tilt of the mounting and offset of the accelerometer are one until something tells them apart."""

from dataclasses import replace

import numpy as np
import pytest

from wayrule.model import Calibration, Shown
from wayrule.run.apart import mounting
from wayrule.run.curves import curves
from wayrule.run.level import level_and_turned
from wayrule.run.positions import positions, shown_by_positions
from wayrule.run.rests import rest, rests
from wayrule.sim import GOOD, HO_VAN, RunPlan, draw_specimen, laps, oval, simulate
from wayrule.sim.byhand import FACES, laid
from wayrule.track.calibrated import before_the_day, calibrated
from wayrule.units import DEG, G_MM_S2


@pytest.fixture(scope="module")
def day():
    """A wagon and what a day's steps show of it: a turned pair, six positions, three laps."""
    from wayrule.pipeline import travel

    rng = np.random.default_rng(11)
    line, one = oval(rng), draw_specimen(HO_VAN, GOOD, rng)
    pair = [
        simulate(line, HO_VAN, RunPlan(500.0, (), turned=turned, still_s=(6, 7)), GOOD, rng, specimen=one)[0]
        for turned in (False, True)
    ]
    level = level_and_turned(rest(pair[0]), rest(pair[1]), np.eye(3)).shown
    lain = positions(rests(laid(one.imu, FACES, rng)))
    run, _ = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 3, 220.0), still_s=(6, 8)), GOOD, rng, specimen=one)
    turning = curves(travel(run, HO_VAN), HO_VAN, closed=True).shown
    return one.imu, level, lain, turning


def after(*shown: Shown, wagon=HO_VAN) -> Calibration:
    before = before_the_day(wagon, None, wheel_scale_sd=0.004)
    return calibrated(before, shown, wagon, None, runs=(), rotation=np.eye(3), biases_rad_s=[np.zeros(3)])


def test_a_turned_pair_alone_reports_them_as_one(day) -> None:
    one, level, _, _ = day
    found = mounting(after(level))
    true = one.acc_matrix[:2, 2] + one.acc_bias_mm_s2[:2] / G_MM_S2
    assert not found.apart
    assert np.isnan([found.pitch_rad, found.roll_rad, *found.offset_mm_s2]).all()
    assert np.abs(found.level_rad - true).max() < 0.1 * DEG
    assert (
        "tilt and the accelerometer's offset as one; six rest positions, or turning in curves, tell them apart"
        in found.text
    )


def test_however_good_the_wagon_file_calls_the_accelerometer_a_pair_does_not_tell_them_apart(day) -> None:
    _, level, _, _ = day
    boast = replace(HO_VAN, imu=replace(HO_VAN.imu, acc_bias_sd_g=1e-4))
    assert not mounting(after(level, wagon=boast)).apart


def test_six_positions_tell_them_apart(day) -> None:
    one, level, lain, _ = day
    found = mounting(after(level, shown_by_positions(lain, np.eye(3))), lain)
    assert found.apart
    assert found.offset_mm_s2 == pytest.approx(one.acc_bias_mm_s2[:2], abs=0.002 * G_MM_S2)
    assert [found.pitch_rad, found.roll_rad] == pytest.approx(one.acc_matrix[:2, 2], abs=0.15 * DEG)
    assert found.pitch_sd_rad < 0.2 * DEG
    assert "mg forward" in found.text


def test_turning_in_curves_tells_them_apart(day) -> None:
    one, level, _, turning = day
    found = mounting(after(level, turning))
    assert found.apart
    off = (found.offset_mm_s2 - one.acc_bias_mm_s2[:2]) / found.offset_sd_mm_s2
    assert np.abs(off).max() < 3
    assert [found.pitch_rad, found.roll_rad] == pytest.approx(one.acc_matrix[:2, 2], abs=1.0 * DEG)


def test_positions_without_a_level_wagon_tell_nothing_of_the_mounting(day) -> None:
    _, _, lain, _ = day
    assert not mounting(after(shown_by_positions(lain, np.eye(3))), lain).apart
