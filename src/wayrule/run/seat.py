"""Which way the inertial sensor's axes point in the wagon, and whether its gyro's axes are those of its accelerometer.

The accelerometer's up and forward come from gravity and from driving (`attitude`). Whether the gyro's columns have the
same order and signs is another question: logs are often put together from two chips, or by hand. As the sensor is
tilted, gravity turns in its axes against the gyro's rates,

    df/dt = -omega x f,

and only one of the 48 ways to permute and sign three columns does it justice.
"""

import itertools
from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Recording
from wayrule.model.arrays import Array
from wayrule.model.inertial import WAYS
from wayrule.model.inertial import Seat as Seat
from wayrule.run.attitude import Attitude
from wayrule.units import DEG, G_MM_S2

STEP_S = 0.1
LEAST_TILT_RAD = 30 * DEG
"""Gravity has to turn by so much in the sensor's axes, about two of them, before the axes can be told apart."""
CLEAR = 3.0
"""The best way explains the turning of gravity so many times better (rms left over) than the next that differs."""
MATCHES = 0.35
"""... and leaves no more than this share of it."""


def seat(
    attitude: Attitude | Array,
    gyro: "GyroColumns | None" = None,
    *,
    up_known: bool = True,
    forward_known: bool = True,
) -> Seat:
    """The seat of the sensor in words, from its rotation and from what turning it by hand showed.

    Parameters
    ----------
    attitude : of `find_attitude`, or its rotation (3, 3)
    gyro : of `gyro_columns`; None where no recording tilted the sensor
    up_known, forward_known : whether a rest on the wheels, and a run along the track, have shown it

    Examples
    --------
    >>> turned = seat(np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]))
    >>> turned.points, turned.gyro_known
    (('left', 'backward', 'up'), False)
    """
    rotation = attitude.rotation if isinstance(attitude, Attitude) else attitude
    notes = attitude.notes if isinstance(attitude, Attitude) else ()
    ways = np.vstack([np.eye(3), -np.eye(3)])
    cosines = np.clip(ways @ rotation, -1.0, 1.0)  # (6, 3): of each way with each sensor axis
    nearest = cosines.argmax(axis=0)
    points = (WAYS[nearest[0]], WAYS[nearest[1]], WAYS[nearest[2]])
    off = np.arccos(cosines[nearest, np.arange(3)])
    columns = gyro.columns if gyro is not None else ("+x", "+y", "+z")
    words = ", ".join(
        f"{axis} points {way}" + (f" ({angle / DEG:.0f} deg off)" if angle > 2 * DEG else "")
        for axis, way, angle in zip("xyz", points, off, strict=True)
    )
    untold = [] if forward_known else [NO_FORWARD if up_known else NO_UP]
    text = " ".join([f"Sensor axis {words}.", *untold, gyro.text if gyro is not None else UNTOLD, *notes])
    return Seat(rotation, points, off, columns, gyro is not None, text, up_known, forward_known)


NO_FORWARD = "Which way is forward was not shown and is taken as mounted: a run along the track shows it."
NO_UP = "Neither up nor forward was shown, both are taken as mounted: a run along the track shows them."
UNTOLD = (
    "Whether the gyro's columns are about the same axes was not shown: lay the sensor on several sides as it records."
)


@dataclass(frozen=True, slots=True, eq=False)
class GyroColumns:
    """Order and signs of the gyro's columns against the accelerometer's.

    columns    for each of the accelerometer's axes the gyro's column that reads about it, "+x" by the book
    matrix     (3, 3) that brings the gyro's columns into the accelerometer's axes
    margin     rms left over by the next best way, over that of this one
    text       a sentence, with what to write into the wagon file where they differ
    """

    columns: tuple[str, str, str]
    matrix: Array
    margin: float
    text: str


