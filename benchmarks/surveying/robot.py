"""An outdoor robot over 359 m whose inertial sensor lies on its side, and an indoor robot's log with disordered time.

Truth of the first: satellite fixes good to 0.8-1.7 m in plan, so a gross check and one of signs, with real turning.
"""

import dataclasses
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row, at_most
from benchmarks.surveying.car import must_fail
from benchmarks.surveying.opendata import DATA, Floats, recording, rigid_rms, table
from wayrule.formats.recording import read_recording
from wayrule.model import ColumnMap, Control, Facts, Recording, Survey
from wayrule.pipeline import survey, travel

FOLDER: Final = "robot_localization_bags"
WAGON: Final = b'name = "robot"\nratio = 1\ngauge_mm = 500\nwheelbase_mm = 500\n[wheel]\nscale_sd = 0.02\n'

PLAN_M: Final = 3.5
STATED_SCALE_PERCENT: Final = 2.0
FITTED_BIAS_RAD_S: Final = -2.4e-4
"""About the upright, from fitting the run to its fixes; the README beside the data has it."""

STEP_MM: Final = 500.0
"""Stations; the fixes are no closer than that."""

BACKWARD_STEPS: Final = 602


def robot() -> Recording:
    """The outdoor run, sensor axes as recorded."""
    return recording(f"{FOLDER}/test1_recording.csv", WAGON)[0]


def surveyed(run: Recording, facts: Facts | None = None) -> Survey:
    """The robot's run through the survey."""
    return survey([run], recording(f"{FOLDER}/test1_recording.csv", WAGON)[1], facts, step_mm=STEP_MM)


def turning_less(run: Recording) -> Recording:
    """Every rate a tenth too small."""
    assert run.gyro_rad_s is not None
    return dataclasses.replace(run, gyro_rad_s=0.9 * run.gyro_rad_s)


def fixes(run: Recording) -> NDArray[np.void]:
    """Satellite fixes during the run."""
    rows = table(f"{FOLDER}/test1_gnss.csv")
    return np.asarray(rows[(rows["t_header_s"] > run.t_s[0]) & (rows["t_header_s"] < run.t_s[-1])])


def places(found: Survey, t_s: Floats) -> NDArray[np.complex128]:
    """Where the survey has the robot at these times, x + iy [m]."""
    run, line = found.travels[0], found.stations
    s = np.interp(t_s, run.t_s, run.chainage_mm)
    return np.asarray((np.interp(s, line.s_mm, line.x_mm) + 1j * np.interp(s, line.s_mm, line.y_mm)) / 1000)


def plan_rms_m(found: Survey, run: Recording, *, mirrored: bool = False) -> float:
    """Distance of the map from the fixes after the best shift and rotation, rms."""
    seen = fixes(run)
    plan = places(found, seen["t_header_s"])
    return rigid_rms(np.conj(plan) if mirrored else plan, seen["east_m"] + 1j * seen["north_m"])


def end_points(run: Recording, *, sd_mm: float = 1000.0) -> Facts:
    """First and last fix as the only control, as good as fixes are: they lie 13 m apart after 359 m."""
    seen = fixes(run)
    first, last = (Control(at, *_mm(seen[i]), sd_mm=sd_mm) for at, i in (("start", 0), ("end", -1)))
    return Facts(controls=(first, last))


def _mm(fix: np.void) -> tuple[float, float]:
    return 1000.0 * float(fix["east_m"]), 1000.0 * float(fix["north_m"])


def robot_rows() -> Iterator[Row]:
    """Upright, standstill bias and plan of the free map."""
    run = robot()
    free = surveyed(run)
    imu = free.travels[0].imu
    assert imu is not None
    up = "xyz"[int(np.argmax(np.abs(imu.rotation[2])))]
    yield Row("robot, sensor on its side: the upright axis found without being told", up, "y", up == "y")
    bias, sd = imu.gyro_bias_rad_s[2], imu.gyro_bias_sd_rad_s[2]
    yield at_most("robot: standstill bias against the fitted one", abs(bias - FITTED_BIAS_RAD_S) / sd, 2.0, "sigma")
    yield at_most("robot, 359 m: plan rms after rigid registration", plan_rms_m(free, run), PLAN_M, "m")
    yield must_fail("robot, map turned over: the same", plan_rms_m(free, run, mirrored=True), PLAN_M, "m")


def weak_gyro_row() -> Iterator[Row]:
    """A gyro a tenth too small must show in the plan."""
    run = robot()
    off = plan_rms_m(surveyed(turning_less(run)), run)
    yield must_fail("robot, gyro a tenth too small: plan rms after rigid registration", off, PLAN_M, "m")


def scale_rows() -> Iterator[Row]:
    """The end point alone cannot give the wheel's scale: solving for it gives 0.38-0.57."""
    run = robot()
    held = surveyed(run, end_points(run))
    scale = held.estimates[0]
    words = f"{scale.value:+.2f} +- {scale.sd:.2f} %"
    kept = abs(scale.value) <= STATED_SCALE_PERCENT and scale.sd >= 0.5 * STATED_SCALE_PERCENT
    yield Row("robot, scale asked from the end point alone", words, "refused, or held at the stated 0 +- 2 %", kept)
    yield at_most("robot, the same: plan rms after rigid registration", plan_rms_m(held, run), PLAN_M, "m")


def disordered_row() -> Iterator[Row]:
    """The log with backward time: every step back is told by `travel`."""
    data = (DATA / "radish_carmen" / "disordered_odometry.csv").read_bytes()
    run = read_recording(data, "disordered", ColumnMap((("wheel_m", "x_m"),)))
    _, wagon = recording(f"{FOLDER}/test1_recording.csv", WAGON)
    told = sum(p.count for p in travel(run, wagon).problems if p.kind == "out of order")
    what = "log with disordered time: backward steps that travel reports"
    yield Row(what, str(told), str(BACKWARD_STEPS), told == BACKWARD_STEPS)
