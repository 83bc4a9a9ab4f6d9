"""Sensor axes to body axes: which axis is up, which is forward. Coarse on purpose.

The fine mounting angles are left in: cant, gradient and mounting are estimated together later, and gravity at one place
of the track is no true vertical of the wagon.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model.arrays import Array
from wayrule.run.forward import Evidence, forward_evidence
from wayrule.units import G_MM_S2

SNAP_RAD = float(np.radians(20.0))
"""A sensor axis this close to gravity is the up axis itself; no model wagon stands as crooked on its track."""
REMARK_RAD = float(np.radians(10.0))
"""... and beyond this the tilt of the mounting is remarked on."""
AS_MOUNTED = "as mounted"
LEAST_YAW_SD_RAD = float(np.radians(5.0))
"""Only evidence this sharp turns the forward direction by something else than a quarter turn."""


@dataclass(frozen=True, slots=True, eq=False)
class Attitude:
    """How the inertial sensor sits in the body.

    rotation    (3, 3) sensor axes -> body axes
    flip_wheel  True where the wheel's forward is backward: distance and speed change sign
    answer      which way is forward, in a few words
    notes       what was found and how strong the evidence is; the last one says why that way is forward
    """

    rotation: Array
    flip_wheel: bool
    answer: str
    notes: tuple[str, ...]


def up_rotation(mean_force: Array, run: str = "run") -> tuple[Array, float]:
    """The least rotation that brings the sensor's up axis to body z.

    Parameters
    ----------
    mean_force : (3,) array   mean specific force in sensor axes [any unit]; at rest it points up

    Returns
    -------
    rotation : (3, 3) array   a signed permutation where an axis is within `SNAP_RAD` of gravity, else a full rotation
    tilt_rad : float          angle between gravity and the nearest sensor axis

    Raises
    ------
    UndeterminedError   a mean force that is no gravity

    Examples
    --------
    >>> up_rotation(np.array([0.0, 9.8, 0.1]))[0].round(9).astype(int).tolist()  # lying on its side: y is up
    [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    """
    size = float(np.linalg.norm(mean_force))
    if not np.isfinite(size) or size == 0.0:
        raise UndeterminedError(
            expected="an accelerometer that feels gravity",
            came=f"a mean specific force of {size:.3g}",
            where=run,
            next_step="check the accelerometer's columns and units",
        )
    up = mean_force / size
    axis = int(np.argmax(np.abs(up)))
    tilt = float(np.arccos(min(1.0, abs(up[axis]))))
    if tilt <= SNAP_RAD:
        up = np.sign(up[axis]) * np.eye(3)[axis]
    return _least_rotation(up), tilt


def find_attitude(
    t_s: Array,
    v_mm_s: Array,
    gyro_rad_s: Array | None,
    acc_mm_s2: Array | None,
    *,
    can_flip: bool,
    direction_known: bool,
    as_mounted: bool = False,
    run: str = "run",
) -> Attitude:
    """Rotation from sensor to body axes, and whether the wheel's forward has to be turned round.

    Parameters
    ----------
    t_s, v_mm_s : (n,) arrays     time and signed speed
    gyro_rad_s : (n, 3) array     in sensor axes, or None
    acc_mm_s2 : (n, 3) array      in sensor axes, or None
    can_flip : bool               the wheel's sign rests on mounting only (field, encoder): evidence overrules it
    direction_known : bool        False: the wheel's sign is a guess and gives way to weaker evidence

    as_mounted : bool             a person says that forward is as mounted: no evidence is asked

    Notes
    -----
    Up is the sensor axis nearest to the mean specific force less dv/dt and v x omega (`mean_gravity`). Forward is a
    quarter turn as `run.forward` shows it; a sensor whose z is up is taken as mounted unless the evidence is strong.
    """
    whole = np.zeros(0, dtype=bool) if acc_mm_s2 is None else np.isfinite(acc_mm_s2).all(axis=1)
    if acc_mm_s2 is None or not whole.any():
        return Attitude(
            np.eye(3),
            False,
            AS_MOUNTED,
            ("No accelerometer of three axes: sensor axes are taken for body axes, forward as mounted.",),
        )
    rates = np.zeros_like(acc_mm_s2) if gyro_rad_s is None else np.nan_to_num(gyro_rad_s)
    dv_dt = np.gradient(v_mm_s, t_s)
    force = acc_mm_s2[whole].mean(axis=0)
    for _ in range(2):  # the second time with the accelerations taken out that the wheel knows
        rotation, tilt = up_rotation(force, run)
        size = float(np.linalg.norm(force))
        yaw, flip, note = 0.0, False, "Forward as mounted, as stated."
        if not as_mounted:
            evidence = forward_evidence(t_s, v_mm_s, rates @ rotation.T, acc_mm_s2 @ rotation.T)
            yaw, flip, note = _resolve(evidence, bool(rotation[2, 2] > 0.5), can_flip, direction_known)
        to_body = _about_z(-yaw) @ rotation
        sign = -1.0 if flip else 1.0
        force = to_body.T @ mean_gravity(sign * v_mm_s, sign * dv_dt, rates @ to_body.T, acc_mm_s2 @ to_body.T)
    return Attitude(to_body, flip, _answer(yaw, flip), (_up_note(rotation, tilt, size), note))


def _answer(yaw_rad: float, flip: bool) -> str:
    """Which way is forward, in a few words."""
    if flip:
        return "the wheel turned round"
    return f"the inertial sensor turned by {np.degrees(yaw_rad):.0f} deg about up" if yaw_rad else AS_MOUNTED


def mean_gravity(v_mm_s: Array, dv_dt_mm_s2: Array, gyro_rad_s: Array, acc_mm_s2: Array) -> Array:
    """Mean specific force in body axes with the accelerations that the wheel knows taken out, (3,) [mm/s2].

    For a body rolling along its x: a = (dv/dt, v gz, -v gy).

    Examples
    --------
    >>> v, turn = np.full(9, 200.0), np.tile([0.0, 0.0, 0.5], (9, 1))
    >>> mean_gravity(v, np.zeros(9), turn, np.tile([0.0, 100.0, 9806.65], (9, 1))).tolist()
    [0.0, 0.0, 9806.65]
    """
    known = np.column_stack([dv_dt_mm_s2, v_mm_s * gyro_rad_s[:, 2], -v_mm_s * gyro_rad_s[:, 1]])
    return np.asarray(np.nanmean(acc_mm_s2 - known, axis=0))


def _resolve(
    evidence: Evidence | None, nominal_up: bool, can_flip: bool, direction_known: bool
) -> tuple[float, bool, str]:
    """Angle of forward in the levelled axes [rad], whether to flip the wheel, and the note."""
    if evidence is None:
        return 0.0, False, "Forward as mounted; the speed changes too little to check it by the accelerometer."
    angle = evidence.angle_rad
    quarter = float(np.round(angle / (np.pi / 2)) * (np.pi / 2))
    near_quarter = abs(angle - quarter) < SNAP_RAD
    if not nominal_up and evidence.leaning and near_quarter:
        note = f"Forward is {np.degrees(quarter):.0f} deg from the least turned axis, by the wheel ({evidence.words})."
        return quarter, False, note
    if not evidence.strong:
        backward = abs(abs(angle) - np.pi) < np.pi / 4
        if not direction_known and nominal_up and backward and 3.0 * evidence.sd_rad < np.pi / 2:
            return 0.0, True, f"Forward was not known; weak accelerometer evidence ({evidence.words}) turned it round."
        return 0.0, False, f"Forward as mounted; accelerometer evidence too weak to check it ({evidence.words})."
    if near_quarter and quarter == 0.0:
        return 0.0, False, f"Forward as mounted, confirmed by the accelerometer ({evidence.words})."
    if near_quarter and abs(quarter) > 3.0 and nominal_up and can_flip:
        note = f"The accelerometer contradicts the wheel's forward ({evidence.words}): the wheel was turned round."
        return 0.0, True, note
    if near_quarter or evidence.sd_rad < LEAST_YAW_SD_RAD:
        yaw = quarter if near_quarter else angle
        note = f"The inertial sensor is turned by {np.degrees(yaw):.0f} deg about up, by the wheel ({evidence.words})."
        return yaw, False, note
    return 0.0, False, f"The accelerometer points to no axis as forward ({evidence.words}); nothing was turned."


def _up_note(rotation: Array, tilt_rad: float, size_mm_s2: float) -> str:
    names = ("x", "y", "z")
    axis = int(np.argmax(np.abs(rotation[2])))
    signed = ("+" if rotation[2, axis] > 0 else "-") + names[axis]
    text = (
        f"Sensor axis {signed} is up, gravity {np.degrees(tilt_rad):.1f} deg from it and {size_mm_s2 / G_MM_S2:.4f} g."
    )
    if tilt_rad > SNAP_RAD:
        return text + " No axis is near the vertical: the full rotation was taken, with the forward least turned."
    return text + (" A crooked mounting; it is left to the adjustment." if tilt_rad > REMARK_RAD else "")


def _least_rotation(up: Array) -> Array:
    """The smallest rotation that takes unit vector `up` to z (Rodrigues); upside down it is half a turn about x."""
    cosine = float(up[2])
    if cosine < -1.0 + 1e-12:
        return np.diag([1.0, -1.0, -1.0])
    x, y = float(up[1]), -float(up[0])  # up x z, the axis times the sine
    cross = np.array([[0.0, 0.0, y], [0.0, 0.0, -x], [-y, x, 0.0]])
    rotation: Array = np.eye(3) + cross + cross @ cross / (1.0 + cosine)
    return rotation


def _about_z(angle_rad: float) -> Array:
    """Rotation of vectors by an angle about z."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.round(np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), 15)