def gyro_columns(recording: Recording) -> GyroColumns:
    """Order and signs of the gyro's columns, from a sensor that is laid on several sides while it records.

    Raises
    ------
    UndeterminedError   no gyro or accelerometer; gravity did not turn enough, or about one axis only; or no order and
                        signs explain it

    Examples
    --------
    >>> from wayrule.sim.byhand import FACES, laid
    >>> from wayrule.sim.imu import GOOD, draw_imu
    >>> run = laid(draw_imu(GOOD, np.random.default_rng(1)), FACES, np.random.default_rng(2), rest_s=2.0)
    >>> gyro_columns(run).columns
    ('+x', '+y', '+z')
    """
    if recording.gyro_rad_s is None or recording.acc_mm_s2 is None:
        raise _unfit(recording, "a gyro and an accelerometer", "one of them or neither")
    rates, up = _stepped(recording)
    if len(up) < 10:
        raise _unfit(recording, "a second and more", f"{len(up) * STEP_S:.1f} s")
    change = np.diff(up, axis=0)
    middle = 0.5 * (up[1:] + up[:-1])
    seen = 0.5 * (rates[1:] + rates[:-1]) * STEP_S
    about = np.linalg.svd(np.cross(middle, change), compute_uv=False)  # about its three main axes, root of the sum
    turned = np.abs(change).sum()
    if about[1] < 0.1 * about[0] or turned < LEAST_TILT_RAD:
        raise _unfit(recording, "a sensor laid on several sides", f"gravity turned by {turned / DEG:.0f} deg about one")
    tried = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[np.arange(3), order] = signs
            left = change + np.cross(seen @ matrix.T, middle)
            tried.append((float(np.sqrt(np.mean(left**2))), matrix))
    tried.sort(key=lambda one: one[0])
    best, matrix = tried[0]
    margin = tried[1][0] / max(best, 1e-12)
    share = best / float(np.sqrt(np.mean(change**2)))
    if margin < CLEAR and share < MATCHES:
        raise _unfit(recording, "a sensor turned about all three of its axes", "two orders or signs that fit alike")
    if share > MATCHES:
        raise _unfit(
            recording, "one order and sign of the gyro's columns that fits", f"{share:.0%} left over by the best"
        )
    names = [f"{'+' if row.sum() > 0 else '-'}{'xyz'[int(np.abs(row).argmax())]}" for row in matrix]
    columns = (names[0], names[1], names[2])
    return GyroColumns(columns, matrix, margin, _words(columns))


def tilts(recording: Recording) -> bool:
    """Whether the sensor was tilted enough, while it recorded, for `gyro_columns` to be asked.

    >>> tilts(Recording("still", np.arange(99.0), gyro_rad_s=np.zeros((99, 3)), acc_mm_s2=np.full((99, 3), 5700.0)))
    False
    """
    if recording.gyro_rad_s is None or recording.acc_mm_s2 is None:
        return False
    up = _stepped(recording)[1]
    return bool(len(up)) and float(np.min(up @ up[0])) < float(np.cos(LEAST_TILT_RAD))


def _stepped(recording: Recording) -> tuple[Array, Array]:
    """Rates less their median (m, 3) [rad/s], and unit vectors of the specific force (m, 3), over steps of `STEP_S`."""
    assert recording.gyro_rad_s is not None
    assert recording.acc_mm_s2 is not None
    good = np.isfinite(recording.gyro_rad_s).all(axis=1) & np.isfinite(recording.acc_mm_s2).all(axis=1)
    t = recording.t_s[good]
    step = np.floor((t - recording.t_s[0]) / STEP_S).astype(np.int64)
    count = np.bincount(step)
    full = count > 0
    rates, force = (
        np.stack([np.bincount(step, c)[full] / count[full] for c in rows[good].T], axis=1)
        for rows in (recording.gyro_rad_s, recording.acc_mm_s2)
    )
    size = np.linalg.norm(force, axis=1)
    calm = np.abs(size / G_MM_S2 - 1.0) < 0.3
    return (rates - np.median(rates, axis=0))[calm], force[calm] / size[calm][:, None]


def _words(columns: tuple[str, str, str]) -> str:
    if columns == ("+x", "+y", "+z"):
        return "The gyro reads about the same axes, with the same signs."
    wanted = ", ".join(
        f'g{axis}_dps = "{"-" if name[0] == "-" else ""}(the column now called g{name[1]})"'
        for axis, name in zip("xyz", columns, strict=True)
    )
    return f"The gyro's columns are {', '.join(columns)} of the accelerometer's axes: set [columns] to {wanted}."


def _unfit(recording: Recording, expected: str, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=came,
        where=recording.name,
        next_step="lay the sensor on three sides and more, one after the other, while it records",
    )
