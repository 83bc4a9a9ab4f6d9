"""Recordings of a car, robots and a rail vehicle, surveyed with what a user would know; each check with its control.

Licences, truth and check values lie beside the recordings. Where they are not at hand, the yardsticks that judge them
are still held against geometry.
"""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from benchmarks.adjusting import revisits
from benchmarks.surveying import atrest, car, opendata, real, robot
from benchmarks.surveying.car import CarErrors
from wayrule.model import Recording, Survey

here = pytest.mark.skipif(not opendata.DATA.is_dir(), reason=f"not run: {opendata.ABSENT}")


@pytest.fixture(scope="module")
def drove() -> CarErrors:
    """The car's errors, start pose (heading over one second) and end point given."""
    return car.judge(car.surveyed(), car.truth())


@here
def test_the_car_is_as_long_and_lies_where_it_drove(drove: CarErrors) -> None:
    """Length 1010.9 m to 0.1 %; interior plan to 1.1 m (solving for the scale in other ways gives 0.45 to 1.1 m)."""
    assert drove.length_percent < 0.1
    assert drove.plan_rms_m < 1.1


@here
def test_the_cars_bends_and_grades_follow_the_road(drove: CarErrors) -> None:
    """Plain reading: correlation 0.908, 5.7e-5 1/m, gradient 0.0050. The relief is 18.7 m; no accelerometer: 14 m."""
    assert drove.correlation > 0.8
    assert drove.curvature_rms_1_m < 8e-5
    assert drove.gradient_rms < 0.008
    assert drove.height_max_m < 1.25


@here
@pytest.mark.parametrize(
    ("spoil", "blind"),
    [
        (car.flipped, lambda e: e.correlation > 0 or e.curvature_rms_1_m < 8e-5),
        (car.late, lambda e: e.plan_rms_m < 1.1),  # gradients are means of 2 s: half a second hardly moves them
        (car.without_own_acceleration, lambda e: e.gradient_rms < 0.008 or e.height_max_m < 1.25),
    ],
    ids=list(car.SPOILT),
)
def test_a_spoilt_run_of_the_car_fails(
    spoil: Callable[[Recording], Recording], blind: Callable[[CarErrors], bool]
) -> None:
    assert not blind(car.judge(car.surveyed(spoil, step_mm=car.COARSE_STEP_MM), car.truth()))


@here
def test_the_robots_upright_is_found_and_its_map_is_rigid_to_three_and_a_half_metres() -> None:
    """Satellite fixes are good to 0.8-1.7 m; the plain reading gives 3.05 m, z taken as up 102, a flipped gyro 31."""
    run = robot.robot()
    free = robot.surveyed(run)
    imu = free.travels[0].imu
    assert imu is not None
    np.testing.assert_array_equal(imu.rotation[2], [0, 1, 0])
    bias, sd = imu.gyro_bias_rad_s[2], imu.gyro_bias_sd_rad_s[2]
    assert abs(bias - robot.FITTED_BIAS_RAD_S) < 2 * sd
    assert abs(bias + 1e-3) > 2 * sd, "a bias of 1 mrad/s must not pass for the fitted one"
    assert robot.plan_rms_m(free, run) < 3.5
    assert robot.plan_rms_m(free, run, mirrored=True) > 3.5, "the map turned over must fail"


@here
def test_half_of_a_robots_relations_mends_the_other_half() -> None:
    """By the plain log the held-out ones miss by 7.4 to 7.5 m and 22 deg, the data's README says; a plain pose graph
    brings them to 0.09 m and 1.2 deg. With left taken for right in the half that is stated nothing is mended."""
    told, held_out = revisits.halves()
    assert (len(told), len(held_out)) == (44, 44)
    plain_m, plain_deg = revisits.by_odometry(held_out)
    assert 7.4 <= plain_m <= 7.55
    assert plain_deg == pytest.approx(22.0, abs=0.5)
    off_m, off_deg = revisits.left_over(revisits.adjusted(told), held_out)
    assert off_m <= revisits.HELD_OUT_M
    assert off_deg <= revisits.HELD_OUT_DEG
    wrong_m, _ = revisits.left_over(revisits.adjusted(revisits.mirrored(told)), held_out)
    assert wrong_m > 10 * revisits.HELD_OUT_M


def test_where_the_robots_log_is_not_at_hand_a_row_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(revisits, "DATA", tmp_path / "nowhere")
    (row,) = revisits.revisit_rows(quick=True)
    assert not row.ok
    assert "../shared" in row.why


@here
def test_travel_reports_the_602_backward_steps() -> None:
    (row,) = robot.disordered_row()
    assert row.ok
    assert row.measured == "602"


@here
def test_a_rail_vehicle_at_rest_has_the_stated_bias_and_gravity() -> None:
    rows = list(atrest.rest_rows())
    assert len(rows) == 4
    assert [row.what for row in rows if not row.ok] == []


def test_absent_recordings_are_rows_that_say_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(real, "DATA", tmp_path / "nowhere")
    rows = list(real.real_rows())
    assert len(rows) == len(real.PARTS)
    assert all(not row.ok and "../shared" in row.why for row in rows)


