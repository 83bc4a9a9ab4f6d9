"""A car over 1 km in 60 s (wheel speed, gyro, accelerometer): surveyed with its start pose and end point as control.

Truth is a post-processed satellite, inertial and camera pose. The road bends by 1.2 deg only: the plan is blind to the
gyro, so the curvature is held against the truth as well. Each figure has a control, a recording spoilt on purpose, that
must fall outside its limit.
"""

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row, at_least, at_most
from benchmarks.surveying.opendata import Floats, recording, running_mean, table
from wayrule.model import Control, Facts, Recording, Survey
from wayrule.pipeline import survey

FOLDER: Final = "comma2k19_example"
WAGON: Final = b'name = "car"\nratio = 1\ngauge_mm = 1600\nwheelbase_mm = 2700\n[wheel]\nscale_sd = 0.01\n'

LENGTH_PERCENT: Final = 0.1
PLAN_M: Final = 1.1
PLAN_BOTH_ENDS_M: Final = 0.72
CORRELATION: Final = 0.85
CURVATURE_1_M: Final = 8e-5
GRADIENT: Final = 0.008
HEIGHT_M: Final = 1.0

MEAN_S: Final = 2.0
LATE_S: Final = 0.5
COARSE_STEP_MM: Final = 1000.0
"""Stations of a spoilt run: far closer than the 30 m that two seconds cover, and quicker."""


def flipped(run: Recording) -> Recording:
    """The gyro's upright axis with the wrong sign."""
    assert run.gyro_rad_s is not None
    return dataclasses.replace(run, gyro_rad_s=run.gyro_rad_s * [1.0, 1.0, -1.0])


def late(run: Recording) -> Recording:
    """The wheel half a second late."""
    assert run.wheel_mm_s is not None
    return dataclasses.replace(run, wheel_mm_s=np.interp(run.t_s - LATE_S, run.t_s, run.wheel_mm_s))


def without_own_acceleration(run: Recording) -> Recording:
    """The wheel's dv/dt left in the specific force: the survey takes it out once, so it is put in once more."""
    assert run.wheel_mm_s is not None
    assert run.acc_mm_s2 is not None
    grid = np.arange(run.t_s[0], run.t_s[-1], 0.5)
    change = np.gradient(running_mean(run.t_s, run.wheel_mm_s, grid, 0.5), grid)
    extra = np.interp(run.t_s, grid, change)
    return dataclasses.replace(run, acc_mm_s2=run.acc_mm_s2 + np.outer(extra, [1.0, 0.0, 0.0]))


SPOILT: Final[Mapping[str, Callable[[Recording], Recording]]] = MappingProxyType(
    {"gyro flipped": flipped, "wheel 0.5 s late": late, "dv/dt left in": without_own_acceleration}
)


@dataclass(frozen=True, slots=True)
class CarErrors:
    """A survey of the car's run against its truth.

    length_percent  of the line's length, absolute
    plan_rms_m      in the controls' frame, nothing fitted
    correlation, curvature_rms_1_m   curvature, 2 s means, mean removed
    gradient_rms    2 s means, mean removed
    height_max_m    from the start, the mean gradient's error removed
    """

    length_percent: float
    plan_rms_m: float
    correlation: float
    curvature_rms_1_m: float
    gradient_rms: float
    height_max_m: float


def truth() -> NDArray[np.void]:
    """The car's pose, 20 Hz."""
    return table(f"{FOLDER}/truth_pose.csv")


def controls(pose: NDArray[np.void], run: Recording) -> tuple[Control, Control]:
    """Start pose (its heading the mean course of the first second) and end point, each good to 0.1 m."""
    t, course = pose["t_s"], np.arctan2(pose["v_north_m_s"], pose["v_east_m_s"])
    first, last = float(run.t_s[0]), float(run.t_s[-1])

    def mm(name: str, when: float) -> float:
        return 1000.0 * float(np.interp(when, t, pose[name]))

    heading = float(np.mean(course[(t > first - 0.1) & (t < first + 0.9)]))
    start = Control("start", mm("east_m", first), mm("north_m", first), mm("up_m", first), heading, 100.0, 100.0, 0.005)
    return start, Control("end", mm("east_m", last), mm("north_m", last), sd_mm=100.0)


def surveyed(spoil: Callable[[Recording], Recording] = lambda run: run, *, step_mm: float | None = None) -> Survey:
    """The car's run, spoilt or not, through the survey."""
    run, wagon = recording(f"{FOLDER}/recording.csv", WAGON)
    return survey([spoil(run)], wagon, Facts(controls=controls(truth(), run)), step_mm=step_mm)


