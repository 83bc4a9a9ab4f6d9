"""A day of calibrating on what was known before: one step or another first, a tape worth its while, nothing lost."""

import numpy as np
import pytest

from tests.calibrations import calibration
from wayrule.model import Shown, Wagon, Wheel
from wayrule.track.adjust.remembered import DAY_SD
from wayrule.track.calibrated import after_the_day, before_the_day, calibrated

VAN = Wagon("Clerestory van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04))
TAPE = Shown("taped runs", ("wheel_scale", "slip_mm"), np.array([[1.0, 0.0]]), np.array([0.002]), np.array([[1e-8]]),
             (("floor", "01" * 32),), "")  # fmt: skip
LEVEL = Shown("level", ("level_x", "level_y"), np.eye(2), np.array([50.0, -20.0]), 4.0 * np.eye(2),
              (("bench", "02" * 32),), "")  # fmt: skip
BOTH = Shown("tilt", ("level_x", "cross_x"), np.array([[1.0, -9806.65]]), np.array([10.0]), np.array([[100.0]]),
             (("lid", "03" * 32),), "")  # fmt: skip


def test_an_unseen_wagon_is_as_an_adjustment_takes_it() -> None:
    before = before_the_day(VAN, None, wheel_scale_sd=0.004)
    total = np.sqrt(np.diag(before.as_met))
    of = dict(zip(before.names, total, strict=True))
    assert of["wheel_scale"] == pytest.approx(0.004)
    assert of["slip_mm"] == pytest.approx(0.25)
    assert "lag_s" not in before.names
    assert np.all(np.diag(before.as_met) >= np.diag(before.own))


def test_a_tape_leaves_its_sigma_and_the_days() -> None:
    before = before_the_day(VAN, None, wheel_scale_sd=0.004)
    values, covariance = after_the_day(before, [TAPE])
    sd = np.hypot(1e-4, DAY_SD["wheel_scale"])
    assert covariance[0, 0] ** 0.5 == pytest.approx(sd, rel=2e-3)
    assert values[0] == pytest.approx(0.002, rel=5e-3)


def test_order_does_not_matter() -> None:
    before = before_the_day(VAN, None, wheel_scale_sd=0.004)
    one, other = after_the_day(before, [TAPE, LEVEL, BOTH]), after_the_day(before, [BOTH, TAPE, LEVEL])
    size = np.sqrt(np.diag(one[1]))
    np.testing.assert_allclose(one[0] / size, other[0] / size, atol=1e-9)
    np.testing.assert_allclose(one[1] / np.outer(size, size), other[1] / np.outer(size, size), atol=1e-9)


def test_a_level_and_a_gyro_tilt_are_tied_as_the_prior_knows() -> None:
    """What the level showed tells something of cross_x by the prior's correlation, and its own step then more."""
    before = before_the_day(VAN, None, wheel_scale_sd=0.004)
    at = before.names.index("cross_x")
    first = after_the_day(before, [LEVEL])[1][at, at]
    assert first < before.own[at, at]
    assert after_the_day(before, [LEVEL, BOTH])[1][at, at] < 0.1 * first


def test_an_earlier_calibration_goes_on() -> None:
    one = calibration(made="2026-08-01T14:05:00Z")
    before = before_the_day(VAN, one, wheel_scale_sd=0.004)
    np.testing.assert_allclose(before.own, one.covariance)
    bias = np.array([0.003, 0.0, 0.004])
    after = calibrated(before, [TAPE], VAN, one, runs=TAPE.runs, rotation=None, biases_rad_s=[bias])
    assert after.one("wheel_scale")[1] < one.one("wheel_scale")[1]
    assert after.runs == (*one.runs, ("floor", "01" * 32))
    assert after.bias_runs == 3
    assert after.bias_rad_s**2 * 3 == pytest.approx(0.007**2 * 2 + np.mean(bias**2))
    assert (after.sway_passes, after.sha256) == (one.sway_passes, "")


def test_the_first_calibration_of_a_wagon_without_an_inertial_sensor() -> None:
    before = before_the_day(VAN, None, wheel_scale_sd=0.004)
    first = calibrated(before, [TAPE], VAN, None, runs=TAPE.runs, rotation=None, biases_rad_s=[])
    assert (first.rotation, first.bias_runs, first.diameter_mm) == (None, 0, 10.5)
    assert np.isnan(first.sway_rad).all()


def test_a_lag_that_is_shown_is_kept() -> None:
    lag = Shown("reversals", ("lag_s",), np.eye(1), np.array([0.003]), np.array([[1e-10]]), (("a", ""),), "")
    before = before_the_day(VAN, None, wheel_scale_sd=0.004, with_lag=True)
    first = calibrated(before, [lag], VAN, None, runs=lag.runs, rotation=np.eye(3), biases_rad_s=[])
    assert first.one("lag_s")[0] == pytest.approx(0.003, abs=2e-4)
    plain = before_the_day(VAN, first, wheel_scale_sd=0.004)
    assert "lag_s" in plain.names
    again = calibrated(plain, [TAPE], VAN, first, runs=TAPE.runs, rotation=None, biases_rad_s=[])
    assert again.one("lag_s") == pytest.approx(first.one("lag_s"))
