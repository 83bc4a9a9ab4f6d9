"""What lies between two places: geometry of a circle by hand, finite differences, and the simulator's truth."""

import dataclasses

import numpy as np
import pytest

from tests.track.test_adjust import WAGON, circling
from wayrule import pipeline
from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Facts, Survey, Tape
from wayrule.sim import GOOD, HO_VAN, RunPlan, errors, laps, oval, simulate
from wayrule.sim.pairs import pair_errors
from wayrule.track.adjust.adjust import adjust
from wayrule.track.adjust.between import AdjustedJoint, _along, _At, _pairs
from wayrule.track.adjust.line import trace
from wayrule.track.adjust.problem import TRACE_STEP_KNOTS, prepare
from wayrule.track.place import place

RADIUS = 480.0
ROUND = 2 * np.pi * RADIUS


@pytest.fixture(scope="module")
def circle():
    """Three laps of a circle whose lap is taped to 0.5 mm."""
    facts = Facts(laps={"circle": 3}, tapes=(Tape("lap", ROUND, 0.5),))
    return adjust(prepare([circling(RADIUS, 3)], WAGON, facts, place([circling(RADIUS, 3)], facts, 65.0, 65.0 / 8)))


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.8])
def test_two_places_of_a_circle(circle, share):
    """Chord 2 R sin(half the turn), arc R x turn; half a millimetre, as for the circle itself."""
    found = AdjustedJoint(circle).between(100.0, (100.0 + share * ROUND) % ROUND)
    turn = 2 * np.pi * share
    assert found.along_mm == pytest.approx(share * ROUND, abs=0.5)
    assert found.distance_mm == pytest.approx(2 * RADIUS * np.sin(turn / 2), abs=0.5)
    assert found.turned_rad == pytest.approx(turn, abs=2e-3)
    assert found.rise_mm == pytest.approx(0.0, abs=0.2)
    assert np.isnan(found.gap_mm), "on a circle every way leads to the first place itself"


def test_the_way_along_carries_the_tapes_sigma(circle):
    """A tape of 0.5 mm on the lap leaves share x 0.5 mm on a part of it (0.02 mm: the slip between passes)."""
    joint = AdjustedJoint(circle)
    for share in (0.25, 0.5, 0.9):
        assert joint.between(0.0, share * ROUND).along_sd_mm == pytest.approx(0.5 * share, abs=0.02)


def test_near_places_are_surer_than_far_ones(circle):
    """What both places share cancels; the map's own sigma does not know that."""
    joint = AdjustedJoint(circle)
    near, far = joint.between(0.0, 60.0), joint.between(0.0, ROUND / 2)
    assert near.distance_sd_mm < 0.2 * far.distance_sd_mm
    assert near.rise_sd_mm < far.rise_sd_mm


def test_from_b_to_a_is_the_rest_of_the_lap(circle):
    joint = AdjustedJoint(circle)
    there, back = joint.between(200.0, 900.0), joint.between(900.0, 200.0)
    assert there.along_mm + back.along_mm == pytest.approx(ROUND, abs=0.5)
    assert there.turned_rad + back.turned_rad == pytest.approx(2 * np.pi, abs=1e-9)
    assert back.distance_mm == pytest.approx(there.distance_mm, rel=1e-9)
    assert back.distance_sd_mm == pytest.approx(there.distance_sd_mm, rel=0.02), "other pairs show the scatter"
    assert back.rise_mm == pytest.approx(-there.rise_mm, abs=1e-9)


def test_functionals_agree_with_finite_differences(circle):
    """Every unknown moved a little: distance, rise, turn and way along change as their rows say."""
    u, rng = circle.unknowns, np.random.default_rng(4)
    pairs = _pairs(circle, trace(u, u.spline.h * TRACE_STEP_KNOTS / 2), 150.0, 1900.0)

    def quantities(unknowns):
        at = _At.of(dataclasses.replace(circle, unknowns=unknowns), pairs.ravel())
        line = trace(unknowns, u.spline.h * TRACE_STEP_KNOTS / 2)
        way = _along(unknowns, line, pairs)
        return at.apart(), at.rise(), at.turned(way[0]), way

    before = quantities(u)
    names = [u.names[n] for n in ("scale", "slip_mm", "waver", "gyro_scale_z", "gyro_scale_y")]
    step = np.zeros((3, u.block))
    step[:2, : u.spline.n] = 1e-6 * rng.normal(size=(2, u.spline.n)).cumsum(axis=1)
    border = np.zeros(len(u.border))
    for part in names:
        border[part] = 1e-6 * rng.normal(size=part.stop - part.start)
    moved = quantities(u.moved(step.ravel(), border))
    for (old, rows), (new, _) in zip(before, moved, strict=True):
        linear = rows.spline[0] @ step[rows.axis, : u.spline.n] + rows.border[0] @ border
        assert new - old == pytest.approx(linear, rel=0.02, abs=1e-6)


