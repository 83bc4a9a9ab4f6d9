"""Turning in curves on motions made by formula: what is wrong with the sensor comes back, whatever the track does."""

import numpy as np
import pytest

from wayrule.model import BodyImu, State, Travel
from wayrule.model.arrays import Array
from wayrule.run.bridge import less_bias
from wayrule.run.curves import Curves, curves
from wayrule.sim import HO_VAN
from wayrule.sim.body import rates
from wayrule.sim.motion import smoothstep
from wayrule.units import G_MM_S2

RATE_HZ = 100.0
BIAS = np.array([0.01, -0.02, 0.005])


def driven_round(
    turns: float,
    *,
    climb: tuple[float, float] = (0.0, 0.0),
    roll: tuple[float, float] = (0.0, 0.0),
    cross: tuple[float, float] = (0.0, 0.0),
    level: tuple[float, float] = (0.0, 0.0),
    scale: float = 0.0,
    cant: float = 0.0,
    drift: float = 0.0,
) -> Travel:
    """Straight, bend, straight, bend ... of `turns` in all, climb and roll going evenly from first to second value.

    The sensor is the survey's: readings = (unit matrix with scale and cross) @ rates, force + level.
    """
    still, move, v_mm_s = 10.0, 40.0 * max(abs(turns), 0.5), 200.0
    t = np.arange(0.0, 2 * still + move, 1 / RATE_HZ)
    share = smoothstep((t - still) / move)
    moving = np.gradient(share, t) * move
    bend = np.clip(1.5 * np.sin(2 * np.pi * 4 * (t - still) / move - 0.5 * np.pi), 0.0, 1.0) * moving
    psi = np.cumsum(bend)
    psi *= 2 * np.pi * turns / psi[-1]
    alpha = climb[0] + (climb[1] - climb[0]) * share
    rho = roll[0] + (roll[1] - roll[0]) * share + cant * bend / bend.max()
    true = rates(psi, alpha, rho, 1 / RATE_HZ)
    v = v_mm_s * moving
    force = np.column_stack(
        [
            np.gradient(v, t) + G_MM_S2 * np.sin(alpha) + level[0],
            v * np.gradient(psi, t) + G_MM_S2 * np.sin(rho) * np.cos(alpha) + level[1],
            np.full(len(t), G_MM_S2),
        ]
    )
    matrix = np.array([[1.0, 0, cross[0]], [0, 1.0, cross[1]], [-cross[0], -cross[1], 1.0 + scale]])
    read = true @ matrix.T + BIAS + drift * t[:, None]
    state = np.where((t < still) | (t > still + move), State.STANDING, State.ROLLING).astype(np.int8)
    way = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]))]) / RATE_HZ
    none = np.zeros(len(t))
    imu = BodyImu(read, force, np.eye(3), BIAS, np.full(3, 1e-6))
    return Travel("round", t, way, none, v, none, state, none, 0.0, "exact", imu)


def shown(run: Travel, closed: bool) -> Curves:
    return curves(run, HO_VAN, closed=closed)


def offset_mg(found: Curves) -> Array:
    return found.offset_mm_s2 / G_MM_S2 * 1000


@pytest.mark.parametrize("turns", [1.0, -1.0, 0.6])
def test_offset_is_level_less_g_times_cross_whatever_the_track_does(turns: float) -> None:
    run = driven_round(
        turns, climb=(0.0, 0.02), roll=(0.01, -0.03), cross=(0.012, -0.008), level=(60.0, -200.0), scale=0.004
    )
    expected = (np.array([60.0, -200.0]) / G_MM_S2 - [0.012, -0.008]) * 1000
    assert offset_mg(shown(run, abs(turns) == 1.0)) == pytest.approx(expected, abs=0.3)


def test_a_roll_or_climb_that_stays_is_no_offset() -> None:
    """Ten mg would be 0.01: were the change between the ends not taken off, this would be wrong by 3 and 5 mg."""
    for what in ({"roll": (0.0, 0.03)}, {"climb": (-0.01, 0.02)}):
        assert offset_mg(shown(driven_round(1.0, **what), True)) == pytest.approx([0.0, 0.0], abs=0.15)


@pytest.mark.parametrize("cross", [(0.0, 0.0), (0.03, 0.0), (0.0, -0.03)])
@pytest.mark.parametrize("cant", [0.0, -0.05])
def test_scale_is_that_of_the_yaw_axis_for_any_lean_of_body_and_sensor(cross: tuple[float, float], cant: float) -> None:
    """The square of 0.03 is 9e-4, that of the cant 2.5e-3: neither may be left in the scale."""
    found = shown(driven_round(3.0, cross=cross, cant=cant, scale=0.005, level=(30.0, 100.0)), True)
    assert found.turns == 3
    assert found.scale == pytest.approx(0.005, abs=1.2e-4)


def test_a_bias_that_drifts_evenly_leaves_the_scale_alone() -> None:
    """1e-5 rad/s^2 over 130 s: taken as of the first standstill alone it would turn 0.08 rad, 1.3 %."""
    assert shown(driven_round(1.0, drift=1e-5), True).scale == pytest.approx(0.0, abs=1e-4)


def test_a_longer_way_between_standstills_is_less_sure() -> None:
    rng = np.random.default_rng(1)
    sds = []
    for seconds in (20.0, 2000.0):
        t = np.arange(0.0, seconds + 20.0, 0.02)
        read = rng.normal(0.0, 1e-3, (len(t), 3))
        sds.append(less_bias(t, read, slice(0, 500), slice(len(t) - 500, len(t)))[1])
    assert (sds[1] > 1.5 * sds[0]).all()
