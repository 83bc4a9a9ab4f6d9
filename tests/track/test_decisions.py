"""Every choice is told, and every choice can be overruled; the simulator knows what is true."""

import numpy as np
import pytest

from wayrule import pipeline
from wayrule.errors import UsageError
from wayrule.model import Facts, Recording, Survey
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, branch_n, laps, oval, simulate
from wayrule.sim.wagons import N_VAN
from wayrule.track.place import _way_of

OVAL_MM = 6000.0


def said(survey: Survey) -> dict[str, tuple[str, str, str]]:
    return {what: (answer, why, change) for what, answer, why, change in survey.decisions}


@pytest.fixture(scope="module")
def runs() -> tuple[Recording, Recording]:
    """Two laps of a small oval, and one and a half with the wagon turned end for end."""
    rng = np.random.default_rng(21)
    line = oval(rng, length_mm=OVAL_MM)
    a, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 2, 220.0), rate_hz=50), GOOD, rng, name="a")
    plan = RunPlan(0.0, (Leg(1.5 * line.length_mm, 220.0),), rate_hz=50, turned=True)
    b, _ = simulate(line, HO_VAN, plan, GOOD, rng, specimen=truth.specimen, name="b")
    return a, b


def test_what_nobody_stated_is_decided_and_told(runs):
    told = said(pipeline.survey(runs, HO_VAN))
    assert set(told) == {
        "forward of a", "forward of b", "laps of a", "laps of b", "way of a", "way of b", "level of the start",
    }  # fmt: skip
    assert told["laps of a"][0].startswith("2.00")
    assert told["laps of a"][2] == "RUN@laps=N or --open"
    assert told["way of a"][0] == "not turned"
    assert "chainage grows that way" in told["way of a"][1]
    assert told["way of b"][0] == "turned"
    assert "fits far better turned" in told["way of b"][1]
    assert told["way of b"][2] == "--turned RUN or --not-turned RUN"
    assert told["forward of a"][0] == "as mounted"
    assert told["forward of a"][2] == "--as-mounted RUN"
    assert told["level of the start"][0] == "level to ±20 per mille"
    assert all(not why.startswith("stated") for _, why, _ in told.values())


def test_a_line_can_be_said_to_be_open(runs):
    """Two laps unrolled: twice as long, not closed, each place passed once."""
    found = pipeline.survey(runs[:1], HO_VAN, Facts(open=True))
    assert not found.stations.closed
    assert found.closure is None
    assert found.stations.length_mm == pytest.approx(2 * OVAL_MM, rel=0.01), "the caliper's 0.4 %, and a wheelbase"
    assert np.median(found.stations.passes) == 1
    assert said(found)["laps of a"][:2] == ("none: an open line", "stated")


def test_a_run_can_be_said_not_to_be_turned(runs):
    """The simulator turned it; what was stated is held all the same, and the doubt is told."""
    answer, why, _ = said(pipeline.survey(runs, HO_VAN, Facts(not_turned=frozenset({"b"}))))["way of b"]
    assert answer == "not turned"
    assert why.startswith("stated, though it fits better turned")


def test_what_was_stated_against_the_fit_says_so():
    """Misfits by hand: turned fits twice as well. Nobody said: turned; said: held, with the doubt told."""
    misfit = {1: 0.5, -1: 0.25}
    assert _way_of("b", Facts(), misfit) == (-1, "fits far better turned (misfit 0.25 against 0.50)")
    assert _way_of("b", Facts(not_turned=frozenset({"b"})), misfit) == (
        1, "stated, though it fits better turned (misfit 0.25)",
    )  # fmt: skip
    assert _way_of("b", Facts(turned=frozenset({"b"})), misfit) == (-1, "stated")
    assert _way_of("b", Facts(), {1: 0.25, -1: 0.25}) == (1, "not said to be turned")


def test_the_first_run_may_be_said_to_be_turned(runs):
    """It rolls towards its front; said to be turned, chainage grows against its movement: left becomes right."""
    as_rolled = pipeline.survey(runs[:1], HO_VAN, Facts(laps={"a": 2}))
    turned = pipeline.survey(runs[:1], HO_VAN, Facts(laps={"a": 2}, turned=frozenset({"a"})))
    assert said(turned)["way of a"][:2] == ("turned", "stated; so chainage grows against its first movement")
    assert np.mean(turned.stations.curvature_1_mm) == pytest.approx(
        -np.mean(as_rolled.stations.curvature_1_mm), rel=0.01
    )


def test_a_run_named_nowhere_is_one_line(runs):
    with pytest.raises(UsageError, match="expected one of the runs a, came c"):
        pipeline.survey(runs[:1], HO_VAN, Facts(as_mounted=frozenset({"c"})))


def test_the_level_of_the_start_can_be_stated():
    """An open line, one run, not turned: heights rest on it. Its sigma goes into that of the gradient; and a start said
    to be level within half a per mille draws the gradients there to what was said."""
    rng = np.random.default_rng(8)
    line = branch_n(rng)
    plan = RunPlan(120.0, (Leg(4000.0, 150.0),), rate_hz=50)
    run, _ = simulate(line, N_VAN, plan, GOOD, rng, name="a")
    usual, strict, loose = (pipeline.survey([run], N_VAN, Facts(start_level_sd=sd)) for sd in (0.02, 0.0005, 0.2))
    sds = [float(np.median(s.stations.gradient_sd)) for s in (strict, usual, loose)]
    assert sds[0] < 0.5 * sds[1]
    assert sds[1] < sds[2]
    assert abs(strict.stations.gradient[0]) < abs(loose.stations.gradient[0]) + 1e-4
    assert said(strict)["level of the start"][:2] == ("level to ±0.5 per mille", "stated")
