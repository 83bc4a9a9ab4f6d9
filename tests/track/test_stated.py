"""Statements that cannot be true are refused in one line; those that may be are let through."""

import dataclasses

import numpy as np
import pytest

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Control, Facts, Relation, State, Stretch, Tape, Travel
from wayrule.pipeline import travel
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, arc, build, laps, oval, simulate, straight
from wayrule.track.place import Line, place
from wayrule.track.stated import check_facts

WHEELBASE_MM = HO_VAN.wheelbase_mm
REACH_MM = 2100.0


@pytest.fixture(scope="module")
def branch() -> tuple[Travel, Line]:
    """2.1 m of an open line, with two marks."""
    railway = build("Ling bank", [straight(600.0), arc(900.0, 60.0), straight(900.0)])
    plan = RunPlan(100.0, (Leg(REACH_MM, 200.0),), marks=((500.0, "bridge"), (1500.0, "signal")))
    run = travel(simulate(railway, HO_VAN, plan, GOOD, np.random.default_rng(6), name="branch")[0], HO_VAN)
    return run, place([run], Facts(), WHEELBASE_MM, WHEELBASE_MM / 8)


@pytest.fixture(scope="module")
def ring() -> tuple[Travel, Line]:
    """Two laps of a small oval, stated."""
    railway = oval(np.random.default_rng(4), length_mm=5000.0)
    plan = RunPlan(*laps(railway.length_mm, 2, 250.0))
    run = travel(simulate(railway, HO_VAN, plan, GOOD, np.random.default_rng(5), name="ring")[0], HO_VAN)
    return run, place([run], Facts(laps={"ring": 2}), WHEELBASE_MM, WHEELBASE_MM / 8)


def check(which: tuple[Travel, Line], **stated: object) -> None:
    run, line = which
    check_facts([run], Facts(**stated), line, WHEELBASE_MM)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "stated",
    [
        {},
        {"tapes": (Tape("bridge..signal", 1000.0, 3.0),)},
        {"tapes": (Tape("signal..bridge", 1000.0, 3.0), Tape("start..end", 2100.0, 5.0))},
        {"tapes": (Tape("start..end", 2100.0, 5.0), Tape("start..end", 2110.0, 5.0))},
        {"controls": (Control("bridge", 0.0, 0.0, sd_mm=1.0), Control("end", 1.0, 2.0, sd_mm=1.0))},
        {"relations": (Relation("bridge", "signal", 900.0, 300.0, sd_mm=1.0),)},
        {
            "relations": (
                Relation("start", "end", dheading_rad=-5.3, heading_sd_rad=0.01),
                Relation("start", "end", dheading_rad=0.98, heading_sd_rad=0.01),
            )
        },
        {"level": (Stretch(0.0, 600.0),), "straight": (Stretch(1500.0, 2100.0),)},
    ],
)
def test_what_may_be_true_is_let_through(branch: tuple[Travel, Line], stated: dict[str, object]) -> None:
    check(branch, **stated)
    run, line = branch
    assert line.lap_mm is None
    assert run.run == "branch"


