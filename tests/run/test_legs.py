"""Legs between standstills: from made-up runs whose truth is known, and refusals in one line."""

import dataclasses

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import BodyImu, Mishap, Problem, State, Travel
from wayrule.run.legs import taped_legs, whole_leg

RATE = 50.0


def went(*places_mm: float, speed: float = 150.0, turn_rad_mm: float = 0.0, gyro: bool = True) -> Travel:
    """A run that stands for two seconds at each place in turn and rolls evenly between; it turns as it rolls."""
    t, s, state = [0.0], [places_mm[0]], [int(State.STANDING)]
    for here, there in zip(places_mm, [*places_mm[1:], places_mm[-1]], strict=True):
        t_still = t[-1] + np.arange(1, int(2 * RATE) + 1) / RATE
        roll = np.arange(1, max(int(abs(there - here) / speed * RATE), 1)) / RATE
        t += [*t_still, *(t_still[-1] + roll)]
        s += [here] * len(t_still) + list(here + np.sign(there - here) * speed * roll)
        state += [int(State.STANDING)] * len(t_still) + [int(State.ROLLING)] * len(roll)
    keep = slice(0, len(t) - 1)
    time, place = np.array(t)[keep], np.array(s)[keep] - s[0]
    v = np.gradient(place, time)
    gz = 0.01 + turn_rad_mm * np.abs(v)  # a bias of 0.01 rad/s
    rates = np.column_stack([0 * gz, 0 * gz, gz])
    imu = BodyImu(rates, None, np.eye(3), np.array([0.0, 0.0, 0.01]), np.full(3, 1e-5)) if gyro else None
    sd = np.hypot(0.004 * place, 0.1)
    nan = np.full(len(time), np.nan)
    return Travel(
        "there", time, place, sd, v, 0 * v + 1, np.array(state[:-1], np.int8), nan, 0.004, "caliper", imu
    )  # fmt: skip


def test_one_way() -> None:
    (leg,) = taped_legs(went(0.0, 3000.0), 3001.0, 65.0)
    assert leg.rolled_mm == pytest.approx(3000.0, abs=1e-6)
    assert leg.turned_rad == pytest.approx(0.0, abs=1e-3)
    assert leg.sd_mm == pytest.approx(np.hypot(0.1, 0.02), rel=1e-6), "two readings and a wheel out of round"


def test_there_and_back_and_a_rod_laid_end_to_end() -> None:
    there_and_back = taped_legs(went(0.0, 3000.0, 0.0, 3000.0), 3000.0, 65.0)
    assert [round(leg.rolled_mm) for leg in there_and_back] == [3000, -3000, 3000]
    rod = taped_legs(went(0.0, -300.0, -600.0, -900.0), 300.0, 65.0)
    assert [round(leg.rolled_mm) for leg in rod] == [-300, -300, -300]


def test_a_stop_on_the_way_is_no_end_and_the_last_nudge_counts() -> None:
    (leg,) = taped_legs(went(0.0, 1200.0, 2960.0, 2999.0), 3000.0, 65.0)
    assert leg.rolled_mm == pytest.approx(2999.0)
    first, back = taped_legs(went(0.0, 2980.0, 3000.0, 10.0), 3000.0, 65.0)
    assert (round(first.rolled_mm), round(back.rolled_mm)) == (3000, -2990)


def test_how_far_it_turned_is_left_and_right_alike() -> None:
    """2 pi over a circle of 480 mm radius; an even bias is no turning."""
    round_ = went(0.0, 2 * np.pi * 480.0, turn_rad_mm=1 / 480.0)
    assert whole_leg(round_, 65.0, of="laps").turned_rad == pytest.approx(2 * np.pi, rel=0.01)
    assert np.isnan(whole_leg(went(0.0, 3000.0, gyro=False), 65.0, of="laps").turned_rad)


def test_what_adds_up_along_the_way_counts_between_the_stops_only() -> None:
    travel = went(0.0, 1000.0, 4000.0)
    grown = 0.2 * np.sqrt(travel.distance_mm / 1000.0)
    travel = dataclasses.replace(travel, distance_sd_mm=np.sqrt(travel.distance_sd_mm**2 + grown**2))
    (leg,) = taped_legs(travel, 3000.0, 65.0)[-1:]
    assert leg.sd_mm == pytest.approx(np.sqrt(0.1**2 + 0.02**2 + 0.04 * 3), rel=0.02)


@pytest.mark.parametrize(
    ("travel", "says"),
    [
        (went(0.0, 2000.0), r"two stops 3000 mm apart, as taped \(to 3%\), came 2000 mm by the wheel from the first"),
        (went(0.0), "expected a standstill before and after, so that a run with taped= has two ends, came 1 in it"),
        (
            dataclasses.replace(went(0.0, 3000.0), mishaps=(Mishap("slide", 5.0, 5.4, 40.0, "mm", 1.0, 1.0),)),
            "expected a wheel that rolled all the way .* came a sliding wheel at 5.0 s; roll it again",
        ),
        (
            dataclasses.replace(
                went(0.0, 3000.0), problems=(Problem("turns may be lost", 1, "at 7.00 s", "predicted", "."),)
            ),
            "came turns may be lost at 7.00 s",
        ),
    ],
)
def test_what_cannot_tell_is_refused_in_one_line(travel: Travel, says: str) -> None:
    with pytest.raises(UndeterminedError, match=says) as caught:
        taped_legs(travel, 3000.0, 65.0)
    assert "\n" not in str(caught.value)


def test_a_slide_outside_the_leg_and_a_knock_in_it_do_no_harm() -> None:
    knocked = dataclasses.replace(
        went(0.0, 3000.0),
        mishaps=(
            Mishap("knock", 6.0, 6.1, 1.0, "g", 0.1, 0.0),
            Mishap("hand", 0.5, 1.0, 4.0, "deg", 1.0, 0.0),
            Mishap("lift", 0.5, 1.0, 9.0, "deg", 1.0, 0.0),
        ),
    )
    assert len(taped_legs(knocked, 3000.0, 65.0)) == 1
