"""Yaw of the mounting and lag from accelerations, against the simulator's truth."""

import dataclasses

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import Travel
from wayrule.pipeline import travel
from wayrule.run.driving import driven
from wayrule.sim import CHEAP, GOOD, HO_VAN, Leg, RunPlan, build, draw_specimen, laps, oval, simulate, straight
from wayrule.sim.imu import delay_s

TO_AND_FRO = tuple(Leg(way, 400.0) for _ in range(12) for way in (100.0, -100.0))


def pushed(seed: int, quality=GOOD, **other) -> tuple[Travel, object]:
    """To and fro by hand on a straight."""
    rng = np.random.default_rng(seed)
    line = build("Headshunt", [straight(1500.0)])
    run, truth = simulate(
        line, HO_VAN, RunPlan(500.0, TO_AND_FRO, ramp_mm_s2=2000.0, still_s=(2, 3), **other), quality, rng
    )
    return travel(run, HO_VAN), truth


def test_a_push_to_and_fro_shows_lag_and_yaw_within_their_sds() -> None:
    off = []
    for seed in range(6):
        run, truth = pushed(seed, CHEAP)
        found = driven(run, HO_VAN, sha256="cd")
        matrix, lag = truth.specimen.imu.acc_matrix, delay_s(60.0) - truth.specimen.wheel.delay_s
        assert found.lag_s == pytest.approx(lag, abs=3e-4)
        assert found.shown.names == ("yaw", "force_yx", "lag_s")
        true = np.array([matrix[1, 0], lag])  # force_yx - yaw as drawn
        off.append((found.shown.values - true) / np.sqrt(np.diag(found.shown.covariance)))
        assert found.shown.matrix.tolist() == [[-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
        assert abs(found.yaw_rad + matrix[1, 0]) < 3.5 * found.yaw_sd_rad
        assert found.yaw_sd_rad < np.radians(0.15)
        assert found.shown.runs == (("run", "cd"),)
    assert 0.3 < np.sqrt(np.mean(np.square(off))) < 1.7


def test_a_later_field_sensor_makes_the_lag_less_and_a_later_inertial_one_more() -> None:
    run, _ = pushed(1)
    assert run.imu is not None
    assert run.imu.acc_mm_s2 is not None
    before = driven(run, HO_VAN).lag_s
    late = np.roll(run.imu.acc_mm_s2, 2, axis=0)  # two rows of 5 ms
    after = driven(dataclasses.replace(run, imu=dataclasses.replace(run.imu, acc_mm_s2=late)), HO_VAN).lag_s
    assert after - before == pytest.approx(0.010, abs=2e-4)


def test_a_gentle_pull_round_the_oval_shows_the_yaw_and_no_lag() -> None:
    """Errors of the wheel's angle pass for accelerations ten times the true ones; they must not pass for a lag of 0."""
    rng = np.random.default_rng(2)
    line = oval(rng, transitions=False)
    specimen = draw_specimen(HO_VAN, GOOD, rng)
    run, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 2, 220.0)), GOOD, rng, specimen=specimen)
    found = driven(travel(run, HO_VAN), HO_VAN)
    assert np.isnan(found.lag_s)
    assert "lag_s" not in found.shown.names
    assert abs(found.shown.values[-1] - truth.specimen.imu.acc_matrix[1, 0]) < 3 * np.sqrt(
        found.shown.covariance[-1, -1]
    )
    assert found.yaw_sd_rad > np.radians(0.2)


def test_what_cannot_tell_is_refused() -> None:
    run, _ = pushed(3)
    assert run.imu is not None
    assert run.imu.acc_mm_s2 is not None
    with pytest.raises(UndeterminedError, match="expected an accelerometer and a gyro, came none"):
        driven(dataclasses.replace(run, imu=None), HO_VAN)
    backward = dataclasses.replace(run.imu, acc_mm_s2=-run.imu.acc_mm_s2)
    with pytest.raises(UndeterminedError, match=r"feels what the wheel does, came -1\.0"):
        driven(dataclasses.replace(run, imu=backward), HO_VAN)
    still = dataclasses.replace(run, distance_mm=np.zeros(len(run.t_s)))
    with pytest.raises(UndeterminedError, match="a run of ten seconds and more that speeds up and slows down"):
        driven(still, HO_VAN)
