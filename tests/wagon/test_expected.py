"""What is expected of a field is what the decoding then makes of it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wayrule.model import FieldSensor, Magnets, Wagon
from wayrule.run.angle import axle_angle
from wayrule.sim import wheel
from wayrule.sim.wagons import G_WAGON, HO_VAN, N_VAN
from wayrule.wagon.expected import Pull, earth_factors, expected, read_turn

PHI = np.arange(72) * 2 * math.pi / 72
STRAIGHT = Pull(heading_rad=0.0, out_of_round_mm=0.0)


def dipole(along: float = 2.0, across: float = 1.0) -> np.ndarray:
    """A turning dipole straight above: an ellipse."""
    return np.stack([-across * np.sin(PHI), 0 * PHI, along * np.cos(PHI)], -1)[None]


def test_noise_of_an_ellipse_is_the_bound_of_cramer_and_rao():
    # mean over the turn of 1/(a^2 sin^2 + b^2 cos^2) is 1/(ab): an integral of any table
    found = expected(dipole(3.0, 0.8), FieldSensor(noise_mt=0.02), 10.0, STRAIGHT)
    assert found.noise_rad[0] == pytest.approx(0.02 / math.sqrt(2.4), rel=1e-6)
    assert found.raw_rad[0] < 1e-12
    assert found.before_mm[0] == pytest.approx(math.sqrt(2) * 5.0 * 0.02 / math.sqrt(2.4), rel=1e-6)


def test_steps_count_as_a_uniform_error():
    found = expected(dipole(), FieldSensor(range_mt=8.0, bits=8, noise_mt=0.0), 10.0, STRAIGHT)
    assert found.steps_rad[0] == pytest.approx(16 / 256 / math.sqrt(12) / math.sqrt(2), rel=1e-6)
    assert not found.saturates[0]
    assert expected(dipole(), FieldSensor(range_mt=1.9), 10.0).saturates[0]


LOPSIDED = replace(HO_VAN, scale="HO single", magnets=replace(HO_VAN.magnets or Magnets("single"), kind="single"))
"""One disc on one side of the axle: its reading lags and leads by 30 deg before the harmonics are taken out."""


@pytest.mark.parametrize("wagon", [HO_VAN, N_VAN, G_WAGON, LOPSIDED], ids=lambda wagon: wagon.scale)
def test_harmonics_are_those_that_the_decoding_finds(wagon: Wagon):
    field = wheel.draw_wheel(wagon, np.random.default_rng(3), field=True).field
    assert field is not None
    turned = np.linspace(0.0, 80 * math.pi, 8001)
    angle = axle_angle(np.arange(8001) * 0.01, field.at(turned), place_mm=wagon.sensor.place_mm, noise_mt=0.001)
    found = np.degrees(np.abs(expected(field.at(PHI)[None], wagon.sensor, 10.0).harmonics[0]))
    assert angle.quality is not None
    # the decoding spreads its points over the plane, not over the turn: some per cent of the greatest
    np.testing.assert_allclose(found, angle.quality.harmonics_deg, atol=0.03 * max(angle.quality.harmonics_deg))


def test_a_clear_harmonic_goes_and_a_faint_one_stays():
    second = 0.05 * np.stack([np.cos(2 * PHI), 0 * PHI, np.sin(2 * PHI)], -1)
    clear = expected(dipole() + second, FieldSensor(noise_mt=0.001, rate_hz=200.0), 10.5, STRAIGHT)
    faint = expected(dipole() + second, FieldSensor(noise_mt=0.3, rate_hz=200.0), 10.5, STRAIGHT)
    short = expected(dipole() + second, FieldSensor(noise_mt=0.001), 10.5, Pull(100.0, heading_rad=0.0))
    assert clear.left_rad[0] < 0.1 * clear.raw_rad[0]
    assert faint.left_rad[0] >= 0.99 * faint.raw_rad[0]
    assert np.isinf(short.told_rad[0])


def test_earth_turning_once_round_is_an_error_of_its_own_size():
    # a field h turning with the heading, read at any angle of a circle of radius b: h/b sin(anything), rms h/(b sqrt 2)
    found = expected(dipole(1.0, 1.0), FieldSensor(noise_mt=0.0), 10.0, Pull(level_earth_mt=0.02, out_of_round_mm=0.0))
    # the level field has two parts, forward and along the axle; the second does not lie in the plane of the ring
    assert found.earth_rad[0] == pytest.approx(0.02 / 2, rel=1e-6)
    assert earth_factors(0.0) == (0.0, 0.0)


def test_a_field_that_does_not_turn_has_no_error_bar():
    still = np.broadcast_to([0.0, 0.0, 5.0], (1, 72, 3))
    assert np.isnan(expected(np.array(still), FieldSensor(), 10.0).after_mm[0])
    assert np.isnan(read_turn(dipole(2.0, 1e-4)).flat_1_mt2[0])


def test_thousands_of_fields_are_one_call():
    fields = np.concatenate([dipole(2.0, 1.0), dipole(4.0, 2.0)])
    found = expected(fields, FieldSensor(noise_mt=0.03), 10.0, STRAIGHT)
    np.testing.assert_allclose(found.after_rad[1], found.after_rad[0] / 2, rtol=1e-9)