@pytest.mark.parametrize(
    ("stated", "error", "says"),
    [
        (
            {"tapes": (Tape("lap", 9000.0, 5.0),)},
            UndeterminedError,
            "--tape lap: expected a closed line .* an open line",
        ),
        ({"tapes": (Tape("stops", 900.0, 5.0),)}, UsageError, "--tape stops: expected about 21.. mm, .* came 900 mm"),
        (
            {"tapes": (Tape("bridge..halt", 900.0, 5.0),)},
            UndeterminedError,
            r"--tape bridge..halt: expected start, end or the name of a mark \(bridge, signal\), came 'halt'",
        ),
        (
            {"controls": (Control("halt", 0.0, 0.0, sd_mm=1.0),)},
            UndeterminedError,
            r"--control: expected start, end or the name of a mark \(bridge, signal\), came 'halt'",
        ),
        ({"tapes": (Tape("bridge..signal", 100.0, 3.0),)}, UsageError, r"expected about 10\d\d mm, .* came 100 mm"),
        (
            {"tapes": (Tape("start..end", 2100.0, 5.0), Tape("start..end", 2200.0, 5.0))},
            UsageError,
            r"expected tapes of one length that agree, came 2100 \+- 5 and 2200 \+- 5 mm",
        ),
        (
            {"controls": (Control("end", 0.0, 0.0, sd_mm=1.0), Control("end", 30.0, 40.0, sd_mm=1.0))},
            UsageError,
            "--control: expected one place for end, came control points 50 mm apart",
        ),
        (
            {"controls": (Control("end", z_mm=0.0, z_sd_mm=1.0), Control("end", z_mm=90.0, z_sd_mm=1.0))},
            UsageError,
            "control points 90 mm in height apart",
        ),
        (
            {"relations": (Relation("bridge", "halt", 0.0, 0.0, sd_mm=1.0),)},
            UndeterminedError,
            r"--relation: expected start, end or the name of a mark \(bridge, signal\), came 'halt'",
        ),
        (
            {"relations": (Relation("bridge", "signal", 1200.0, 900.0, sd_mm=1.0),)},
            UsageError,
            r"--relation bridge..signal: expected places no further apart .* about 10\d\d mm, came 1500 mm",
        ),
        (
            {"relations": tuple(Relation("start", "end", dx, 0.0, sd_mm=5.0) for dx in (1000.0, 1050.0))},
            UsageError,
            "--relation start..end: expected relations of one pair that agree, came 50 mm of difference",
        ),
        (
            {"relations": tuple(Relation("start", "end", dz_mm=dz, z_sd_mm=1.0) for dz in (0.0, 12.0))},
            UsageError,
            "came 12 mm in height of difference",
        ),
        (
            {"relations": tuple(Relation("start", "end", dheading_rad=a, heading_sd_rad=0.01) for a in (0.0, 0.5))},
            UsageError,
            "came 0.5 rad of difference",
        ),
        ({"level": (Stretch(20000.0, 21000.0),)}, UsageError, r"--level: expected a stretch .* came 20000:21000"),
        (
            {"straight": (Stretch(-500.0, 100.0),)},
            UsageError,
            "--straight: expected a stretch of the line, which reaches",
        ),
    ],
)
def test_what_cannot_be_true_is_refused(
    branch: tuple[Travel, Line], stated: dict[str, object], error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says):
        check(branch, **stated)


def test_a_run_that_never_stands_has_no_stops_to_tape(branch: tuple[Travel, Line]) -> None:
    run, line = branch
    rolling = dataclasses.replace(run, state=np.full(len(run.t_s), State.ROLLING, dtype=np.int8))
    with pytest.raises(UndeterminedError, match="--tape stops: expected two stops in branch, came 0"):
        check((rolling, line), tapes=(Tape("stops", 2100.0, 5.0),))


def test_a_ring_takes_stretches_across_its_start_and_no_longer_than_itself(ring: tuple[Travel, Line]) -> None:
    lap = ring[1].lap_mm
    assert lap is not None
    check(ring, level=(Stretch(lap - 300.0, lap + 300.0),), tapes=(Tape("lap", lap * 1.01, 5.0),))
    with pytest.raises(UsageError, match="--level"):
        check(ring, level=(Stretch(0.0, 1.5 * lap),))
    with pytest.raises(UsageError, match=r"--tape lap: expected about .* mm, as the wheel has it, came 9012 mm"):
        check(ring, tapes=(Tape("lap", 9012.0, 5.0),))


def test_on_a_ring_the_way_round_is_the_shorter_one(ring: tuple[Travel, Line]) -> None:
    """After two laps the end is where the start is, not two laps from it."""
    check(ring, relations=(Relation("start", "end", 0.0, 0.0, sd_mm=3.0),))
    with pytest.raises(UsageError, match=r"--relation start\.\.end: expected places no further apart"):
        check(ring, relations=(Relation("start", "end", 800.0, 0.0, sd_mm=3.0),))


def test_whole_laps_start_and_end_at_one_place(ring: tuple[Travel, Line]) -> None:
    start = Control("start", 0.0, 0.0, sd_mm=2.0)
    check(ring, controls=(start, Control("end", 3.0, 0.0, sd_mm=2.0)))
    with pytest.raises(UsageError, match="one place for start and end of whole laps, came control points 100 mm apart"):
        check(ring, controls=(start, Control("end", 100.0, 0.0, sd_mm=2.0)))


def test_marks_are_asked_for_where_no_recording_has_any(ring: tuple[Travel, Line]) -> None:
    with pytest.raises(UndeterminedError, match="the recordings have none"):
        check(ring, controls=(Control("bridge", 0.0, 0.0, sd_mm=2.0),))
