"""Totals of a run, worked by hand."""

import math

import numpy as np
import pytest

from wayrule.model import State, Travel
from wayrule.report.travelfacts import travel_facts
from wayrule.report.travelreadings import cannot_give, travel_sentences


def run(t, distance, state, *, sd=0.5, chainage=None):
    t, distance = np.asarray(t, float), np.asarray(distance, float)
    n = len(t)
    speed = np.gradient(distance, t) if n > 1 else np.zeros(n)
    place = np.full(n, np.nan) if chainage is None else chainage
    return Travel(
        "r", t, distance, np.full(n, sd), speed, np.full(n, 2.0), state, place, 0.004, "tape: lap 9000 +- 5 mm"
    )


def test_there_and_back_by_hand():
    """10 s at 100 mm/s, 2 s standing, 5 s back at 100 mm/s: net 500 mm, path 1500 mm, 15 s rolling."""
    t = np.arange(0, 17.01, 0.1)
    d = np.where(t <= 10, 100 * t, np.where(t <= 12, 1000.0, 1000 - 100 * (t - 12)))
    state = np.where((t > 10.05) & (t < 11.95), State.STANDING, State.ROLLING)
    f = travel_facts(run(t, d, state))
    assert f.net_mm == pytest.approx(500.0, abs=1e-9)
    assert f.path_mm == pytest.approx(1500.0, abs=1e-9)
    assert f.top_mm_s == pytest.approx(100.0, abs=1e-9)
    assert f.top_sd_mm_s == 2.0
    assert f.rolling_s == pytest.approx(15.1, abs=0.11)  # one sample at either edge of the stop
    assert len(f.stops) == 1
    assert f.stops[0].lasted_s == pytest.approx(1.8, abs=0.11)
    assert f.stops[0].distance_mm == pytest.approx(1000.0)
    words = " ".join(travel_sentences(run(t, d, state), 87.0)).replace("\xa0", " ")
    assert "0.5000 ± 0.0005 m in 17.0 s, 1.50 m with every reversal counted." in words
    # scale speed by hand: 100 mm/s x 87 x 3.6e-3 = 31.32 km/h = 19.46 mph
    assert "Top speed 100.0 ± 2.0 mm/s, that is scale 31.3 km/h or 19.5 mph." in words
    assert "Lengths are good to ±0.40 % (tape: lap 9000 ± 5 mm)." in words


def test_top_speed_is_no_single_jolt():
    """A jolt of 5 mm within one sample raises the fastest second by 5 mm/s, not by 500."""
    t = np.arange(0, 10, 0.01)
    d = 100 * t + np.where((t > 5) & (t < 5.015), 5.0, 0.0)
    assert travel_facts(run(t, d, np.zeros(len(t)))).top_mm_s <= 105.0 + 1e-6


def test_a_jerk_is_no_stop():
    t = np.arange(0, 10, 0.1)
    state = np.where((t > 4) & (t < 4.35), State.STANDING, State.ROLLING)
    assert travel_facts(run(t, 100 * t, state)).stops == ()


@pytest.mark.parametrize("n", [0, 1])
def test_too_short_a_run_has_no_totals(n):
    f = travel_facts(run(np.arange(n), np.zeros(n), np.zeros(n)))
    assert math.isnan(f.net_mm)
    assert f.stops == ()
    assert travel_sentences(run(np.arange(n), np.zeros(n), np.zeros(n)), 87.0) == [
        "Too few samples to say how far it went."
    ]


def test_missing_samples_do_not_spoil_the_totals():
    t = np.arange(0, 10, 0.1)
    d = 100 * t
    d[[0, 7, 50]] = np.nan
    f = travel_facts(run(t, d, np.zeros(len(t))))
    assert f.net_mm == pytest.approx(980.0)
    assert f.path_mm == pytest.approx(980.0)


def test_what_a_log_without_gyro_cannot_give():
    t = np.arange(0, 10, 0.1)
    said = cannot_give(run(t, 100 * t, np.zeros(len(t))))
    assert said == [
        "No gyro in this log: no heading, curvature or map.",
        "No accelerometer in this log: no height, gradient or cant.",
    ]
