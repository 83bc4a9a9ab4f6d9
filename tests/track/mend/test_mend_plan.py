"""The target line and its work sheet on lines whose faults are known."""

import dataclasses

import numpy as np
import pytest

from tests.track.mend.railways import surveyed
from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Baseboard, MendLimits, Surveyed
from wayrule.sim import Defect, Railway, arc, build, straight, transition
from wayrule.sim.mending import carried_out
from wayrule.sim.register import Laid
from wayrule.track.mend.plan import mend_plan, usual_limits

K = 1 / 600.0
PIECES = [straight(1500), transition(220, 0, K), arc(600, 50), transition(220, K, 0), straight(1500)]
FAULTS = [
    Defect("dip", 500.0, 1.0, 150.0),
    Defect("one_rail_dip", 900.0, 1.2, 130.0, "left"),
    Defect("twist", 1300.0, 1.0, 130.0),
    Defect("lateral", 2000.0, 1.5, 200.0),
    Defect("hump", 3000.0, 0.9, 150.0),
]


@pytest.fixture(scope="module")
def line() -> Railway:
    return build("Heather Vale bank", PIECES, defects=FAULTS)


@pytest.fixture(scope="module")
def found(line: Railway) -> Surveyed:
    return surveyed(line)


def test_each_fault_is_undone_where_and_as_it_is(found: Surveyed) -> None:
    plan = mend_plan(found)
    sheet = plan.sheet

    def at(s: float) -> tuple[float, float, float]:
        i = int(np.argmin(abs(sheet.s_mm - s)))
        return float(sheet.left_mm[i]), float(sheet.right_mm[i]), float(sheet.slew_mm[i])

    # what undoes a planted defect is the defect itself with the other sign; 0.15 mm: rounding and the survey's noise
    assert at(500) == pytest.approx((1.0, 1.0, 0.0), abs=0.15)
    assert at(900) == pytest.approx((1.2, 0.0, 0.0), abs=0.15)
    assert at(1300) == pytest.approx((-0.5, 0.5, 0.0), abs=0.15)
    assert at(2000) == pytest.approx((0.0, 0.0, -1.5), abs=0.25)
    assert at(3000) == pytest.approx((-0.9, -0.9, 0.0), abs=0.15)
    assert at(3500) == (0.0, 0.0, 0.0)
    assert plan.predicted == ()
    assert plan.beyond == ()


def test_the_words_name_rail_amount_length_and_place(found: Surveyed) -> None:
    words = [m.words for m in mend_plan(found).singles]
    assert any(w.startswith("One-rail dip of 1.2 mm (left): raise the left rail by up to 1.") for w in words)
    assert any("at 0.50 m" in w and "raise both rails" in w for w in words)
    assert any("at 2.00 m" in w and "slew to the right" in w for w in words)


def test_work_is_in_whole_shims_and_leaves_good_track_alone(found: Surveyed) -> None:
    plan = mend_plan(found, dataclasses.replace(usual_limits(16.5), shim_mm=0.2, leave_mm=0.4))
    for rail in (plan.sheet.left_mm, plan.sheet.right_mm):
        np.testing.assert_allclose(rail / 0.2, np.round(rail / 0.2), atol=1e-9)
    worked = (plan.sheet.left_mm != 0) | (plan.sheet.right_mm != 0) | (plan.sheet.slew_mm != 0)
    near = np.min(abs(plan.sheet.s_mm[:, None] - [d.s_mm for d in FAULTS]), axis=1) < 200
    assert not np.any(worked & ~near)


def test_limits_and_fixed_points_are_kept(found: Surveyed) -> None:
    limits = MendLimits(3.0, 0.0, 3.0, fixed=((420.0, 580.0),))
    plan = mend_plan(found, limits)
    assert min(plan.sheet.left_mm.min(), plan.sheet.right_mm.min()) == 0.0
    fixed = (plan.sheet.s_mm >= 420) & (plan.sheet.s_mm <= 580)
    assert not plan.sheet.left_mm[fixed].any()
    assert not plan.sheet.right_mm[fixed].any()


def test_a_limit_that_cannot_be_kept_is_told(found: Surveyed) -> None:
    plan = mend_plan(found, MendLimits(0.5, 0.0, 0.5))
    assert plan.beyond
    assert any("limits do not allow" in note for note in plan.notes)


def test_carried_out_the_faults_are_gone(line: Railway, found: Surveyed) -> None:
    plan = mend_plan(found)
    done = carried_out(line, plan.sheet, Laid(0.0, 1, 1.0), np.random.default_rng(5))
    after = surveyed(done, 2)
    assert len(found.faults) == len(FAULTS)
    assert after.faults == ()
    # an exact hand leaves what rounding leaves
    exact = carried_out(line, plan.sheet, Laid(0.0, 1, 1.0), np.random.default_rng(5), sd_mm=0.0)
    s = np.linspace(300, 3300, 500)
    plain = build("as meant", PIECES)
    assert np.max(abs(exact.z(s) - plain.z(s) - (exact.z(s[0]) - plain.z(s[0])))) < 0.2
    assert np.max(abs(exact.cant(s))) < 0.35


