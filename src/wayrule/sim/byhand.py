"""A wagon in the hand: laid on its sides, turned on a turntable, left to rest. From a specimen to its recording."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from wayrule.model import Recording
from wayrule.sim.imu import ImuSpecimen, coarse_axes, low_pass, read
from wayrule.sim.motion import smoothstep

Floats = NDArray[np.float64]

GRAVITY_MM_S2: Final = 9811.0
"""As along the simulated railways."""

FACES: Final = (
    (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0),
)  # fmt: skip
CORNERS: Final = ((1.0, 1.0, 1.0), (-1.0, -1.0, 1.0), (1.0, -1.0, -1.0), (-1.0, 1.0, -1.0))
"""Which way up in the body's axes: six faces, and four corners that no two share an edge of."""


def laid(
    specimen: ImuSpecimen,
    ups: Sequence[tuple[float, float, float]],
    rng: np.random.Generator,
    *,
    askew_rad: float = 0.1,
    rest_s: float = 8.0,
    rate_hz: float = 200.0,
    axes: tuple[str, str, str] = ("x", "y", "z"),
    name: str = "laid",
) -> Recording:
    """Laid still with each of `ups` upwards in turn, within `askew_rad` (sd), and turned by hand between.

    >>> from wayrule.sim import GOOD
    >>> from wayrule.sim.imu import draw_imu
    >>> run = laid(draw_imu(GOOD, np.random.default_rng(1)), FACES, np.random.default_rng(2))
    >>> round(run.t_s[-1]), np.abs(np.round(run.acc_mm_s2[400] / 9811.0)).tolist()
    (55, [1.0, 0.0, 0.0])
    """
    poses = []
    for up in ups:
        toward = np.asarray(up) / np.linalg.norm(up)
        wanted, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [toward])
        poses.append(Rotation.from_rotvec(rng.normal(0.0, askew_rad, 3)) * wanted)
    n_rest, n_move = round(rest_s * rate_hz), round(1.5 * rate_hz)
    turn, rate = [], []
    ease = smoothstep(np.linspace(0.0, 1.0, n_move))
    for here, there in zip(poses, [*poses[1:], None], strict=True):
        turn.append(np.repeat(here.as_matrix()[None], n_rest, axis=0))
        rate.append(np.zeros((n_rest, 3)))
        if there is not None:
            step = (here.inv() * there).as_rotvec()  # in body axes
            turn.append((here * Rotation.from_rotvec(ease[:, None] * step)).as_matrix())
            rate.append(np.gradient(ease)[:, None] * rate_hz * step)
    body = np.concatenate(turn)
    return _read(specimen, np.concatenate(rate), body[:, 2, :] * GRAVITY_MM_S2, rng, rate_hz, axes, name)


def on_table(
    specimen: ImuSpecimen,
    turns: float,
    rng: np.random.Generator,
    *,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    table_rad: tuple[float, float] = (0.01, -0.006),
    stance_rad: tuple[float, float] = (0.0, 0.0),
    turn_s: float = 6.0,
    place_mm: tuple[float, float] = (20.0, 5.0),
    rest_s: float = 8.0,
    rate_hz: float = 200.0,
    axes: tuple[str, str, str] = ("x", "y", "z"),
    name: str = "table",
) -> Recording:
    """Turned by hand on a turntable by `turns` (left > 0), at rest before and after.

    Parameters
    ----------
    up : which way up the wagon stands on it; table_rad: how far the table leans, about world x and y
    stance_rad : how the wagon leans on the table, nose up and left side up
    turn_s : for one turn, by a hand that is not even; place_mm: of the sensor from the table's middle
    """
    n_turn = max(round(abs(turns) * turn_s * rate_hz), 2)
    pace = 1.0 + 0.3 * CubicSpline(np.linspace(0, 1, 9), rng.standard_normal(9))(np.linspace(0, 1, n_turn))
    u = np.linspace(0.0, 1.0, n_turn)
    pace = np.clip(pace, 0.2, None) * smoothstep(u * 12) * smoothstep((1 - u) * 12)
    psi = np.concatenate([[0.0], np.cumsum(pace)[:-1]])
    psi *= 2 * np.pi * turns / psi[-1]
    still = round(rest_s * rate_hz)
    psi = np.concatenate([np.zeros(still), psi, np.full(still, psi[-1])])
    rate = np.gradient(psi) * rate_hz
    table = Rotation.from_rotvec([table_rad[0], table_rad[1], 0.0])
    stands, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [np.asarray(up) / np.linalg.norm(up)])
    leans = Rotation.from_rotvec([stance_rad[1], -stance_rad[0], 0.0])
    turned = Rotation.from_rotvec(psi[:, None] * [0.0, 0.0, 1.0])
    body = (table * turned * (leans * stands)).as_matrix()
    to_table = (leans * stands).as_matrix()  # body axes -> axes that turn with the table
    force = body[:, 2, :] * GRAVITY_MM_S2
    x, y = place_mm
    swing = np.gradient(rate) * rate_hz
    force = (
        force + np.stack([-swing * y - rate**2 * x, swing * x - rate**2 * y, np.zeros_like(rate)], axis=1) @ to_table
    )
    return _read(specimen, rate[:, None] * to_table[2], force, rng, rate_hz, axes, name)


def left_alone(
    specimen: ImuSpecimen,
    seconds: float,
    rng: np.random.Generator,
    *,
    rate_hz: float = 200.0,
    axes: tuple[str, str, str] = ("x", "y", "z"),
    name: str = "rest",
) -> Recording:
    """At rest, upright and level."""
    n = round(seconds * rate_hz)
    force = np.tile([0.0, 0.0, GRAVITY_MM_S2], (n, 1))
    return _read(specimen, np.zeros((n, 3)), force, rng, rate_hz, axes, name)


def _read(
    specimen: ImuSpecimen,
    rate: Floats,
    force: Floats,
    rng: np.random.Generator,
    rate_hz: float,
    axes: tuple[str, str, str],
    name: str,
) -> Recording:
    corner = min(specimen.quality.filter_hz, 0.4 * rate_hz)
    seen, felt = (low_pass(values, rate_hz, corner) for values in (rate, force))
    reading = read(specimen, seen, felt, np.zeros(len(rate)), rate_hz, coarse_axes(axes), rng)
    t = np.arange(len(rate)) / rate_hz
    return Recording(name, t, gyro_rad_s=reading.gyro_rad_s, acc_mm_s2=reading.acc_mm_s2)