def test_rigid_registration_of_a_turned_spiral_is_exact() -> None:
    """What the robot's map is judged with: any figure, moved and turned, fits itself (Euclid); mirrored it does not."""
    angle = np.linspace(0, 4, 50)
    spiral = np.exp(1j * angle) * (1 + 0.1 * angle)
    assert opendata.rigid_rms(spiral, 3 + 2j + spiral * np.exp(0.7j)) < 1e-12
    assert opendata.rigid_rms(np.conj(spiral), spiral) > 0.1


def test_a_running_mean_of_a_parabola_is_known() -> None:
    """Mean of t^2 over a window w about T is T^2 + w^2 / 12 (integral calculus); trapezoids of 1 ms add dt^2 / 6."""
    t = np.arange(0.0, 10.0, 0.001)
    mean = opendata.running_mean(t, t**2, np.array([3.0, 5.0]), 2.0)
    np.testing.assert_allclose(mean, np.array([9.0, 25.0]) + 4 / 12, atol=1e-6)


def on_a_clothoid(*, east_m: float = 0.0, bend: float = 1.0, climb: float = 0.0) -> CarErrors:
    """A line known by formula (heading s^2 / 2 a^2 with a = 400 m, gradient 1 in 50), driven at 10 m/s for 40 s.

    The survey under judgement lies `east_m` aside, reads bends `bend` times, and climbs by `climb` (s / length) more.
    """
    s = np.linspace(0.0, 400.0, 8001)
    heading = s**2 / (2 * 400.0**2)
    x, y = (np.concatenate(([0.0], np.cumsum(0.05 * f(0.5 * (heading[1:] + heading[:-1]))))) for f in (np.cos, np.sin))
    pose = np.zeros(801, dtype=[(name, float) for name in POSE])
    pose["t_s"] = np.linspace(0.0, 40.0, 801)
    at = 10.0 * pose["t_s"]
    pose["east_m"], pose["north_m"], pose["up_m"] = np.interp(at, s, x), np.interp(at, s, y), at / 50
    pose["v_east_m_s"], pose["v_north_m_s"] = 10 * np.cos(at**2 / 320000), 10 * np.sin(at**2 / 320000)
    pose["v_up_m_s"] = 0.2
    line = SimpleNamespace(
        s_mm=1000 * s,
        x_mm=1000 * (x + east_m),
        y_mm=1000 * y,
        curvature_1_mm=bend * s / 400.0**2 / 1000,
        gradient=0.02 + climb * s / 400.0,
        length_mm=float(1000 * s[-1]),
    )
    run = SimpleNamespace(t_s=np.array([-0.01, 40.01]), chainage_mm=1000 * np.array([-0.1, 400.1]))
    return car.judge(cast(Survey, SimpleNamespace(stations=line, travels=(run,))), pose)


POSE = ("t_s", "east_m", "north_m", "up_m", "v_east_m_s", "v_north_m_s", "v_up_m_s")


def test_the_cars_yardsticks_read_nothing_off_a_perfect_clothoid() -> None:
    """Limits by geometry; the chord of 0.5 m and float sums leave micrometres."""
    exact = on_a_clothoid()
    assert exact.length_percent < 1e-3
    assert exact.plan_rms_m < 1e-4
    assert exact.correlation > 0.999999
    assert exact.curvature_rms_1_m < 1e-9
    assert exact.gradient_rms < 1e-12
    assert exact.height_max_m < 1e-9


def test_the_cars_yardsticks_read_what_was_put_in() -> None:
    """By hand: a shift; bends 10 % too strong over an even spread, 0.1 c / sqrt(12), c = 1/400 less the windows' ends;
    a gradient off by u - 1/2 (u = s / length) times 0.01: height 0.01 x 400 x (u^2 - u) / 2, at worst 0.5 m."""
    assert on_a_clothoid(east_m=0.3).plan_rms_m == pytest.approx(0.3, abs=1e-4)
    even = 0.1 / 400.0 * (38.0 / 40.0) / np.sqrt(12)
    assert on_a_clothoid(bend=1.1).curvature_rms_1_m == pytest.approx(even, rel=0.01)
    assert on_a_clothoid(bend=-1.0).correlation == pytest.approx(-1.0, abs=1e-6)
    assert on_a_clothoid(climb=0.01).height_max_m == pytest.approx(0.5, abs=1e-3)
    assert on_a_clothoid(climb=0.01).gradient_rms == pytest.approx(0.01 * 38.0 / 40.0 / np.sqrt(12), rel=0.01)


def test_what_spoils_a_run_does_only_that() -> None:
    """dv/dt of a wheel that gains 2 m/s every second is 2 m/s2; half a second late it is 1 m/s slow."""
    t = np.arange(0.0, 10.0, 0.01)
    run = Recording(
        "made", t, wheel_mm_s=2000.0 * t, gyro_rad_s=np.tile([0.1, 0.2, 0.3], (1000, 1)), acc_mm_s2=np.zeros((1000, 3))
    )
    inner = slice(100, 900)
    late, heavy, turned = car.late(run), car.without_own_acceleration(run), car.flipped(run)
    assert late.wheel_mm_s is not None
    assert heavy.acc_mm_s2 is not None
    assert turned.gyro_rad_s is not None
    np.testing.assert_allclose(late.wheel_mm_s[inner], 2000.0 * t[inner] - 1000.0)
    np.testing.assert_allclose(heavy.acc_mm_s2[inner], np.tile([2000.0, 0, 0], (800, 1)), atol=1e-6)
    np.testing.assert_array_equal(turned.gyro_rad_s[0], [0.1, 0.2, -0.3])
