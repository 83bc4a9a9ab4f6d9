"""An indoor robot that comes back to places it knows, 325 m: half of its checked relations mend the other half.

The log has a wheel's path and headings, no accelerometer, and turns on the spot, which no track does: heading is a
smooth function of chainage here. So the path is taken as that of a wheel that runs `OUT_MM` further out in every turn,
and a calibration says how much it gains by that; a turn on the spot is then a bend of that radius, ten wheelbases, and
takes up no length of its own. Truth: relations set by hand from laser scans, apart from the odometry.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row, at_most
from benchmarks.surveying.car import must_fail
from benchmarks.surveying.opendata import ABSENT, DATA, Floats, table
from wayrule.formats.wagonfile import read_wagon
from wayrule.model import Calibration, Facts, Mark, Recording, Relation
from wayrule.model.calibration import CONSTANTS, OPTIONAL
from wayrule.pipeline import cell_size, travel
from wayrule.track.adjust.adjust import Adjusted, adjust
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS, prepare
from wayrule.track.adjust.relations import relation_ties
from wayrule.track.adjust.ties import Moments
from wayrule.track.place import place

FOLDER: Final = "radish_carmen"

WHEELBASE_MM: Final = 200.0
"""Short beside a robot's bends: heading is that of its middle."""

OUT_MM: Final = 10.0 * WHEELBASE_MM

WAGON: Final = f"""
name = "robot"
ratio = 1
gauge_mm = {WHEELBASE_MM}
wheelbase_mm = {WHEELBASE_MM}
[wheel]
scale_sd = 0.02
[imu]
gyro_noise_dps_rthz = 0.1
gyro_scale_sd = 0.01
""".encode()

RATE_HZ: Final = 20.0
"""The log's rows are 0.07 to 3 s apart; between them it is read as going evenly."""

PLACE_SD_MM, HEADING_SD_RAD = 30.0, 0.02
"""How well the relations were set: over less than 0.6 m, where odometry is sure, they differ from it by 0.038 m and
0.9 deg in the mean (the data's README); of two coordinates, and of an angle, that is sd x 1.25 and sd x 0.8."""

LONG_M: Final = 5.0
"""Relations over a longer way close loops; the shorter ones say nothing that the wheel does not."""

HELD_OUT_M, HELD_OUT_DEG = 0.20, 2.0


@cache
def odometry() -> tuple[Floats, Floats, Floats]:
    """Time [s], way gone [mm] and heading [rad] of the log."""
    rows = table(f"{FOLDER}/aces_odometry_at_scans.csv")
    heading = np.unwrap(rows["heading_ccw_rad"])
    middle = 0.5 * (heading[1:] + heading[:-1])
    ahead = np.diff(rows["x_m"]) * np.cos(middle) + np.diff(rows["y_m"]) * np.sin(middle)
    return rows["t_s"], 1000.0 * np.concatenate(([0.0], np.cumsum(ahead))), heading


def run() -> Recording:
    """The log as a recording: the outer wheel's path, the yaw rate; a mark at every moment of a long relation."""
    t_s, way_mm, heading = odometry()
    turned = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(heading)))))
    even = np.arange(t_s[0], t_s[-1], 1.0 / RATE_HZ)
    wheel, yaw = (np.interp(even, t_s, values) for values in (way_mm + OUT_MM * turned, heading))
    gyro = np.zeros((len(even), 3))
    gyro[:, 2] = np.gradient(yaw, even)
    moments = sorted({t for row in long_relations() for t in (row["t1_s"], row["t2_s"])})
    return Recording("robot", even, wheel_mm=wheel, gyro_rad_s=gyro, marks=tuple(Mark(t, f"{t:.6f}") for t in moments))


@cache
def long_relations() -> NDArray[np.void]:
    """Those that close loops, in the order of the file."""
    t_s, way_mm, _ = odometry()
    rows = table(f"{FOLDER}/aces_relations.csv")
    path = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(way_mm))))) / 1000.0
    return np.asarray(rows[np.abs(np.interp(rows["t2_s"], t_s, path) - np.interp(rows["t1_s"], t_s, path)) > LONG_M])


def stated(rows: NDArray[np.void]) -> tuple[Relation, ...]:
    """As facts: poses of the robot's middle are moved back to the rear axle, half a wheelbase behind it."""
    out = []
    for row in rows:
        turn = float(row["dheading_rad"])
        apart = 1000.0 * complex(row["dx_m"], row["dy_m"]) + WHEELBASE_MM / 2 * (1 - np.exp(1j * turn))
        at, to = f"{row['t1_s']:.6f}", f"{row['t2_s']:.6f}"
        one = Relation(
            at, to, apart.real, apart.imag, dheading_rad=turn, sd_mm=PLACE_SD_MM, heading_sd_rad=HEADING_SD_RAD
        )
        out.append(one)
    return tuple(out)


