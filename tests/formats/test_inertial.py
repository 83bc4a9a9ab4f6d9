"""The inertial sensor in a calibration file: written, read back the same, wrong entries refused with their place."""

import copy
import json
from typing import Any

import numpy as np
import pytest

from tests.calibrations import calibration
from wayrule.formats.calibrationfile import CalibrationError, calibration_content, read_calibration
from wayrule.formats.jsonfile import write_json
from wayrule.model import Accelerometer, Clock, GyroBias, Inertial, Noise
from wayrule.run.clock import clock
from wayrule.run.gyrobias import bias_at_rest
from wayrule.run.noise import noise_at_rest
from wayrule.run.positions import positions
from wayrule.run.rests import rests
from wayrule.sim import GOOD
from wayrule.sim.byhand import FACES, laid, left_alone
from wayrule.sim.imu import draw_imu


def whole() -> Inertial:
    specimen = draw_imu(GOOD, np.random.default_rng(1))
    lain = rests(laid(specimen, FACES, np.random.default_rng(2), rest_s=3.0))
    log = left_alone(specimen, 20.0, np.random.default_rng(3))
    return Inertial(positions(lain), bias_at_rest(lain), *noise_at_rest(log), clock(log.t_s, nominal_hz=200.0))


def written(inertial: Inertial) -> bytes:
    return write_json(calibration_content(calibration(inertial=inertial)))


def test_what_was_written_is_read_back_to_the_last_digit() -> None:
    one = whole()
    back = read_calibration(written(one), "c.json").inertial
    assert back is not None
    for part in ("accelerometer", "gyro_bias", "gyro_noise", "force_noise", "clock"):
        assert repr(getattr(back, part)) == repr(getattr(one, part))
    assert written(back) == written(one)
    for name in ("bias_mm_s2", "scale_sd", "skew"):
        assert getattr(back.accelerometer, name).tolist() == getattr(one.accelerometer, name).tolist()
    assert back.gyro_noise.deviation.tolist() == one.gyro_noise.deviation.tolist()


def test_only_what_was_shown_is_written_and_an_old_file_has_none() -> None:
    bias = bias_at_rest(rests(left_alone(draw_imu(GOOD, np.random.default_rng(1)), 5.0, np.random.default_rng(2))))
    content = json.loads(written(Inertial(gyro_bias=bias)))
    assert list(content["inertial"]) == ["gyro_bias"]
    assert content["inertial"]["gyro_bias"]["temp_c"] is None
    assert read_calibration(written(Inertial()), "c.json").inertial is not None
    assert read_calibration(write_json(calibration_content(calibration())), "c.json").inertial is None


WHOLE = json.loads(written(whole()))


def changed(*path: Any, to: Any) -> bytes:
    content = copy.deepcopy(WHOLE)
    place = content["inertial"]
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = to
    return json.dumps(content).encode()


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (changed("accelerometer", "scale", to=[1.0, 2.0]), "inertial: accelerometer: scale: expected 3 numbers"),
        (changed("accelerometer", "bias_mm_s2", 0, to=None), "bias_mm_s2: expected a finite number, came None"),
        (changed("accelerometer", "positions", to=0), "positions: expected a whole number, 1 or more, came 0"),
        (changed("gyro_bias", "rests", to=1.5), "gyro_bias: rests: expected a whole number, 1 or more, came 1.5"),
        (changed("gyro_noise", "tau_s", to=[]), "tau_s: expected 1 to 64 averaging times, came 0"),
        (changed("gyro_noise", "deviation", to=[[1, 2, 3]]), "deviation: expected "),
        (changed("gyro_noise", "kind", to="clock"), "Noise.kind: expected gyro or accelerometer, came clock"),
        (changed("force_noise", "terms", 0, "term", to="hum"), "terms: expected quantisation, random walk, "),
        (changed("clock", "rate_hz", to="200"), "clock: rate_hz: expected a finite number, came '200'"),
        (changed("clock", "lost", to=-1), "clock: lost: expected a whole number, 0 or more, came -1"),
        (changed("clock", to=[]), "inertial: clock: expected a table, came []"),
    ],
)
def test_a_wrong_entry_is_refused_with_its_place(data: bytes, message: str) -> None:
    with pytest.raises(CalibrationError) as refused:
        read_calibration(data, "c.json")
    assert message in str(refused.value)
    assert str(refused.value).startswith("c.json: inertial")


def test_types_check_their_shapes() -> None:
    three, none = np.zeros(3), np.full(3, np.nan)
    with pytest.raises(ValueError, match=r"Accelerometer.scale: expected finite numbers"):
        Accelerometer(three, three, none, three, three, three, 9806.65, 6, 0.0, ())
    with pytest.raises(ValueError, match=r"GyroBias.per_k_rad_s: expected shape \(3\)"):
        GyroBias(three, three, np.zeros(2), none, 20.0, 1)
    block = np.zeros((2, 3))
    with pytest.raises(ValueError, match=r"Noise.low: expected shape \(2, 3\)"):
        Noise("gyro", np.ones(2), block, np.zeros((1, 3)), block, *[np.zeros((5, 3))] * 3, three, 9.0)
    assert np.isnan(Clock(200.0, 0.1, 0.0, 0, 0.005, 0.0).nominal_hz)