def test_done_the_other_way_round_it_is_the_same(line: Railway, found: Surveyed) -> None:
    plan = mend_plan(found)
    mirrored = dataclasses.replace(
        plan.sheet,
        s_mm=line.length_mm - plan.sheet.s_mm[::-1],
        left_mm=plan.sheet.right_mm[::-1],
        right_mm=plan.sheet.left_mm[::-1],
        slew_mm=-plan.sheet.slew_mm[::-1],
        label=plan.sheet.label[::-1],
    )
    one = carried_out(line, plan.sheet, Laid(0.0, 1, 1.0), np.random.default_rng(1), sd_mm=0.0)
    two = carried_out(line, mirrored, Laid(line.length_mm, -1, 1.0), np.random.default_rng(1), sd_mm=0.0)
    s = np.linspace(100, 3700, 200)
    np.testing.assert_allclose(one.cant(s), two.cant(s), atol=1e-6)
    np.testing.assert_allclose(one.heading(s), two.heading(s), atol=1e-6)


def test_a_kink_is_spread() -> None:
    line = build("kinked", [straight(3000)], defects=[Defect("kink", 1500.0, 1.5, 10.0)])
    before = surveyed(line)
    plan = mend_plan(before)
    # a turn of a radians over l is an arc whose middle lies a l / 8 from the joint of its tangents (circle geometry)
    away = np.radians(1.5) * 6 * 65.0 / 8
    assert np.max(np.abs(plan.sheet.slew_mm)) == pytest.approx(away, rel=0.25)
    assert all(f.kind != "kink" for f in plan.predicted)


def test_a_board_is_raised_before_any_rail() -> None:
    # a board from 1000 to 2200 mm that stands 2 mm low at its far end only
    found = surveyed(build("level", [straight(4000)]))
    s = found.stations.s_mm
    low = np.where((s >= 1000) & (s <= 2200), -2.0 * (s - 1000) / 1200, 0.0)
    found = dataclasses.replace(found, stations=dataclasses.replace(found.stations, z_mm=found.stations.z_mm + low))
    boards = [Baseboard("B1", 0.0, 1000.0), Baseboard("B2", 1000.0, 2200.0), Baseboard("B3", 2200.0, 4000.0)]
    plan = mend_plan(found, boards=boards)
    assert [m.board.name for m in plan.boards] == ["B2"]
    assert plan.boards[0].start_mm == pytest.approx(0.0, abs=0.1)
    assert plan.boards[0].end_mm == pytest.approx(2.0, abs=0.1)
    assert plan.boards[0].words == "Board B2: raise its end at 2.20 m by 2.0 mm."
    assert plan.sheet.total_mm < 5.0
    assert "Set the boards, measure again" in plan.notes[0]


@pytest.mark.parametrize(
    ("boards", "words"),
    [
        ([Baseboard("A", -500.0, 900.0)], "a board on the line"),
        ([Baseboard("A", 100.0, 120.0)], "longer than a wheelbase"),
        ([Baseboard("A", 0.0, 900.0), Baseboard("B", 800.0, 1500.0)], "boards that do not overlap"),
    ],
)
def test_boards_that_are_none(found: Surveyed, boards: list[Baseboard], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        mend_plan(found, boards=boards)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (MendLimits(-1.0, 1.0, 1.0), "--lift: expected 0 mm or more"),
        (MendLimits(1.0, 1.0, float("nan")), "--slew: expected 0 mm or more"),
        (MendLimits(1.0, 1.0, 1.0, shim_mm=0.0), "--shim: expected more than 0 mm"),
        (MendLimits(1.0, 1.0, 1.0, fixed=((5.0, 3.0),)), "FROM not above TO"),
    ],
)
def test_limits_that_are_none(found: Surveyed, limits: MendLimits, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        mend_plan(found, limits)


def test_marks_only_needs_marks(found: Surveyed) -> None:
    with pytest.raises(UsageError, match="a survey with marks"):
        mend_plan(found, marks_only=True)


def test_a_survey_with_nothing_to_mend_by(found: Surveyed) -> None:
    nothing = np.full(len(found.stations.s_mm), np.nan)
    flat = dataclasses.replace(found.stations, x_mm=nothing, y_mm=nothing, z_mm=nothing, heading_rad=nothing)
    with pytest.raises(UndeterminedError, match="a survey with a plan or heights"):
        mend_plan(dataclasses.replace(found, stations=flat))


def test_without_heights_nothing_is_lifted(found: Surveyed) -> None:
    nothing = np.full(len(found.stations.s_mm), np.nan)
    flat = dataclasses.replace(found.stations, z_mm=nothing, gradient=nothing, gradient_sd=nothing)
    plan = mend_plan(dataclasses.replace(found, stations=flat))
    assert not plan.sheet.left_mm.any()
    assert plan.sheet.slew_mm.any()
    assert "The survey has no heights: nothing is said about lifting." in plan.notes
