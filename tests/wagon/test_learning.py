"""What starting and stopping put into the harmonics that a run learns."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wayrule.maths.counting import ORDERS
from wayrule.maths.harmonics import fit_harmonics, leaked
from wayrule.sim.motion import Leg, RunPlan, drive
from wayrule.wagon.learning import Pull, learning

WHEEL_MM = 6.0
SHORT = Pull(way_mm=15 * math.pi * WHEEL_MM, speed_mm_s=96.0)
QUIET = np.array([1e-6])


def test_the_leak_is_what_a_simulated_pull_shows():
    # the simulator's own drive, even but for its start and stop, its angle free of any error
    plan = RunPlan(0.0, (Leg(SHORT.way_mm, SHORT.speed_mm_s),), still_s=(0.5, 0.5), unevenness=0.0)
    s = drive(plan, 1 / 200, np.random.default_rng(1))
    t, phi = np.arange(len(s)) / 200, s / (WHEEL_MM / 2)
    speed = np.gradient(phi)
    steady = speed > 0.1 * np.median(speed[speed > 1e-3])
    shown = [leaked(t, phi + start, steady) for start in np.arange(8) * math.pi / 4]
    amplitude = np.sqrt(np.mean([one.amplitude_rad**2 for one in shown if one is not None], axis=0))
    found = learning(QUIET, SHORT, 200.0, WHEEL_MM)
    # the reckoned pull has fewer readings a turn and no standing: a third
    np.testing.assert_allclose(found.leak_rad[:2], amplitude[:2], rtol=0.34)


def test_a_gentler_start_and_a_longer_way_leak_less():
    harsh, soft = (learning(QUIET, replace(SHORT, ramp_mm_s2=ramp), 200.0, WHEEL_MM) for ramp in (400.0, 30.0))
    assert soft.leak_rad[0] < 0.5 * harsh.leak_rad[0]
    longer = learning(QUIET, replace(SHORT, way_mm=5 * SHORT.way_mm), 200.0, WHEEL_MM)
    assert longer.leak_rad[0] < learning(QUIET, SHORT, 200.0, WHEEL_MM).leak_rad[0]


def test_noise_alone_is_three_sigma_over_the_root_of_the_turns():
    long = Pull(way_mm=100 * math.pi * 10.0, speed_mm_s=200.0)
    found = learning(np.array([0.05]), long, 200.0, 10.0)
    assert found.told_rad[0] == pytest.approx(3 * 0.05 / 10, rel=0.02)


def test_fewer_than_eight_turns_teach_nothing():
    found = learning(QUIET, replace(SHORT, way_mm=7.9 * math.pi * WHEEL_MM), 200.0, WHEEL_MM)
    assert np.isinf(found.told_rad[0])
    assert not found.leak_rad.any()
    assert len(found.leak_rad) == ORDERS


def test_what_leaks_is_what_the_fit_then_believes():
    # a reading with a clear second harmonic: the fit's pair is the harmonic and the leak together
    t = np.arange(0.0, 8.0, 0.005)
    phi = 20 * t + 6 * np.sin(0.9 * t)
    steady = np.ones(len(t), dtype=bool)
    psi = phi.copy()
    for _ in range(30):
        psi = phi + 0.2 * np.cos(2 * psi)
    whole, leak = fit_harmonics(t, psi, steady), leaked(t, phi, steady)
    assert leak is not None
    assert whole.cosine[1] == pytest.approx(0.2 + leak.cosine[1], abs=2e-3)