def judge(found: Survey, pose: NDArray[np.void]) -> CarErrors:
    """Hold a survey against the truth, moment by moment: the run says where it was on the line when."""
    line, run = found.stations, found.travels[0]
    pose = pose[(pose["t_s"] > run.t_s[0]) & (pose["t_s"] < run.t_s[-1])]
    t, speed = pose["t_s"], np.hypot(pose["v_east_m_s"], pose["v_north_m_s"])
    s = np.interp(t, run.t_s, run.chainage_mm)

    def here(values: Floats) -> Floats:
        return np.asarray(np.interp(s, line.s_mm, values))

    length = np.trapezoid(speed, t)
    plan = np.hypot(here(line.x_mm) / 1000 - pose["east_m"], here(line.y_mm) / 1000 - pose["north_m"])
    middle = np.arange(t[0] + MEAN_S / 2, t[-1] - MEAN_S / 2, 0.05)
    course = np.unwrap(np.arctan2(pose["v_north_m_s"], pose["v_east_m_s"]))
    turned, driven = (_gained(middle, t, v) for v in (course, _sum(t, speed)))
    turned_by_survey = _gained(middle, t, here(_sum(line.s_mm, line.curvature_1_mm)))
    bend, seen = turned / driven, 1000 * turned_by_survey / _gained(middle, t, s)
    climb = here(line.gradient) - pose["v_up_m_s"] / speed
    climb -= climb.mean()
    height = _sum(t, climb * speed)
    return CarErrors(
        abs(100 * (line.length_mm / 1000 / length - 1)),
        float(np.sqrt(np.mean(plan**2))),
        float(np.corrcoef(seen, bend)[0, 1]),
        float(np.std(seen - bend)),
        float(np.std(running_mean(t, climb, middle, MEAN_S))),
        float(np.max(np.abs(height))),
    )


def _gained(middle: Floats, t: Floats, values: Floats) -> Floats:
    """By how much a quantity grew over the windows about `middle`."""
    return np.asarray(np.interp(middle + MEAN_S / 2, t, values) - np.interp(middle - MEAN_S / 2, t, values))


def _sum(t: Floats, values: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(np.diff(t) * 0.5 * (values[1:] + values[:-1]))))


def car_rows() -> Iterator[Row]:
    """Every figure of the car, then its control."""
    pose = truth()
    got = judge(surveyed(), pose)
    bad = {name: judge(surveyed(spoil, step_mm=COARSE_STEP_MM), pose) for name, spoil in SPOILT.items()}
    upside, tardy, heavy = (bad[name] for name in SPOILT)
    yield at_most("car, 1 km: length", got.length_percent, LENGTH_PERCENT, "%")
    yield at_most("car: interior plan rms, start pose and end point given", got.plan_rms_m, PLAN_M, "m")
    yield at_most("car: the same, the aim of the joint adjustment", got.plan_rms_m, PLAN_BOTH_ENDS_M, "m")
    yield must_fail("car, wheel 0.5 s late: interior plan rms", tardy.plan_rms_m, PLAN_M, "m")
    yield at_least("car: curvature, 2 s means, mean removed: correlation", got.correlation, CORRELATION, "")
    yield at_most("car: the same, rms", got.curvature_rms_1_m, CURVATURE_1_M, "1/m")
    yield must_fail("car, gyro flipped: curvature rms", upside.curvature_rms_1_m, CURVATURE_1_M, "1/m")
    yield at_most("car: gradient, 2 s means, mean removed: rms", got.gradient_rms, GRADIENT, "")
    yield must_fail("car, dv/dt left in: gradient rms", heavy.gradient_rms, GRADIENT, "")
    yield at_most("car: height along 1 km, mean gradient removed: at worst", got.height_max_m, HEIGHT_M, "m")
    yield must_fail("car, dv/dt left in: height at worst", heavy.height_max_m, HEIGHT_M, "m")


def must_fail(what: str, value: float, limit: float, unit: str) -> Row:
    """A control: a spoilt recording that the check must see; holds when the value is beyond the limit.

    >>> must_fail("gyro flipped: rms", 3.0, 1.0, "m").limit
    '> 1 m, or the check is blind'
    """
    return Row(
        what, f"{value:.3g} {unit}".rstrip(), f"> {f'{limit:g} {unit}'.rstrip()}, or the check is blind", value > limit
    )
