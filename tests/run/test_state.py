"""Rolling, standing, unsure: made motion with known states."""

import numpy as np
import pytest

from wayrule.model import State
from wayrule.run.speed import speed
from wayrule.run.state import stands_throughout, standstills, states

NOISE_MM = 0.02


def classify(t, s, *, white=NOISE_MM, quantum=0.0, gyro=None, unsure=None):
    v, sd, _ = speed(t, s, white)
    return states(t, s, v, sd, white_sd_mm=white, quantum_mm=quantum, gyro_rad_s=gyro, unsure=unsure)


def stop_and_go(v_go, v_slow, rate=100.0):
    """20 s at v_go, 20 s at v_slow, 20 s at v_go, with noise."""
    t = np.arange(0.0, 60.0, 1 / rate)
    v = np.where((t > 20) & (t < 40), v_slow, v_go)
    s = np.concatenate([[0.0], np.cumsum(v[1:] / rate)])
    return t, s + np.random.default_rng(1).normal(0, NOISE_MM, len(t))


@pytest.mark.parametrize("creep", [1.5, 3.0, -2.0, 8.0])
def test_slow_creeping_is_never_standing(creep):
    t, s = stop_and_go(150.0, creep)
    found = classify(t, s)
    assert not np.any(found == State.STANDING)
    assert np.mean(found[(t > 21) & (t < 39)] == State.ROLLING) > 0.5


def test_stop_is_one_standstill():
    t, s = stop_and_go(150.0, 0.0)
    ((a, b),) = standstills(classify(t, s))
    assert t[a] == pytest.approx(20.0, abs=0.2)
    assert t[b - 1] == pytest.approx(40.0, abs=0.2)


def test_momentary_reversal_is_no_standstill():
    t = np.arange(0.0, 30.0, 0.01)
    s = 400.0 * np.sin(t / 5.0) + np.random.default_rng(1).normal(0, NOISE_MM, len(t))
    assert not standstills(classify(t, s))


def test_coarse_counter_stands_only_after_a_long_look():
    tick = 2.75
    t = np.arange(0.0, 60.0, 0.01)
    slow = np.clip(t - 20, 0, 20) * 1.0  # 1 mm/s: a tick in 2.75 s
    s = np.floor((150.0 * np.minimum(t, 20.0) + slow) / tick) * tick
    found = classify(t, s, white=tick / np.sqrt(12), quantum=tick)
    assert not np.any(found[(t > 20.5) & (t < 39)] == State.STANDING)
    assert np.mean(found[(t > 46) & (t < 59)] == State.STANDING) > 0.9


def test_gyro_that_turns_while_the_wheel_stands_makes_it_unsure():
    t, s = stop_and_go(150.0, 0.0)
    gyro = np.random.default_rng(2).normal(0, 0.002, (len(t), 3))
    assert np.mean(classify(t, s, gyro=gyro)[(t > 21) & (t < 39)] == State.STANDING) > 0.99
    gyro[(t > 30) & (t < 33), 2] += 0.5  # lifted off and turned by hand
    found = classify(t, s, gyro=gyro)
    assert np.all(found[(t > 30.3) & (t < 32.7)] == State.UNSURE)
    assert np.mean(found[(t > 21) & (t < 29.5)] == State.STANDING) > 0.99


def test_doubtful_distance_is_unsure():
    t, s = stop_and_go(150.0, 0.0)
    doubt = (t > 5) & (t < 6)
    assert np.all(classify(t, s, unsure=doubt)[doubt] == State.UNSURE)


def test_rest_without_a_wheel_needs_steady_readings():
    t = np.arange(0.0, 10.0, 0.005)
    rates = np.random.default_rng(3).normal(0, 0.003, (len(t), 3))
    force = np.random.default_rng(4).normal([0, 0, 9806.65], 40, (len(t), 3))
    assert stands_throughout(t, rates, force)
    assert not stands_throughout(t, rates, force + np.outer(t > 5, [400.0, 0, 0]))
    assert not stands_throughout(t, rates + np.outer(0.03 * np.sin(t), [0, 0, 1]), force)
    assert not stands_throughout(t[:3], rates[:3], None)
