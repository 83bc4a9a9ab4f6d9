"""How the wagon's body stands on the track, and what an inertial sensor in it feels.

The body does not follow the track: it follows the chord between its two supports (axles, or pivots of bogies which
themselves follow the chords of their axles).

Legend: psi heading, theta climb (nose up > 0), phi roll (left up > 0) [rad] · R body -> world = Rz(psi) Ry(-theta)
Rx(phi) · omega rate in body axes [rad/s] · f specific force in body axes [mm/s2].
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Wagon
from wayrule.sim.railway import Railway

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Body pose; every array (n,).

    x_mm, y_mm, z_mm   body origin: rail top under the rear axle or rear pivot
    s_front_mm         chainage of the front support
    """

    x_mm: Floats
    y_mm: Floats
    z_mm: Floats
    heading_rad: Floats
    climb_rad: Floats
    roll_rad: Floats
    s_front_mm: Floats


def _support(railway: Railway, s: Floats, play: Floats, bogie_mm: float | None) -> tuple[Floats, Floats]:
    """Rail-top point (n, 3) under an axle or a pivot, and the tilt there (left up > 0) [rad]."""
    points, tilts = [], []
    plays = play if play.ndim == 2 else (play, play)
    for ahead, play in (
        ((0.0, plays[0]),) if bogie_mm is None else zip((-bogie_mm / 2, bogie_mm / 2), plays, strict=True)
    ):
        place = railway.place(s + ahead)
        heading = railway.heading_at(place)
        x, y, z = railway.xyz_at(place)
        points.append(np.stack([x - play * np.sin(heading), y + play * np.cos(heading), z], axis=-1))
        tilts.append(np.arcsin(railway.cant_at(place) / railway.gauge_mm))
    return np.asarray(sum(points) / len(points)), np.asarray(sum(tilts) / len(tilts))


def pose(
    railway: Railway, wagon: Wagon, s_mm: Floats, facing: int, play_rear_mm: Floats, play_front_mm: Floats
) -> Pose:
    """Pose of the body with its origin's support at chainage s.

    Parameters
    ----------
    s_mm : (n,) chainage of the rear support
    facing : +1 when the wagon's front points along growing chainage, else -1
    play_rear_mm, play_front_mm : (n,) sideways place of the supports, towards the left of growing chainage > 0;
        (2, n) for the two axles of a bogie apart, the one at lesser chainage first

    Notes
    -----
    The front support lies where the straight distance from the rear one is the wheelbase; found by fixed-point steps,
    each of which leaves less than 1 % of the error (below 1e-7 mm after three, for curves wider than three wheelbases).
    """
    bogie = wagon.bogie.wheelbase_mm if wagon.bogie else None
    base = wagon.wheelbase_mm
    rear, tilt_rear = _support(railway, s_mm, play_rear_mm, bogie)
    s_front = s_mm + facing * base
    for _ in range(3):
        front, tilt_front = _support(railway, s_front, play_front_mm, bogie)
        s_front = s_front + facing * (base - np.linalg.norm(front - rear, axis=-1))
    front, tilt_front = _support(railway, s_front, play_front_mm, bogie)
    dx, dy, dz = np.moveaxis(front - rear, -1, 0)
    along = railway.heading(s_mm) + (0.0 if facing > 0 else np.pi)
    heading = np.arctan2(dy, dx)
    heading += 2 * np.pi * np.round((along - heading) / (2 * np.pi))
    roll = facing * 0.5 * (tilt_rear + tilt_front)
    x, y, z = np.moveaxis(rear, -1, 0)
    return Pose(x, y, z, heading, np.arctan2(dz, np.hypot(dx, dy)), roll, s_front)


def axes(heading: Floats, climb: Floats, roll: Floats) -> Floats:
    """Rotation body -> world, (n, 3, 3): its columns are the body's x, y and z axes.

    >>> np.round(axes(np.zeros(1), np.full(1, np.pi / 2), np.zeros(1))[0, :, 0], 9).tolist()  # nose straight up
    [0.0, 0.0, 1.0]
    """
    ch, sh, cc, sc, cr, sr = (f(a) for a in (heading, climb, roll) for f in (np.cos, np.sin))
    return np.stack(
        [
            np.stack([ch * cc, -sh * cr - ch * sc * sr, sh * sr - ch * sc * cr], axis=-1),
            np.stack([sh * cc, ch * cr - sh * sc * sr, -ch * sr - sh * sc * cr], axis=-1),
            np.stack([sc, cc * sr, cc * cr], axis=-1),
        ],
        axis=-2,
    )


def rates(heading: Floats, climb: Floats, roll: Floats, dt: float) -> Floats:
    """Angular rate in body axes (n, 3) from the attitude on a time grid [rad/s]."""
    h, c, r = (np.gradient(a, dt) for a in (heading, climb, roll))
    cc, sc, cr, sr = np.cos(climb), np.sin(climb), np.cos(roll), np.sin(roll)
    return np.stack([r + h * sc, -c * cr + h * sr * cc, h * cc * cr + c * sr], axis=-1)


def second_derivative(x: Floats, dt: float) -> Floats:
    """Second derivative of (n, m) by central differences; the ends repeat their neighbours."""
    out = np.empty_like(x)
    out[1:-1] = (x[2:] - 2 * x[1:-1] + x[:-2]) / dt**2
    out[0], out[-1] = out[1], out[-2]
    return out


def specific_force(body: Pose, place_mm: tuple[float, float, float], dt: float, gravity_mm_s2: float) -> Floats:
    """Specific force at a place in the body, in body axes (n, 3) [mm/s2]; at rest on the level (0, 0, +g)."""
    turn = axes(body.heading_rad, body.climb_rad, body.roll_rad)
    at = np.stack([body.x_mm, body.y_mm, body.z_mm], axis=-1) + turn @ np.asarray(place_mm, dtype=float)
    force = second_derivative(at, dt)
    force[:, 2] += gravity_mm_s2
    return np.asarray(np.einsum("nji,nj->ni", turn, force))