def mirrored(relations: Sequence[Relation]) -> tuple[Relation, ...]:
    """The same with left taken for right."""
    return tuple(replace(one, dy_mm=-one.dy_mm, dheading_rad=-one.dheading_rad) for one in relations)


def outer_wheel() -> Calibration:
    """What the wheel gains in turns is known to a twentieth; of the rest next to nothing."""
    names = tuple(name for name in CONSTANTS if name not in OPTIONAL)
    sds = dict.fromkeys(names, 1e-3) | {"wheel_scale": 0.02, "gyro_scale_z": 0.01, "slip_mm": OUT_MM / 20}
    nothing = np.full(3, math.nan)
    return Calibration(
        wagon_name="robot", wagon_sha256="", diameter_mm=None, names=names,
        values=np.array([-OUT_MM if name == "slip_mm" else 0.0 for name in names]),
        covariance=np.diag([sds[name] ** 2 for name in names]), rotation=np.eye(3), sway_rad=nothing,
        sway_length_mm=nothing, sway_passes=0.0, bias_rad_s=1e-3, bias_runs=1, runs=(), version="",
    )  # fmt: skip


def adjusted(relations: Sequence[Relation]) -> Adjusted:
    """The robot's way, adjusted with these relations."""
    wagon = read_wagon(WAGON, "robot.wagon.toml")
    gone, facts = travel(run(), wagon), Facts(open=True, relations=tuple(relations))
    line = place([gone], facts, wagon.wheelbase_mm, cell_size([gone], wagon.wheelbase_mm))
    return adjust(prepare([gone], wagon, facts, line, outer_wheel()))


def left_over(done: Adjusted, relations: Sequence[Relation]) -> tuple[float, float]:
    """Mean misfit of relations with an adjusted way [m, deg]."""
    u, problem = done.unknowns, done.problem
    moments = Moments(u, problem.settings, problem.travels, [one.sigma for one in done.runs])
    ties = relation_ties(u, relations, moments, u.spline.h * TRACE_STEP_KNOTS)
    x, y, turn = np.array([tie.residual for tie in ties]).reshape(-1, 3).T
    return float(np.mean(np.hypot(x, y))) / 1000.0, float(np.degrees(np.mean(np.abs(turn))))


def by_odometry(relations: Sequence[Relation]) -> tuple[float, float]:
    """Mean misfit of relations with the log as it stands [m, deg]."""
    rows = table(f"{FOLDER}/aces_odometry_at_scans.csv")
    at, to = (np.searchsorted(rows["t_s"], [float(getattr(r, w)) - 1e-4 for r in relations]) for w in ("at", "to"))
    yaw, z = rows["heading_ccw_rad"], 1000.0 * (rows["x_m"] + 1j * rows["y_m"])
    rear = z - WHEELBASE_MM / 2 * np.exp(1j * yaw)
    seen = (rear[to] - rear[at]) * np.exp(-1j * yaw[at])
    off = seen - np.array([complex(one.dx_mm, one.dy_mm) for one in relations])
    turn = np.angle(np.exp(1j * (yaw[to] - yaw[at] - np.array([one.dheading_rad for one in relations]))))
    return float(np.mean(np.abs(off))) / 1000.0, float(np.degrees(np.mean(np.abs(turn))))


def halves() -> tuple[tuple[Relation, ...], tuple[Relation, ...]]:
    """Every second long relation to be stated, and those between them to judge by."""
    whole = stated(long_relations())
    return whole[::2], whole[1::2]


def revisit_rows(*, quick: bool) -> Iterator[Row]:
    """The held-out half by the plain log, with the other half, and with that half mirrored."""
    what = "robot log, 325 m, relations held out"
    if not DATA.is_dir():
        yield Row(what, "", f"<= {HELD_OUT_M:g} m", ok=False, why=ABSENT)
        return
    told, held_out = halves()
    plain_m, plain_deg = by_odometry(held_out)
    off_m, off_deg = left_over(adjusted(told), held_out)
    yield at_most(f"{what}: mean, {plain_m:.1f} m by the plain log", off_m, HELD_OUT_M, "m")
    yield at_most(f"{what}: mean heading, {plain_deg:.0f} deg by the plain log", off_deg, HELD_OUT_DEG, "deg")
    if not quick:
        yield must_fail(f"{what}, none stated: mean", left_over(adjusted(()), held_out)[0], HELD_OUT_M, "m")
        wrong = left_over(adjusted(mirrored(told)), held_out)[0]
        yield must_fail(f"{what}, left taken for right in those stated: mean", wrong, HELD_OUT_M, "m")
