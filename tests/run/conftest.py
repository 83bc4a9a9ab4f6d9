"""A wagon on a flat line, made here from textbook kinematics and independent of the code under test."""

from dataclasses import dataclass

import numpy as np
import pytest

TAU = 2.0 * np.pi
G = 9806.65


@dataclass
class Roll:
    """Truth and readings of one run."""

    t_s: np.ndarray
    s_mm: np.ndarray
    v_mm_s: np.ndarray
    field_mt: np.ndarray
    gyro: np.ndarray
    acc: np.ndarray


def make_roll(
    seed=1,
    *,
    rate_hz=200.0,
    stops=((0.0, 8.0), (40.0, 46.0), (75.0, 80.0)),
    v_mm_s=180.0,
    diameter_mm=10.5,
    bias=(0.01, -0.02, 0.015),
    gyro_sd=0.001,
    acc_sd=30.0,
    rotation=None,
    wheel_sign=1.0,
    jitter=0.0,
):
    """Rolling at about v between the stops (start, end in s), on straights and curves of 400 mm radius.

    rotation : body axes -> sensor axes of the IMU.  Field: a 2:1 ellipse with third and second harmonics, offset 3
    times its size, noise 0.03 mT.
    """
    rng = np.random.default_rng(seed)
    end = stops[-1][1]
    t = np.arange(0.0, end, 1.0 / rate_hz)
    t = t + rng.uniform(-jitter, jitter, len(t)) / rate_hz
    fine = np.arange(-1.0, end + 1.0, 1e-3)
    ramp = np.min([np.clip(np.maximum(a - fine, fine - b) / 1.2, 0, 1) for a, b in stops], axis=0)
    ramp = ramp * ramp * (3 - 2 * ramp)
    v_fine = v_mm_s * ramp * (1 + 0.06 * np.sin(0.9 * fine) + 0.03 * np.sin(2.3 * fine))
    s_fine = np.concatenate([[0.0], np.cumsum(0.5 * (v_fine[1:] + v_fine[:-1]) * 1e-3)])
    v, s = np.interp(t, fine, v_fine), np.interp(t, fine, s_fine)
    dv = np.interp(t, fine, np.gradient(v_fine, 1e-3))
    curvature = np.where(np.sin(s / 700.0) > 0.3, 1 / 400.0, 0.0)
    phi = wheel_sign * s / diameter_mm * 2.0 + 0.4
    field = np.column_stack(
        [-5 * np.sin(phi) + 0.4 * np.sin(3 * phi) + 15, 0 * t, 10 * np.cos(phi) + 0.3 * np.cos(2 * phi) - 30]
    )
    gyro = np.column_stack([0 * t, 0 * t, v * curvature])
    acc = np.column_stack([dv, v * v * curvature, np.full(len(t), G)])
    shake = 1.0 + 4.0 * (np.abs(v) > 1.0)  # a rolling wagon shakes
    turn = np.eye(3) if rotation is None else rotation
    return Roll(
        t,
        s - s[0],
        v,
        field + rng.normal(0, 0.03, field.shape),
        gyro @ turn.T + np.asarray(bias) + rng.normal(0, gyro_sd, gyro.shape) * shake[:, None],
        acc @ turn.T + rng.normal(0, acc_sd, acc.shape) * shake[:, None],
    )


@pytest.fixture(name="make_roll", scope="session")
def _make_roll():
    return make_roll
