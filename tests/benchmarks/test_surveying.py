"""What the survey area measures with: verdicts over seeds, thinning, drawn lines, cost, and the page made of them."""

import dataclasses
import doctest
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from benchmarks import accuracy
from benchmarks.__main__ import areas
from benchmarks.row import Row
from benchmarks.surveying import cost, drawn, promised
from benchmarks.surveying.drawn import Judged, draw
from benchmarks.surveying.promised import OVAL, Outcome, Promise
from wayrule.sim import GOOD, HO_VAN, Coverage, Leg, Railway, RunPlan, RunTruth, build, oval, simulate, straight
from wayrule.sim.design import Grade


def test_parts_of_an_area_are_no_areas() -> None:
    assert "survey" in areas()
    assert not {"surveying", "accuracy", "row"} & set(areas())


@pytest.mark.parametrize(
    ("values", "ok", "measured"),
    [
        ([3.0, 3.0, 3.0], True, "3 mm"),
        ([0.1, 0.1, 4.5], True, "2.6 mm"),  # by hand: sqrt((0.01 + 0.01 + 20.25) / 3) = 2.599
        ([0.1, 0.1, 4.51], False, "2.61 mm"),  # one above 1.5 times the limit
        ([3.1, 3.1, 2.9], False, "3.03 mm"),  # rms above the limit
        ([1.0, math.nan, 1.0], False, "nan mm"),
        ([-4.6, 0.0, 0.0], False, "2.66 mm"),
    ],
)
def test_verdict_over_seeds(values: list[float], ok: bool, measured: str) -> None:
    row = promised.over_seeds("plan", values, 3.0, "mm")
    assert row.ok is ok
    assert row.measured.startswith(measured)


def test_a_stated_figure_must_be_there() -> None:
    assert promised.stated("x", {"plan": (1.0, "mm")}).ok
    assert not promised.stated("x", {"plan": (1.0, "mm"), "height": (math.nan, "mm")}).ok


def short_run() -> tuple[Railway, RunTruth]:
    line = build("Headshunt", [straight(1500.0)])
    plan = RunPlan(100.0, (Leg(1000.0, 250.0), Leg(-1000.0, 250.0)))
    return line, simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(1))[1]


def test_thinning_keeps_every_kth_row_of_every_sensor() -> None:
    line = build("Headshunt", [straight(1500.0)])
    run, _ = simulate(line, HO_VAN, RunPlan(100.0, (Leg(1000.0, 250.0),)), GOOD, np.random.default_rng(1))
    slow = promised.thinned(run, 4)
    assert slow.rate_hz == pytest.approx(50.0, rel=0.01)  # stamps jitter by 0.2 ms in 20
    assert slow.field_mt is not None
    assert slow.acc_mm_s2 is not None
    assert run.gyro_rad_s is not None
    np.testing.assert_array_equal(slow.gyro_rad_s, run.gyro_rad_s[::4])
    assert len(slow.field_mt) == len(slow.acc_mm_s2) == slow.n == math.ceil(run.n / 4)


def test_distance_error_is_the_largest_anywhere_over_the_path_back_and_forth() -> None:
    _, truth = short_run()
    # out and back over 1000 mm: 1 % too long everywhere is 10 mm at the far end, none at the end, of 2000 mm
    percent = promised.worst_distance_percent(truth.t_s, 1.01 * truth.path_mm, truth)
    assert percent == pytest.approx(0.5, rel=0.001)
    assert promised.worst_distance_percent(truth.t_s, truth.path_mm + 7.0, truth) == pytest.approx(0.0, abs=1e-9)


def test_a_tape_on_the_rails_reads_the_slope() -> None:
    # by hand: a steady climb of 3 % over 4000 mm is longer than its plan by sqrt(1.0009) - 1, 1.80 mm
    line = build("Incline", [straight(4000.0)], grades=[Grade(1.0, 0.03)])
    assert promised.along_the_rails(line) - 4000.0 == pytest.approx(4000.0 * (math.sqrt(1.0009) - 1.0), abs=0.02)


def test_drawn_lines_are_the_same_every_time_and_of_every_sort() -> None:
    first, again = draw(0), draw(0)
    assert first.title == again.title
    assert first.running.random() == again.running.random()
    lines = [draw(index) for index in range(9)]
    assert {line.scale for line in lines} == {"HO", "N", "G"}
    for line in lines:
        assert (line.laps in (2, 3)) == line.railway.closed == bool(line.facts.laps)
        assert bool(line.facts.tapes) == (line.tape_mm is not None)
        if line.railway.closed:
            assert line.plan.legs[0].distance_mm == pytest.approx(line.laps * line.railway.length_mm)
        else:
            wheelbase = drawn.TWO_AXLE[line.scale].wheelbase_mm
            assert sum(leg.distance_mm for leg in line.plan.legs) == 0.0
            assert line.plan.start_mm + line.plan.legs[0].distance_mm + wheelbase < line.railway.length_mm
    assert {line.railway.closed for line in lines} == {True, False}
    assert {line.tape_mm is None for line in lines if line.railway.closed} == {True, False}


