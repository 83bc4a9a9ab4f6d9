"""Mishaps put in by hand arithmetic: what they move, what they leave alone, and the same bits from the same seed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wayrule.model import Recording
from wayrule.sim import (
    GOOD,
    HO_COACH,
    HO_VAN,
    Gap,
    Hand,
    Knock,
    Leg,
    Railway,
    RunPlan,
    RunTruth,
    Slide,
    arc,
    build,
    simulate,
    straight,
)
from wayrule.units import DEG, G_MM_S2

PLAN = RunPlan(150.0, (Leg(800.0, 200.0, 4.0), Leg(700.0, 200.0)))
"""800 mm, four seconds' stop, 700 mm more."""


@pytest.fixture(scope="module")
def line() -> Railway:
    return build("Ling bank", [straight(1900.0)])


def run(line: Railway, plan: RunPlan = PLAN, wagon=HO_VAN) -> tuple[Recording, RunTruth]:
    return simulate(line, wagon, plan, GOOD, np.random.default_rng(11))


@pytest.fixture(scope="module")
def calm(line: Railway) -> tuple[Recording, RunTruth]:
    return run(line)


def test_the_same_seed_gives_the_same_bits(line: Railway) -> None:
    plan = replace(PLAN, knocks=(Knock(400.0),), hands=(Hand(700.0, lift_mm=5.0),), gaps=(Gap(200.0, 0.3),))
    (one, truth), (other, again) = run(line, plan), run(line, plan)
    for name in ("t_s", "field_mt", "gyro_rad_s", "acc_mm_s2"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    np.testing.assert_array_equal(truth.roll_rad, again.roll_rad)


def test_what_befalls_one_run_leaves_the_next_ones_noise_alone(line: Railway) -> None:
    """A survey of runs with a mishap is compared with the same runs without it: nothing else may differ."""
    after = []
    for hands in ((), (Hand(700.0, lift_mm=5.0, further_mm=30.0),)):
        rng = np.random.default_rng(11)
        simulate(line, HO_VAN, replace(PLAN, hands=hands, knocks=(Knock(400.0),) if hands else ()), GOOD, rng)
        after.append(simulate(line, HO_VAN, PLAN, GOOD, rng)[0])
    for name in ("t_s", "field_mt", "gyro_rad_s", "acc_mm_s2"):
        np.testing.assert_array_equal(getattr(after[0], name), getattr(after[1], name))


def test_a_knock_is_felt_where_it_is_and_nowhere_else(line: Railway, calm: tuple[Recording, RunTruth]) -> None:
    """Up to its peak, less what the filter takes (35 Hz through 60 Hz, second order: at most 0.95 of it, and a ring of
    20 ms never builds up fully); over after eight times 20 ms and the filter's own few."""
    quiet, truth = calm
    knocked, _ = run(line, replace(PLAN, knocks=(Knock(400.0, acc_g=1.0, gyro_dps=50.0),)))
    assert quiet.acc_mm_s2 is not None
    assert quiet.gyro_rad_s is not None
    force = np.linalg.norm(knocked.acc_mm_s2 - quiet.acc_mm_s2, axis=1) / G_MM_S2
    rate = np.linalg.norm(knocked.gyro_rad_s - quiet.gyro_rad_s, axis=1) / DEG
    assert 0.4 < force.max() < 1.0
    assert 20.0 < rate.max() < 50.0
    at = truth.true_t_s[np.searchsorted(truth.chainage_mm, 550.0)]
    away = (truth.true_t_s < at - 0.02) | (truth.true_t_s > at + 0.3)
    assert force[away].max() < 1e-3
    np.testing.assert_array_equal(knocked.field_mt, quiet.field_mt)


@pytest.mark.parametrize("share", [1.0, 0.3, -0.5])
def test_a_wheel_misses_its_share_of_the_slide(line: Railway, calm: tuple[Recording, RunTruth], share: float) -> None:
    """Locked over 60 mm it misses 60 mm, sliding its share, spinning it gains; out-of-round leaves 0.04 mm at most."""
    _, truth = run(line, replace(PLAN, slides=(Slide(300.0, 60.0, share),)))
    missed = (calm[1].phi_rad[-1] - truth.phi_rad[-1]) * truth.circumference_mm / (2 * math.pi)
    assert missed == pytest.approx(60.0 * share, abs=0.4)  # the grid's last step is 0.25 mm
    np.testing.assert_array_equal(truth.chainage_mm, calm[1].chainage_mm)


def test_a_lifted_wagon_goes_on_and_its_wheel_does_not_turn(line: Railway, calm: tuple[Recording, RunTruth]) -> None:
    _, lifted = run(line, replace(PLAN, hands=(Hand(700.0, seconds=2.0, further_mm=85.0, lift_mm=12.0),)))
    truth = calm[1]
    assert lifted.chainage_mm[-1] - truth.chainage_mm[-1] == pytest.approx(85.0, abs=1e-6)
    gained = (lifted.phi_rad[-1] - truth.phi_rad[-1]) * truth.circumference_mm / (2 * math.pi)
    assert gained == pytest.approx(0.0, abs=0.05)  # out-of-round: 0.02 mm either way
    assert lifted.z_mm.max() == pytest.approx(12.0, abs=0.01)
    assert lifted.z_mm[-1] == pytest.approx(truth.z_mm[-1], abs=1e-9)


def test_put_down_where_it_was_a_lifted_wagon_only_wobbles(line: Railway, calm: tuple[Recording, RunTruth]) -> None:
    _, lifted = run(line, replace(PLAN, hands=(Hand(700.0, lift_mm=12.0, tilt_deg=5.0),)))
    np.testing.assert_array_equal(lifted.phi_rad, calm[1].phi_rad)
    tilt = np.abs(lifted.roll_rad - calm[1].roll_rad) / DEG
    assert 1.0 < tilt.max() < 7.5, "5 deg about: a spline between knots of at most 1 goes little beyond"
    rolling = np.abs(calm[1].speed_mm_s) > 1.0
    assert tilt[rolling].max() == 0.0


def test_a_hand_that_pushes_rolls_the_wheel(line: Railway, calm: tuple[Recording, RunTruth]) -> None:
    _, pushed = run(line, replace(PLAN, hands=(Hand(700.0, further_mm=-40.0),)))
    assert pushed.chainage_mm[-1] - calm[1].chainage_mm[-1] == pytest.approx(-40.0, abs=1e-6)
    gained = (pushed.phi_rad[-1] - calm[1].phi_rad[-1]) * pushed.circumference_mm / (2 * math.pi)
    assert gained == pytest.approx(-40.0, abs=0.05)


@pytest.mark.parametrize("hand", [Hand(700.0, seconds=3.5), Hand(1600.0)])
def test_a_hand_needs_a_standstill(line: Railway, hand: Hand) -> None:
    with pytest.raises(ValueError, match=r"needs a standstill of .* from there on, came none"):
        run(line, replace(PLAN, hands=(hand,)))


def test_nothing_is_written_in_a_gap(line: Railway, calm: tuple[Recording, RunTruth]) -> None:
    gappy, truth = run(line, replace(PLAN, gaps=(Gap(400.0, 0.8),)))
    step = np.diff(gappy.t_s)
    assert step.max() == pytest.approx(0.8, abs=0.01)
    assert truth.chainage_mm[np.argmax(step)] == pytest.approx(550.0, abs=2.0)
    assert calm[0].n - gappy.n == pytest.approx(160, abs=2), "0.8 s of 200 rows a second"


def test_a_bogies_axles_with_play_of_their_own_sway_the_body_less() -> None:
    """The pivot lies midway between its axles: the mean of two equal, independent wanders has half their variance."""
    line = build("Long straight", [straight(9000.0)])
    plan = RunPlan(200.0, (Leg(8500.0, 300.0),))
    shared, each = (run(line, replace(plan, bogie_play=play), HO_COACH)[1] for play in ("shared", "each"))
    ratio = np.var(each.heading_rad) / np.var(shared.heading_rad)
    assert 0.3 < ratio < 0.75, "a half, from about 29 independent wavelengths: +-26 % each"
    most = 2 * 0.22 / HO_COACH.wheelbase_mm
    assert np.abs(each.heading_rad).max() < most, "and never beyond the flanges"


def test_a_bend_leans_all_axles_outward() -> None:
    """With play of their own or not, in a left bend the wheels lie at the outer (right) rail."""
    line = build("Bend", [straight(300.0), arc(500.0, 120.0)])
    plan = RunPlan(100.0, (Leg(1000.0, 250.0),), bogie_play="each")
    truth = run(line, plan, HO_COACH)[1]
    inside = truth.chainage_mm > 600.0
    place = line.place(truth.chainage_mm[inside])
    (x, y, _), heading = line.xyz_at(place), line.heading_at(place)
    aside = -(truth.x_mm[inside] - x) * np.sin(heading) + (truth.y_mm[inside] - y) * np.cos(heading)
    chord = 29.0**2 / 8 / 500.0  # the pivot lies inside the curve by the sagitta of its bogie's chord
    assert np.mean(aside - chord) < 0.0
