"""The dry test: discs that sit off by a known length, exact fields, fingers that twist; what to shift and which way."""

from dataclasses import replace

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import FloorLayer, Recording
from wayrule.run.axledry import ONCE, dry_test
from wayrule.sim.axlechanges import changed_field
from wayrule.sim.spin import Crooked, crooked_wheel, flicked, pushed, spin_recording, twisted
from wayrule.sim.wagons import G_WAGON, HO_VAN, N_VAN

WAGONS = {"HO": HO_VAN, "N": N_VAN, "G": G_WAGON}


def looked_at(name, motion=flicked, turns=6.0, wagon=None, seed=2, **changed):
    wagon, rng = wagon or WAGONS[name], np.random.default_rng(seed)
    wheel = replace(crooked_wheel(wagon, rng, Crooked(0, 0, 0, 0)), field=changed_field(wagon, **changed))
    recording = spin_recording(wagon, wheel, *motion(turns, 200.0, rng), rng)
    return dry_test(recording, wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt)


def off_by(name, forward, left, up):
    """Both discs moved by shares of the distance to the sensor; and that move in mm."""
    far = float(np.linalg.norm(WAGONS[name].sensor.place_mm))
    move = (far * forward, far * left, far * up)
    return {"shift_mm": (move, move)}, move


@pytest.mark.parametrize("motion", [flicked, twisted])
@pytest.mark.parametrize("name", WAGONS)
def test_discs_that_sit_well_are_to_be_fixed(name, motion):
    found = looked_at(name, motion, 12.0)
    assert found.word == "fix"
    assert found.steps == ()
    assert abs(found.along_mm) < 3 * found.along_sd_mm
    assert abs(found.ahead_mm) < 3 * found.ahead_sd_mm


@pytest.mark.parametrize(("forward", "up"), [(0.0, 0.05), (0.0, -0.05), (0.05, 0.0), (-0.05, 0.0), (0.04, -0.04)])
@pytest.mark.parametrize("name", WAGONS)
def test_discs_that_sit_off_are_to_be_shifted_by_so_much_and_that_way(name, forward, up):
    changed, move = off_by(name, forward, 0.0, up)
    found = looked_at(name, **changed)
    assert found.word == "shift"
    # the dipole is good to about a tenth of the move and to a hundredth of the distance, for discs have a size
    far = float(np.linalg.norm(WAGONS[name].sensor.place_mm))
    assert found.along_mm == pytest.approx(move[2], abs=0.1 * abs(move[2]) + 0.008 * far)
    assert found.ahead_mm == pytest.approx(move[0], abs=0.1 * abs(move[0]) + 0.008 * far)
    said = " ".join(found.steps)
    assert ("further down" in said) == (up > 0)
    assert ("further up" in said) == (up < 0)
    assert ("mm back" in said) == (forward > 0)
    assert ("mm forward" in said) == (forward < 0)


@pytest.mark.parametrize("name", WAGONS)
def test_fingers_that_twist_show_it_as_well_if_less_surely(name):
    changed, move = off_by(name, 0.0, 0.0, 0.06)
    found = looked_at(name, twisted, 12.0, **changed)
    assert found.along_mm == pytest.approx(move[2], abs=3 * found.along_sd_mm)
    assert found.along_sd_mm < 0.4 * move[2]
    assert found.word == "shift"


def test_one_disc_that_is_stronger_looks_like_a_shift_and_is_told_as_either():
    """5 % and -5 %: the middle of two dipoles lies 5 % of their distance from the axle (1.2 mm) further up."""
    found = looked_at("HO", strength=(0.25, -0.25))
    assert found.along_mm == pytest.approx(0.25 * 1.2, rel=0.2)
    assert any("the upper one is the stronger" in step for step in looked_at("HO", strength=(0.5, -0.5)).steps)


@pytest.mark.parametrize("left", [0.06, -0.06])
def test_discs_beside_their_place_are_told(left):
    changed, move = off_by("HO", 0.0, left, 0.0)
    found = looked_at("HO", **changed)
    assert found.aside_mm == pytest.approx(move[1], abs=0.1)
    (step,) = found.steps
    assert f"too far to the {'left' if left > 0 else 'right'}" in step


def test_once_a_turn_error_is_what_a_move_makes_of_a_ring():
    """The closed form against the exact field of a shifted pair, read on its own ellipse by brute force."""
    far = float(np.linalg.norm((0.0, 0.0, 12.5)))
    wagon = replace(HO_VAN, sensor=replace(HO_VAN.sensor, place_mm=(0.0, 0.0, 12.5)))
    move = (0.0, 0.0, 0.02 * far)
    field = changed_field(wagon, shift_mm=(move, move)).field_mt[:-1]
    phi = np.linspace(0, 2 * np.pi, len(field), endpoint=False)
    x, z = field[:, 0] / np.ptp(field[:, 0]), field[:, 2] / np.ptp(field[:, 2])
    psi = np.unwrap(np.arctan2(-(x - x.mean()), z - z.mean()))
    first = 2 * abs(np.mean((psi - phi) * np.exp(-1j * phi)))
    assert first == pytest.approx(ONCE * 0.02, rel=0.1)


def test_a_weak_field_and_a_thin_ring_are_told():
    behind = replace(HO_VAN, floor=(FloorLayer("steel", 0.5, 5.0),))
    assert any(
        "The field is weak" in step for step in looked_at("", wagon=behind, floor=behind.floor, turns=12.0).steps
    )


def test_too_few_turns_no_field_and_a_standing_axle_are_refused():
    with pytest.raises(UndeterminedError, match=r"expected 3 turns of the axle and more, came 1\.\d; turn it on"):
        looked_at("HO", pushed, 1.3)
    with pytest.raises(UndeterminedError, match="expected the field of the magnets, came none"):
        dry_test(Recording("log", np.arange(9.0)), (0.0, 0.0, 12.0))
    rng = np.random.default_rng(1)
    standing = spin_recording(HO_VAN, crooked_wheel(HO_VAN, rng), np.arange(900) * 0.005, np.ones(900), rng)
    with pytest.raises(UndeterminedError, match="expected an axle that turns"):
        dry_test(standing, HO_VAN.sensor.place_mm)
