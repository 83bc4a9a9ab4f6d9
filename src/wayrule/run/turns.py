"""Gyro scale and what its axes see of each other, from whole turns on a turntable.

Between two standstills the wagon turned by exactly N turns about the table's axis, which is fixed in the wagon, so the
integral of the readings is 2 pi N times the gyro matrix times that axis. Turned upright, the accelerometer averages the
table's own tilt out as well.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.model import Recording, Shown
from wayrule.model.arrays import Array
from wayrule.run.bridge import less_bias
from wayrule.run.state import QUIET_RATE_RAD_S
from wayrule.units import DEG, G_MM_S2

MARK_SD_RAD = 0.3 * DEG
"""How well a hand brings the table back to its mark: 1 mm on a radius of 200 mm (common practice, no source)."""
STANCE_SD_RAD = 3e-3
"""How square the rails lie to the table's axis: 0.2 mm under a wheelbase of 65 mm (common practice, no source)."""
STILL_S = 1.5
"""A standstill at either end lasts at least so long."""
WRONG_TURNS = 0.1
"""No gyro's scale is off by more than this: beyond it the turns were miscounted."""
REST_SD_MM_S2 = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Turned:
    """What whole turns have shown.

    turns              as counted by the gyro, signed: left > 0 about the axis that was up
    axis               0, 1, 2: which body axis the wagon turned about
    scale, scale_sd    of that gyro axis, less one
    shown              the same as news of constants, with what else the turns told
    """

    turns: int
    axis: int
    scale: float
    scale_sd: float
    shown: Shown


def table_turns(
    recording: Recording, rotation: Array, *, turns: int | None = None, mark_sd_rad: float = MARK_SD_RAD
) -> Turned:
    """Gyro scale from whole turns on a turntable, with a standstill before and after.

    Parameters
    ----------
    rotation : (3, 3)      sensor axes to body axes
    turns : int            whole turns either way; None: as the gyro says, to the nearest whole one
    mark_sd_rad : float    how well the table was brought back to its mark

    Returns
    -------
    Turned   upright it speaks of gyro_scale_z, cross_x, cross_y and, with an accelerometer, level_x, level_y; on a side
             or end, of that axis' scale only, since nobody knows how squarely the wagon then stood

    Raises
    ------
    UndeterminedError   no gyro, no standstill at both ends, no whole turn, or another number than stated

    Notes
    -----
    How the wagon leans on the table acts on cross_x and level_x alike (`STANCE_SD_RAD`): the covariance says so.
    """
    if recording.gyro_rad_s is None:
        raise _unfit(recording, "a gyro", "a recording without one")
    good = np.asarray(np.isfinite(recording.gyro_rad_s).all(axis=1))
    t, rates = recording.t_s[good], recording.gyro_rad_s[good] @ rotation.T
    before, after = _ends(recording, t, rates)
    bias, bias_sd = less_bias(t, rates, before, after)
    angle = np.concatenate([np.zeros((1, 3)), np.cumsum(0.5 * (bias[1:] + bias[:-1]) * np.diff(t)[:, None], axis=0)])
    total = angle[-1]
    axis = int(np.argmax(np.abs(total)))
    whole = _whole(recording, float(total[axis]), turns)
    size = 2 * np.pi * abs(whole)
    seconds = float(t[after.start] - t[before.stop - 1])
    scale = float(np.linalg.norm(total) if axis != 2 else abs(total[2])) / size - 1.0
    noise = bias_sd * seconds / size
    scale_sd = float(np.hypot(mark_sd_rad / size, noise[axis]))
    if axis != 2:
        shown = _scale_only(recording, axis, scale, scale_sd, whole)
    else:
        level = _levels(recording, rotation, good, angle[:, 2], rates[:, 2])
        shown = _upright(recording, whole, scale, scale_sd, total[:2] / total[2], noise[:2], level)
    return Turned(whole, axis, scale, scale_sd, shown)


def _ends(recording: Recording, t: Array, rates: Array) -> tuple[slice, slice]:
    """Rows of the standstills at both ends."""
    block = np.floor((t - t[0]) / 0.25).astype(np.int64) if len(t) else np.zeros(0, dtype=np.int64)
    count = np.maximum(np.bincount(block), 1)[:, None]
    mean = np.stack([np.bincount(block, c) for c in rates.T], axis=1) / count
    first = np.median(mean[: int(STILL_S / 0.25)], axis=0)
    still = np.asarray((np.abs(mean - first) < 2 * QUIET_RATE_RAD_S).all(axis=1))
    moves = np.flatnonzero(~still)
    if not len(moves) or moves[0] * 0.25 < STILL_S or (len(still) - 1 - moves[-1]) * 0.25 < STILL_S:
        raise _unfit(recording, f"turns between two standstills of {STILL_S:g} s and more", "none at one of its ends")
    return slice(0, int(np.searchsorted(block, moves[0] - 1))), slice(
        int(np.searchsorted(block, moves[-1] + 2)), len(t)
    )


