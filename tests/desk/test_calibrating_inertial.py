"""The inertial sensor through the whole verb: recordings on disk in, file and page out, as it was drawn."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import wayrule
from wayrule.formats.calibrationfile import read_calibration
from wayrule.formats.recordingwriter import write_recording
from wayrule.model import Recording
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, build, draw_specimen, simulate, straight
from wayrule.sim.byhand import FACES, laid, left_alone, on_table
from wayrule.units import DEG, G_MM_S2

AXES = ("y", "-x", "z")
"""The sensor lies turned by a quarter: its x points left, its y backward."""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("day")
    rng = np.random.default_rng(21)
    one = draw_specimen(HO_VAN, GOOD, rng)
    line = build("Headshunt", [straight(1500.0)])

    def save(run: Recording, name: str) -> str:
        path = folder / f"{name}.csv"
        path.write_bytes(write_recording(replace(run, name=name)))
        return str(path)

    def stood(start_mm: float, *legs: Leg, turned: bool = False, ramp: float = 120.0) -> Recording:
        plan = RunPlan(start_mm, legs, turned=turned, still_s=(6, 7), ramp_mm_s2=ramp, axes=AXES)
        return simulate(line, HO_VAN, plan, GOOD, rng, specimen=one)[0]

    push = tuple(Leg(way, 400.0) for _ in range(8) for way in (100.0, -100.0))
    runs = [
        save(laid(one.imu, FACES, rng, axes=AXES, rest_s=5.0), "sides") + "@position",
        save(stood(500.0), "here") + "@level",
        save(stood(565.0, turned=True), "there") + "@turned",
        save(stood(500.0, *push, ramp=2000.0), "push"),
        save(on_table(one.imu, 3, rng, axes=AXES), "table") + "@table=3",
        save(left_alone(one.imu, 40.0, rng, axes=AXES), "rest") + "@rest",
    ]
    return wayrule.calibrate(runs, HO_VAN, out=folder / "out", made="2026-08-02T09:00:00Z"), one, folder


def test_constants_are_those_the_wagon_was_drawn_with(day) -> None:
    result, one, _ = day
    found, imu = result.calibration, one.imu
    bias = np.array([-imu.acc_bias_mm_s2[1], imu.acc_bias_mm_s2[0]])  # forward and left, of a sensor turned a quarter
    level = imu.acc_matrix[:2, 2] * 9811.0 + bias
    for name, true in (
        ("gyro_scale_z", imu.gyro_matrix[2, 2] - 1),
        ("level_x", level[0]),
        ("level_y", level[1]),
        ("cross_x", imu.gyro_matrix[0, 2]),
        ("cross_y", imu.gyro_matrix[1, 2]),
    ):
        value, sd = found.one(name)
        assert abs(value - true) < 3.5 * sd, name
    assert found.one("gyro_scale_z")[1] < 1e-3
    assert found.one("level_x")[1] < 0.1 * DEG * G_MM_S2
    assert found.inertial.accelerometer.bias_mm_s2 == pytest.approx(imu.acc_bias_mm_s2, abs=0.002 * G_MM_S2)


def test_the_file_keeps_the_sensor_and_a_later_day_carries_it_on(day) -> None:
    result, one, folder = day
    file = next(path for path in result.written if path.suffix == ".json")
    kept = read_calibration(file.read_bytes(), file.name)
    assert kept.inertial.clock.rate_hz == pytest.approx(200.0, abs=0.02)
    assert kept.inertial.gyro_noise.density / DEG == pytest.approx(np.full(3, GOOD.gyro_noise_dps_rthz), rel=0.1)
    rest = folder / "later.csv"
    log = left_alone(one.imu, 20.0, np.random.default_rng(22), axes=AXES, name="later")
    rest.write_bytes(write_recording(log))
    later = wayrule.calibrate(f"{rest}@rest", HO_VAN, calibration=file).calibration.inertial
    assert later.accelerometer.bias_mm_s2.tolist() == kept.inertial.accelerometer.bias_mm_s2.tolist()
    assert later.gyro_noise.seconds < kept.inertial.gyro_noise.seconds
    assert later.clock != kept.inertial.clock


def test_the_page_shows_the_seat_and_the_noise_before_they_are_accepted(day) -> None:
    result, _, folder = day
    page = (Path(folder) / "out" / "calibration.html").read_text(encoding="utf-8")
    assert "x points left" in page
    assert "y points backward" in page
    assert "turning about it: gyro column gx" in page
    assert "Allan deviation of the gyro at rest, deg/h" in page
    assert "as the wagon file claims" in page
    told = " ".join(result.part("level and mounting").told)
    assert "the mounting is tilted by" in told
    assert "later than the wheel" in told
    assert not any("laid on several sides" in text for part in result.parts for text in part.refused)


def test_sides_alone_show_no_way_forward_and_say_so(day) -> None:
    _, _, folder = day
    only = wayrule.calibrate(f"{folder}/sides.csv", HO_VAN)
    told = " ".join(only.part("level and mounting").told)
    assert "Neither up nor forward was shown, both are taken as mounted" in told
    with_rest = wayrule.calibrate([f"{folder}/sides.csv", f"{folder}/here.csv@level"], HO_VAN)
    assert "Which way is forward was not shown" in " ".join(with_rest.part("level and mounting").told)
    assert not with_rest.seat.forward_known
    assert with_rest.seat.up_known