@pytest.fixture(scope="module")
def taped_oval():
    """Three laps of the simulator's oval with a true tape: the railway, the run's truth and the survey."""
    rng = np.random.default_rng(11)
    line = oval(rng)
    run, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 3, 220.0), rate_hz=100), GOOD, rng, name="a")
    survey = pipeline.survey(
        [run], HO_VAN, Facts(tapes=(Tape("lap", line.length_mm, 5.0),)), between=[("start", "2000")]
    )
    return line, truth, survey


def test_errors_of_pairs_are_to_their_sigmas_as_the_stations_are_to_theirs(taped_oval):
    """Errors of one line go together, so its share inside two sigmas tells little (many lines:
    `benchmarks/adjusting/pairs.py`). But truth minus survey over sigma must be as large between places as at the
    stations: rise as z, turn as heading, distance as x and y, to a factor of 2.5 (25 pairs stand for 1800 stations)."""
    line, truth, survey = taped_oval
    at = {name: np.sqrt(np.mean(np.square(v))) for name, v in errors(line, truth, survey.stations).normalised.items()}
    places = np.random.default_rng(2).uniform(0.0, survey.stations.length_mm, (25, 2))
    found = pair_errors(line, truth, survey.stations, [survey.between(a, b) for a, b in places.tolist()])
    rms = {name: np.sqrt(np.mean(np.square(values))) for name, values in found.items()}
    assert 1 / 2.5 < rms["rise"] / at["z"] < 2.5
    assert 1 / 2.5 < rms["turned"] / at["heading"] < 2.5
    assert 1 / 2.5 < rms["distance"] / np.hypot(at["x"], at["y"]) * np.sqrt(2) < 2.5
    assert rms["along"] < 1.0, "the tape is true and stated to 5 mm, so the way along errs by less than its sigma"


def test_the_gap_is_square_to_the_other_track(taped_oval):
    """The straights of an oval: a gap to the far side is the same whichever place of the far side is named, and never
    more than the distance to that place."""
    _, _, survey = taped_oval
    length = survey.stations.length_mm
    one, two = (survey.between(0.05 * length, share * length) for share in (0.5, 0.53))
    assert one.gap_mm == pytest.approx(two.gap_mm, abs=1e-6)
    assert one.foot_mm == pytest.approx(two.foot_mm, abs=1e-6)
    assert one.gap_mm < one.distance_mm
    at_foot = survey.between(0.05 * length, one.foot_mm)
    assert at_foot.distance_mm == pytest.approx(one.gap_mm, abs=0.02), "chords of a few mm on the curve"
    assert at_foot.distance_sd_mm == pytest.approx(one.gap_sd_mm, rel=0.05)
    assert np.isnan(survey.between(0.05 * length, 0.06 * length).gap_mm), "the same straight"


def test_pairs_asked_for_are_answered_with_the_survey(taped_oval):
    _, _, survey = taped_oval
    (pair,) = survey.pairs
    assert (pair.a, pair.b) == ("start", "2000")
    assert pair == dataclasses.replace(survey.between("start", 2000.0), a="start", b="2000")


@pytest.mark.parametrize(
    ("a", "b", "says"),
    [
        (100.0, 100.0, "expected two different places"),
        (0.0, 99_000.0, "expected a place on the line, which reaches from 0 to"),
        (-5.0, 10.0, "expected a place on the line"),
        ("signal", 10.0, "expected a chainage in mm, start, end or the name of a mark"),
        (float("nan"), 10.0, "expected a place on the line"),
    ],
)
def test_places_that_are_none(taped_oval, a, b, says):
    _, _, survey = taped_oval
    with pytest.raises((UsageError, UndeterminedError), match=says):
        survey.between(a, b)


def test_a_survey_without_covariance_says_so(taped_oval):
    survey: Survey = dataclasses.replace(taped_oval[2], joint=None)
    with pytest.raises(UndeterminedError, match="expected a survey that keeps how its errors go together"):
        survey.between(0.0, 100.0)
