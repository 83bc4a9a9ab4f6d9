"""Lag and loss of a floor at speed against hand formulas."""

import math

import numpy as np
import pytest

from wayrule.model import FloorLayer
from wayrule.wagon.eddy import eddy, thin_lag_rad, told


@pytest.mark.parametrize("material", ["lead", "brass", "aluminium"])
def test_a_thin_sheet_lags_as_by_hand(material):
    sigma = {"lead": 4.8e6, "brass": 15.5e6, "aluminium": 35e6}[material]
    found = eddy([FloorLayer(material, 0.3, 4.0)], 12.5, speed_mm_s=200, wheel_mm=10.5)
    assert found.lag_rad == pytest.approx(math.pi * 1e-7 * sigma * 0.3e-3 * (200 / 5.25) * 12.5e-3, rel=2e-3)
    assert found.lag_rad == pytest.approx(thin_lag_rad(sigma / 1e6, 0.3, 12.5, 200 / 5.25), rel=2e-3)
    assert found.lag_mm == pytest.approx(found.lag_rad * 5.25)


def test_the_axis_integral_of_the_exact_sheet():
    # lag and loss are those of the integral of k2 e^{-kz} T(k), T the exact plane sheet in metres
    t, sigma, w, z = 4e-3, 58e6, 400.0, 12e-3
    k = np.linspace(1e-3, 60 / z, 400_001)
    g = np.sqrt(k * k + 1j * w * 4e-7 * math.pi * sigma)
    factor = 4 * k * g * np.exp((k - g) * t) / ((k + g) ** 2 - (k - g) ** 2 * np.exp(-2 * g * t))
    kernel = k * k * np.exp(-k * z)
    exact = np.sum(kernel * factor) / np.sum(kernel)
    found = eddy([FloorLayer("copper", 4.0, 4.0)], 12.0, speed_mm_s=w * 5.0, wheel_mm=10.0)
    assert found.lag_rad == pytest.approx(-np.angle(exact), rel=1e-3)
    assert found.lost == pytest.approx(1 - abs(exact), rel=1e-3)


def test_at_a_stand_nothing_lags_and_backwards_it_lags_the_other_way():
    floor = [FloorLayer("aluminium", 1.0, 4.0)]
    assert eddy(floor, 12.5, speed_mm_s=0.0, wheel_mm=10.5).lag_rad == 0.0
    forwards, back = (eddy(floor, 12.5, speed_mm_s=v, wheel_mm=10.5) for v in (300.0, -300.0))
    assert back.lag_rad == pytest.approx(-forwards.lag_rad)
    assert forwards.delay_s == pytest.approx(back.delay_s)


def test_steel_at_speed_lags_too_and_is_compared_with_steel_at_rest():
    found = eddy([FloorLayer("steel", 1.0, 4.0)], 12.5, speed_mm_s=300, wheel_mm=10.5)
    assert found.lag_rad > 0
    assert 0 < found.lost < 0.01


def test_lead_and_zinc_are_said_to_be_harmless():
    lead, zinc, plastic = told(
        [FloorLayer("lead", 2.0, 4.0), FloorLayer("zinc", 1.0, 7.0), FloorLayer("plastic", 1.0, 9.0),
        FloorLayer("steel", 1.0, 10.0)], 14.0, speed_mm_s=300, wheel_mm=10.5,
    )  # fmt: skip
    assert lead.startswith("lead 2 mm: harmless at a stand; at 300 mm/s the reading lags by 0.0")
    assert zinc.startswith("zinc 1 mm: harmless at a stand; ")
    assert plastic == "plastic 1 mm: harmless at a stand and at speed"
