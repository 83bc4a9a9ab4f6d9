"""How well a lifted wagon's bends can be laid on another pass's at all: against chance itself."""

import math
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from wayrule.model import Mishap
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.sway import FIRST_LENGTH_WHEELBASES
from wayrule.track.befallen import aligned_variance

GAUGE_MM, WHEELBASE_MM, STEP_MM = 16.5, 65.0, 4.0
PLAY_RAD = 0.013 * GAUGE_MM / WHEELBASE_MM
"""Sideways play over the wheelbase, NEM 310 (middle values)."""


def broken(bends: np.ndarray[Any, Any]) -> tuple[Adjusted, Mishap]:
    """A run whose body met these bends [rad/mm] before a lift in mid-run, and again after it."""
    count = len(bends)
    t_s, path = np.arange(2.0 * count), np.arange(2.0 * count) * STEP_MM
    setting = SimpleNamespace(bins=SimpleNamespace(t_s=t_s, path_mm=path))
    run = SimpleNamespace(at=SimpleNamespace(psi_slope=np.concatenate((bends, bends))))
    wagon = SimpleNamespace(gauge_mm=GAUGE_MM, wheelbase_mm=WHEELBASE_MM)
    problem = SimpleNamespace(settings=(setting,), wagon=wagon)
    lift = Mishap("lift", count - 1.0, float(count), 9.0, "deg", math.nan, 325.0)
    return cast(Adjusted, SimpleNamespace(problem=problem, runs=(run,))), lift


def test_the_sigma_is_what_two_swaying_passes_scatter_by() -> None:
    """Monte Carlo of the very thing: two passes over curves of 600 mm radius, each body's heading swaying as an
    Ornstein-Uhlenbeck process whose correlation has the same integral; the best shift by least squares, before and
    after. 2000 draws know an sd to 2 %; the formula takes bends as slow beside the sway's length, which they are to a
    tenth."""
    rng = np.random.default_rng(3)
    at = np.arange(1500) * STEP_MM
    bends = np.sin(2 * np.pi * at / 1500.0) / 600.0
    keep = math.exp(-STEP_MM / (FIRST_LENGTH_WHEELBASES * WHEELBASE_MM))
    kicks = rng.normal(0.0, PLAY_RAD, (len(at), 4, 2000)) * math.sqrt(1 - keep**2)
    sway = rng.normal(0.0, PLAY_RAD, (4, 2000))
    total = np.zeros((4, 2000))
    for bend, kick in zip(bends, kicks, strict=True):
        sway = keep * sway + kick
        total += bend * sway
    shifts = total / np.sum(bends**2)
    jump = (shifts[0] - shifts[1]) - (shifts[2] - shifts[3])
    run, lift = broken(bends)
    assert math.sqrt(aligned_variance(run, 0, lift, (lift,))) == pytest.approx(float(np.std(jump)), rel=0.1)


def test_a_steady_curve_aligns_nothing() -> None:
    run, lift = broken(np.full(1500, 1 / 600.0))
    assert aligned_variance(run, 0, lift, (lift,)) > 1e6


def test_only_the_track_up_to_the_next_break_aligns() -> None:
    bends = np.sin(2 * np.pi * np.arange(1500) * STEP_MM / 1500.0) / 600.0
    run, lift = broken(bends)
    next_one = Mishap("lift", 2250.0, 2251.0, 9.0, "deg", math.nan, 325.0)
    alone, cut = (aligned_variance(run, 0, lift, far) for far in ((lift,), (lift, next_one)))
    assert cut == pytest.approx(1.5 * alone, rel=0.02), "half of the bends after it: twice that side's variance"