def test_a_line_that_cannot_be_surveyed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise ValueError("no plan")

    monkeypatch.setattr(drawn, "survey", refuse)
    small = dataclasses.replace(draw(7), plan=RunPlan(0.0, (Leg(300.0, 150.0),)))
    judged = drawn.judge(small)
    assert judged.errors is None
    first = next(iter(drawn.coverage_rows([judged])))
    assert not first.ok
    assert first.measured == "0 of 1"
    assert "ValueError: no plan" in first.why


def test_raw_size_counts_every_array() -> None:
    run, _ = simulate(
        build("Headshunt", [straight(1500.0)]), HO_VAN, RunPlan(100.0, (Leg(500.0, 250.0),)), GOOD,
        np.random.default_rng(1),
    )  # fmt: skip
    assert cost.raw_bytes(run) == run.n * 10 * 8  # time, field, gyro, accelerometer in doubles


def test_the_long_recording_is_the_short_one_many_times_over() -> None:
    short, long = cost.lapping(1, 20.0, quick=True), cost.lapping(3, 60.0, quick=True)
    # standstills and ramps at the ends come to 6 to 14 s, whatever the length
    assert 120.0 / 60.0 < long.t_s[-1] / short.t_s[-1] < 3.0
    assert long.t_s[-1] == pytest.approx(60.0, abs=16.0)


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    """A small oval in place of the promised one, at a low rate: the whole chain in a few seconds."""
    return promised.measure(Promise("small oval", lambda rng: oval(rng, length_mm=5000.0), 3.0, 1.5), 1, 50)


def test_an_outcome_is_measured_against_the_truth(outcome: Outcome) -> None:
    assert outcome.rate_hz == 50
    assert outcome.closure is not None
    # the tape errs by 5 mm (one sigma) in 5 m: 0.1 %; four sigmas
    assert abs(outcome.tape_percent) < 0.5
    # a plain reading errs by centimetres; the caliper alone by 0.4 %
    assert outcome.errors.plan_rms_mm < 30.0
    assert outcome.distance_percent < abs(outcome.tape_percent) + 0.4
    assert len(list(promised.promised_rows(OVAL, [outcome]))) == 9


def test_the_page_shows_every_line_and_every_shortfall(outcome: Outcome) -> None:
    full = dataclasses.replace(outcome, rate_hz=promised.RATE_HZ)
    far = dataclasses.replace(full, seed=2, errors=dataclasses.replace(outcome.errors, plan_rms_mm=12345.0))
    lost = dataclasses.replace(outcome, seed=3, rate_hz=20, closure=None)
    judged = [Judged("Florence's loop (N, 7.0 m, 2 laps)", outcome.errors), Judged("a branch", None, "no gyro")]
    text = accuracy.page([(OVAL, [full, far, lost])], judged, [Row("gradient of a ramp", "0.3", "<= 0.5", ok=True)])
    assert "12345.00" in text
    assert "**no**" in text
    assert "a branch: no gyro" in text
    assert "1 of 2" in text
    assert text.count("| small oval | ") == 3 + 2 * 2  # three recordings; misclosure before and after of two
    tables = [line for line in text.splitlines() if line.startswith("|")]
    for above, below in itertools.pairwise(tables):
        if below.startswith("|---"):
            assert above.count("|") == below.count("|")


def test_standard_error_comes_from_the_scatter_of_the_lines() -> None:
    shares = [Coverage(0.5, 0.9, 10), Coverage(0.7, 1.0, 10), Coverage(0.9, 0.8, 10)]
    # by hand: sd of 50, 70, 90 is 20, over root 3 is 11.5; of 90, 100, 80 it is 10, so 5.8
    assert accuracy._standard_errors(shares) == "12, 6"
    assert accuracy._standard_errors(shares[:1]) == "none"


def test_examples_run() -> None:
    ran = doctest.testmod(accuracy)
    assert ran.attempted > 0
    assert ran.failed == 0


def test_command_writes_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, outcome: Outcome) -> None:
    monkeypatch.setattr(accuracy, "measure", lambda promise, seed, rate: dataclasses.replace(outcome, rate_hz=rate))  # noqa: ARG005
    monkeypatch.setattr(accuracy, "judge", lambda line: Judged(line.title, outcome.errors))
    monkeypatch.setattr(accuracy, "adjusted_rows", lambda seeds: [Row("plan", str(len(seeds)), "<= 1", ok=True)])
    there = tmp_path / "accuracy.md"
    assert accuracy.main(["--quick", "--out", str(there)]) == 0
    assert there.read_text(encoding="utf-8").startswith("# How accurate a survey is")
