"""What laps and curves tell of the inertial sensor: gyro scale from closed laps, its tilt from turning in curves.

In a curve the roll axis reads psi' (alpha + cross_x) beside the body's own rolling, which comes to nothing between two
standstills but for the difference of their cant; and the accelerometer reads g alpha + level_x. So

    cross_x - level_x / g = (integral of roll rate - change of roll) / turned - mean over the turning of force_x / g

with the accelerations that the wheel knows taken off the force; likewise for the pitch axis. Tilt of the mounting drops
out of this: it is the accelerometer's own offset, seen by a gyro. Kinematics as in `track.adjust.gyro` and `.force`
(Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2).
"""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import BodyImu, Shown, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.run.bridge import less_bias
from wayrule.run.state import standstills
from wayrule.units import G_MM_S2

MISS_SD_MM = 3.0
"""How near to its start a run of laps ends, where nobody says (common practice, no source)."""
PLAY_SD_RAD = 0.003
"""How much the body's heading differs between two standings at one place, by flange play (0.2 mm in 65 mm)."""
TILT_SHARE = 1e-4
"""What is left of it when the body's lean in curves was taken from the accelerometer (1 - cos of 0.014 rad)."""
CANTED_SHARE = 1e-3
"""A body on canted track turns by 1 - cos(roll) less about its own upright: 0.1 % at a cant of 0.8 mm in 16.5."""
STRAIGHT_SHARE, MOST_CROSS = 0.2, 0.1
"""A stretch is straight where the wagon turns by less than this share of what it does in bends; a mounting that is more
crooked than the second [rad] is remarked on elsewhere."""
WRONG_TURNS = 0.07
"""Beyond this the run did not turn by whole turns."""
CURVE_SD_RAD = 5e-4
"""What the kinematics leave out of a curve's tilt: play, slip, the yaw of the mounting (0.3 mrad; simulated runs)."""
LEAST_TURNED_RAD = 1.5
"""A run turns by so much at least, one way more than the other, before its curves tell of the tilt."""


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """What one run's turning has shown.

    turns              whole turns, left > 0; 0 where only the curves were used
    scale, scale_sd    of the yaw gyro, less one; NaN without whole turns
    offset_mm_s2, offset_sd_mm_s2   (2,) level - g cross: the accelerometer's own offset forward and left as the gyro
                       sees it; NaN without an accelerometer
    shown              the same as news of constants
    """

    turns: int
    scale: float
    scale_sd: float
    offset_mm_s2: Array
    offset_sd_mm_s2: Array
    shown: Shown


def curves(travel: Travel, wagon: Wagon, *, closed: bool, sha256: str = "", miss_sd_mm: float = MISS_SD_MM) -> Curves:
    """Gyro scale from whole laps, and the accelerometer's offset from turning in curves.

    Parameters
    ----------
    travel : with a standstill at both ends
    closed : the run ends where it began, whole laps later
    sha256 : of the recording, for `Shown.runs`
    miss_sd_mm : how near to its start it ends

    Raises
    ------
    UndeterminedError   no gyro or no standstill; laps that turn by no whole turns (a figure of eight); a run that is
                        neither closed nor turns by 1.5 rad to one side
    """
    imu = travel.imu
    if imu is None:
        raise _unfit(travel, "a gyro", "none")
    before, after = _ends(travel)
    all_rates, bias_sd = less_bias(travel.t_s, _bridged(imu.gyro_rad_s), before, after)
    first, last = (before.start + before.stop) // 2, (after.start + after.stop) // 2
    t, rates = travel.t_s[first:last], all_rates[first:last]
    total = np.asarray(np.trapezoid(rates, t, axis=0))
    turns = _whole(travel, float(total[2])) if closed else 0
    if abs(total[2]) < LEAST_TURNED_RAD:
        raise _unfit(travel, "a run that turns to one side more than to the other", f"{np.degrees(total[2]):.0f} deg")
    bias_sd = bias_sd * (t[-1] - t[0])
    offset, offset_sd, upright = _offset(travel, wagon, (first, last), rates, total)
    offset_sd = np.hypot(offset_sd, np.hypot(bias_sd[:2] / abs(total[2]), CURVE_SD_RAD) * G_MM_S2)
    scale, scale_sd = np.nan, np.nan
    if turns:
        size = 2 * np.pi * abs(turns)
        scale = float(abs(total[2])) / (size * upright) - 1.0
        miss = np.hypot(PLAY_SD_RAD, _curvature_at_start(travel) * miss_sd_mm)
        tilt = TILT_SHARE if np.isfinite(offset).all() else CANTED_SHARE
        scale_sd = float(np.hypot(np.hypot(bias_sd[2], miss) / size, tilt))
    shown = _news(travel, turns, (scale, scale_sd), (offset, offset_sd), sha256)
    return Curves(turns, scale, scale_sd, offset, offset_sd, shown)