def _whole(recording: Recording, total_rad: float, turns: int | None) -> int:
    counted = total_rad / (2 * np.pi)
    whole = round(counted) if turns is None else int(np.copysign(abs(turns), counted))
    if whole == 0 or abs(counted / whole - 1.0) > WRONG_TURNS:
        stated = "one or more whole turns" if turns is None else f"{abs(turns)} whole turns"
        raise _unfit(recording, f"{stated} on the turntable", f"{abs(counted):.2f} by the gyro")
    return whole


def _unfit(recording: Recording, expected: str, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=came,
        where=recording.name,
        next_step="let the wagon stand on the table for five seconds, turn it by whole turns to its mark, let it stand",
    )


def _levels(
    recording: Recording, rotation: Array, good: NDArray[np.bool_], psi: Array, rate: Array
) -> tuple[Array, Array] | None:
    """(2,) forward and left specific force less what turns with the table, and sd; None without an accelerometer.

    Regressed on 1, cos psi, sin psi (the table's tilt), rate^2 (centripetal) and the rate's change (swing).
    """
    if recording.acc_mm_s2 is None:
        return None
    force = (recording.acc_mm_s2[good] @ rotation.T)[:, :2]
    swing = np.gradient(rate, recording.t_s[good])
    rows = np.column_stack([np.ones_like(psi), np.cos(psi), np.sin(psi), rate**2, swing])
    known = np.isfinite(force).all(axis=1)
    step = np.floor((recording.t_s[good] - recording.t_s[good][0]) / 0.25).astype(np.int64)[known]
    count = np.bincount(step)
    full = count > 0.5 * count.max()
    mean_rows, mean_force = (
        np.stack([np.bincount(step, c)[full] / count[full] for c in values[known].T], axis=1)
        for values in (rows, force)
    )
    inverse = np.linalg.pinv(mean_rows.T @ mean_rows)
    fit = inverse @ mean_rows.T @ mean_force
    spread = (mean_force - mean_rows @ fit).std(axis=0, ddof=5)
    return fit[0], np.hypot(spread * np.sqrt(inverse[0, 0] * 2.0), REST_SD_MM_S2)


def _scale_only(recording: Recording, axis: int, scale: float, sd: float, whole: int) -> Shown:
    name = f"gyro_scale_{'xyz'[axis]}"
    sd = float(np.hypot(sd, 1e-4))  # the wagon leans by a degree: 1.5e-4
    text = (
        f"Gyro scale about {'xyz'[axis]} {scale * 100:+.3f} +- {sd * 100:.3f} % from {abs(whole)} turns of the table."
    )
    runs = ((recording.name, recording.sha256),)
    return Shown("whole turns", (name,), np.eye(1), np.array([scale]), np.array([[sd**2]]), runs, text)


def _upright(
    recording: Recording,
    whole: int,
    scale: float,
    scale_sd: float,
    cross: Array,
    cross_sd: Array,
    level: tuple[Array, Array] | None,
) -> Shown:
    names: tuple[str, ...] = ("gyro_scale_z", "cross_x", "cross_y")
    values = np.concatenate([[scale], cross])
    covariance = np.diag(np.concatenate([[scale_sd**2], cross_sd**2 + STANCE_SD_RAD**2]))
    text = (
        f"Gyro scale {scale * 100:+.3f} +- {scale_sd * 100:.3f} % from {abs(whole)} turns of the table; the roll axis "
        f"sees {cross[0] * 100:+.2f} % of the turning, the pitch axis {cross[1] * 100:+.2f} %."
    )
    if level is not None:
        names, values = (*names, "level_x", "level_y"), np.concatenate([values, level[0]])
        wide = np.diag(np.concatenate([np.zeros(3), level[1] ** 2 + (STANCE_SD_RAD * G_MM_S2) ** 2]))
        wide[:3, :3] = covariance
        # nose up by d: the roll axis sees +d of the turning and f_x = +d g; left up by d: pitch sees d, f_y = +d g
        for k in (0, 1):
            wide[1 + k, 3 + k] = wide[3 + k, 1 + k] = STANCE_SD_RAD**2 * G_MM_S2
        covariance = wide
    runs = ((recording.name, recording.sha256),)
    return Shown("whole turns", names, np.eye(len(names)), values, covariance, runs, text)
