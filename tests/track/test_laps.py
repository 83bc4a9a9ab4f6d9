"""Laps found in a run and laps that were stated, against lines whose laps are known."""

import numpy as np
import pytest

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Travel
from wayrule.pipeline import travel
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, arc, build, figure_eight, laps, oval, simulate, straight
from wayrule.track.laps import find_laps, stated_laps

CELL_MM = HO_VAN.wheelbase_mm / 8


def lapping(count: int, *, figure: bool = False) -> Travel:
    """A few laps of an oval of 5 m, or of a figure-eight of 25 m."""
    line = figure_eight(np.random.default_rng(4)) if figure else oval(np.random.default_rng(4), length_mm=5000.0)
    plan = RunPlan(*laps(line.length_mm, count, 250.0))
    return travel(simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(5), name="monday")[0], HO_VAN)


def along(*legs: Leg) -> Travel:
    """A run over an open line with a bend of 60 deg."""
    line = build("Ling bank", [straight(600.0), arc(900.0, 60.0), straight(900.0)])
    plan = RunPlan(100.0, legs)
    return travel(simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(6), name="branch")[0], HO_VAN)


@pytest.fixture(scope="module")
def twice() -> Travel:
    return lapping(2)


@pytest.fixture(scope="module")
def out() -> Travel:
    return along(Leg(2100.0, 200.0))


def test_a_found_lap_is_the_railways(twice: Travel) -> None:
    """Two laps of one line: the run is two laps long, whatever the wheel's circumference; one turn each."""
    found = find_laps(twice, CELL_MM)
    assert found is not None
    assert found.laps == pytest.approx(2.0, abs=0.005), "15 mm in 5 m: two cells"
    assert abs(found.turns) == 1
    assert found.lap_mm == pytest.approx(stated_laps(twice, 2, CELL_MM).lap_mm, rel=0.003)


def test_a_figure_eight_turns_nowhere() -> None:
    found = find_laps(lapping(2, figure=True), CELL_MM)
    assert found is not None
    assert found.turns == 0
    assert found.laps == pytest.approx(2.0, abs=0.005)


@pytest.mark.parametrize("count", [1, 3, 4, 6])
def test_another_number_of_laps_than_the_run_makes_is_refused(twice: Travel, count: int) -> None:
    with pytest.raises(UsageError, match=r"monday: expected .* as stated, came a run that goes round 2 times") as told:
        stated_laps(twice, count, CELL_MM)
    assert "state @laps=2" in str(told.value)


def test_the_right_number_of_laps_is_taken(twice: Travel) -> None:
    """One lap shows nothing twice, so nothing contradicts it either."""
    assert stated_laps(twice, 2, CELL_MM).laps == 2.0
    assert stated_laps(lapping(1), 1, CELL_MM).laps == 1.0


@pytest.mark.parametrize(
    ("count", "says"),
    [(1, r"a run that turns by (59|60|61) deg a lap, not by whole turns"), (2, "other bends one lap later")],
)
def test_laps_of_an_open_line_are_refused(out: Travel, count: int, says: str) -> None:
    with pytest.raises(UsageError, match=says) as told:
        stated_laps(out, count, CELL_MM)
    assert "leave the laps off if the line is open" in str(told.value)


def test_a_straight_line_is_no_lap() -> None:
    """It turns by 0, a whole number of turns; but its ends lie its length apart."""
    line = build("Headshunt", [straight(2000.0)])
    plan = RunPlan(100.0, (Leg(1700.0, 200.0),))
    run = travel(simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(7), name="spur")[0], HO_VAN)
    with pytest.raises(UsageError, match="ends of a lap that lie 100 % of its length apart"):
        stated_laps(run, 1, CELL_MM)


def test_out_and_back_is_no_lap() -> None:
    run = along(Leg(2100.0, 200.0, 2.0), Leg(-2100.0, 200.0))
    with pytest.raises(UndeterminedError, match="expected a run that goes round 1 times, came a run that ends") as told:
        stated_laps(run, 1, CELL_MM)
    assert "if the wagon came back the way it went" in str(told.value)
    assert find_laps(run, CELL_MM) is None