def _ends(travel: Travel) -> tuple[slice, slice]:
    """Rows of the first and the last standstill, their rolling edges cut off."""
    still = [
        slice(a + (b - a) // 10 if a else 0, b - (b - a) // 10 if b < len(travel.t_s) else b)
        for a, b in standstills(travel.state)
    ]
    still = [one for one in still if one.stop - one.start >= 10]
    if len(still) < 2 or travel.t_s[still[0].start] - travel.t_s[0] > 0.5 * (travel.t_s[-1] - travel.t_s[0]):
        raise _unfit(travel, "a standstill before and after", "one or none")
    return still[0], still[-1]


def _bridged(values: Array) -> Array:
    """Missing samples filled by straight lines."""
    out = values.copy()
    row = np.arange(len(out))
    for column in out.T:
        known = np.isfinite(column)
        if known.any() and not known.all():
            column[~known] = np.interp(row[~known], row[known], column[known])
    return out


def _whole(travel: Travel, total_rad: float) -> int:
    counted = total_rad / (2 * np.pi)
    whole = round(counted)
    if whole == 0 or abs(counted / whole - 1.0) > WRONG_TURNS:
        raise _unfit(travel, "laps that turn by whole turns", f"{counted:.2f} turns by the gyro")
    return whole


def _curvature_at_start(travel: Travel) -> float:
    """Size of the line's curvature where the run began, over the first stretch rolled (1/mm)."""
    assert travel.imu is not None
    rolled = np.abs(travel.distance_mm - travel.distance_mm[0])
    near = (rolled > 0.5) & (rolled < 40.0) & np.isfinite(travel.imu.gyro_rad_s[:, 2])
    if near.sum() < 5:
        return 0.0
    t = travel.t_s[near]
    rate = travel.imu.gyro_rad_s[near, 2] - np.nan_to_num(travel.imu.gyro_bias_rad_s[2])
    return float(abs(np.trapezoid(rate, t)) / max(float(np.ptp(rolled[near])), 1.0))


def _offset(
    travel: Travel, wagon: Wagon, rows: tuple[int, int], rates: Array, total: Array
) -> tuple[Array, Array, float]:
    """(2,) level - g cross [mm/s2], the part of its sd that is the accelerometer's, and the mean cosine of the body's
    lean over the turning, by which the yaw axis reads less."""
    imu = travel.imu
    assert imu is not None
    if imu.acc_mm_s2 is None or not np.isfinite(imu.acc_mm_s2).all(axis=1).any():
        return np.full(2, np.nan), np.full(2, np.nan), 1.0
    first, last = rows
    t, v = travel.t_s[first:last], travel.speed_mm_s[first:last]
    place = wagon.imu.place_mm or (wagon.wheelbase_mm / 2, 0.0, 0.0)
    turning = rates[:, 2]
    # the body's chord leads the path by half a wheelbase; the sensor sits place_mm ahead of the rear axle
    known = np.column_stack([np.gradient(v, t) + turning**2 * (wagon.wheelbase_mm / 2 - place[0]), v * turning])
    force = _bridged(imu.acc_mm_s2[first:last, :2]) - known
    mean = np.asarray(np.trapezoid(force * turning[:, None], t, axis=0)) / total[2]
    rest = _rest_force(imu, travel)
    # at rest force_y / g is the roll, force_x / g the climb; the roll axis reads d(roll), the pitch axis -d(climb)
    change = (rest[1] - rest[0]) / G_MM_S2
    seen = (total[:2] - np.array([change[1], -change[0]])) / total[2]
    scatter = force.std(axis=0) * np.sqrt(0.1 / (t[-1] - t[0]))  # what shakes is forgotten within a tenth of a second
    offset = mean - G_MM_S2 * seen
    lean = (force - offset) / G_MM_S2
    return offset, scatter + 2.0 / abs(total[2]), _upright(t, v, turning, lean, float(total[2]))


def _upright(t: Array, v: Array, turning: Array, lean: Array, total_rad: float) -> float:
    """Mean over the turning of cos rho cos alpha - cross_x sin alpha - cross_y sin rho: what the yaw axis reads of it.

    `lean` (n, 2) is climb and roll as the gyro's axes have them, alpha + cross_x and rho + cross_y. The mean of its
    cosine lacks half of cross squared; over the way of a closed line climb averages out, on its straights so does roll.
    """
    way = np.abs(v)
    bends = np.abs(turning) > STRAIGHT_SHARE * np.quantile(np.abs(turning), 0.9)
    straight = np.where(bends, 0.0, way)
    cross = np.array(
        [
            np.average(lean[:, 0], weights=way) if way.sum() > 0 else 0.0,
            np.average(lean[:, 1], weights=straight) if straight.sum() > 0 else 0.0,
        ]
    )
    mean = float(np.trapezoid(np.cos(lean).prod(axis=1) * turning, t)) / total_rad
    return mean + 0.5 * float(np.sum(np.clip(cross, -MOST_CROSS, MOST_CROSS) ** 2))


def _rest_force(imu: BodyImu, travel: Travel) -> Array:
    """(2, 2) mean forward and left force in the first and the last standstill."""
    assert imu.acc_mm_s2 is not None
    still = standstills(travel.state)
    return np.array([np.nanmean(imu.acc_mm_s2[a:b, :2], axis=0) for a, b in (still[0], still[-1])])


def _news(travel: Travel, turns: int, scale: tuple[float, float], offset: tuple[Array, Array], sha256: str) -> Shown:
    names = ("gyro_scale_z", "cross_x", "cross_y", "level_x", "level_y")
    matrix = np.array([[1.0, 0, 0, 0, 0], [0, -G_MM_S2, 0, 1.0, 0], [0, 0, -G_MM_S2, 0, 1.0]])
    values = np.concatenate([[scale[0]], offset[0]])
    sd = np.concatenate([[scale[1]], offset[1]])
    known = np.isfinite(values) & np.isfinite(sd)
    if not known.any():
        raise _unfit(travel, "whole laps, or an accelerometer", "neither")
    words = []
    if turns:
        words.append(f"Gyro scale {scale[0] * 100:+.3f} +- {scale[1] * 100:.3f} % from {abs(turns)} whole turns.")
    if known[1]:
        mg = offset[0] / G_MM_S2 * 1000, offset[1] / G_MM_S2 * 1000
        words.append(
            "Turning in curves shows the accelerometer's own offset: "
            + " and ".join(f"{b:+.1f} +- {s:.1f} mg {w}" for b, s, w in zip(*mg, ("forward", "left"), strict=True))
            + "."
        )
    return Shown(
        "laps" if turns else "curves", names, matrix[known], values[known], np.diag(sd[known] ** 2),
        ((travel.run, sha256),), " ".join(words),
    )  # fmt: skip


def _unfit(travel: Travel, expected: str, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=came,
        where=travel.run,
        next_step="run whole laps of a ring or oval, with five seconds of standstill before and after",
    )
