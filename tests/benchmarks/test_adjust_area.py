"""What the adjust area measures with: lines and what is told of them, factors taken out, shares, bands, a rival."""

import dataclasses
import doctest
import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import sparse

from benchmarks import adjust as area
from benchmarks.__main__ import areas
from benchmarks.adjusting import believed, cost, detected, floor, judged, lines, mishaps, posed, rival, small
from benchmarks.adjusting.lines import BRANCH, CASES, GARDEN, OVAL, UNCALIBRATED, make
from benchmarks.adjusting.staged import with_sigmas
from wayrule.model import Mishap, Stations
from wayrule.sim import CHEAP, GOOD, N_VAN, Matching, branch_n, draw_specimen, oval


def test_the_area_is_one_and_its_parts_are_none() -> None:
    assert "adjust" in areas()
    assert "adjusting" not in areas()


def test_five_lines_are_run_as_promised() -> None:
    assert len(CASES) == 5
    railway = oval(np.random.default_rng(1))
    plans = OVAL.plans(railway)
    assert [lines.whole_laps(railway, plan) for plan in plans.values()] == [4, 3, 3]
    assert [plan.turned for plan in plans.values()] == [False, True, False]
    assert [math.copysign(1, plan.legs[0].distance_mm) for plan in plans.values()] == [1, 1, -1]


@pytest.mark.parametrize("seed", range(3))
def test_a_branch_is_run_out_and_back_turned_and_shunted_without_leaving_it(seed: int) -> None:
    railway = branch_n(np.random.default_rng(seed))
    plans = lines.over_a_branch(railway)
    assert list(plans) == ["out", "back", "turned", "shunting"]
    for plan in plans.values():
        place = plan.start_mm + np.cumsum([0.0, *(leg.distance_mm for leg in plan.legs)])
        ahead = np.array([0.0, -N_VAN.wheelbase_mm if plan.turned else N_VAN.wheelbase_mm])
        on_line = place[:, None] + ahead
        assert on_line.min() >= 0.0
        assert on_line.max() <= railway.length_mm
        assert lines.whole_laps(railway, plan) == 0
    assert plans["back"].legs[0].distance_mm == -plans["out"].legs[0].distance_mm
    assert len({np.sign(leg.distance_mm) for leg in plans["shunting"].legs}) == 2


def test_a_calibrated_wagon_knows_its_scales_and_no_more() -> None:
    """Over 200 wagons the scatter of what is left is the stated sd; 15 % is three of its sampling errors of 5 %."""
    rng = np.random.default_rng(4)
    lefts = []
    for _ in range(200):
        specimen = draw_specimen(N_VAN, GOOD, rng, field=False)
        wagon, _ = lines.calibrated(N_VAN, specimen, (), rng)
        assert wagon.wheel.diameter_mm is not None
        lefts.append(wagon.wheel.diameter_mm * np.pi / specimen.wheel.circumference_mm - 1.0)
        assert wagon.wheel.diameter_sd_mm == pytest.approx(3e-4 * wagon.wheel.diameter_mm)
        assert wagon.imu.gyro_scale_sd == 5e-4
    assert np.std(lefts) == pytest.approx(3e-4, rel=0.15)


def test_good_and_cheap_sensors_meet_the_same_track_and_tape() -> None:
    short = small_oval()
    good, cheap = make(short, GOOD, 3), make(short, CHEAP, 3)
    assert good.railway.length_mm == cheap.railway.length_mm
    assert good.facts == cheap.facts
    assert good.facts.laps == {"forwards": 1, "turned": 1}
    assert good.facts.turned == {"turned"}
    tape = good.facts.tapes[0]
    along = lines.along_the_rails(good.railway)
    assert 0.0 < abs(tape.length_mm - along) <= lines.TAPE_MM
    assert good.truths[0].specimen.wheel is not None
    assert good.truths[0].circumference_mm == good.truths[1].circumference_mm  # one wagon in all runs
    assert not np.array_equal(good.recordings[0].gyro_rad_s, cheap.recordings[0].gyro_rad_s)


def stations_of(x: np.ndarray, y: np.ndarray, heading: np.ndarray, curvature: np.ndarray, s: np.ndarray) -> Stations:
    n = len(s)
    flat = {name: np.zeros(n) for name in ("z_mm", "gradient", "cant_mm")}
    sds = {
        f"{name}": np.ones(n)
        for name in (
            "x_sd_mm", "y_sd_mm", "z_sd_mm", "heading_sd_rad", "curvature_sd_1_mm", "gradient_sd", "cant_sd_mm"
        )
    }  # fmt: skip
    return Stations(
        s_mm=s, x_mm=x, y_mm=y, heading_rad=heading, curvature_1_mm=curvature, passes=np.ones(n, dtype=np.int64),
        closed=False, length_mm=float(s[-1]), gauge_mm=9.0, wheelbase_mm=38.0, **flat, **sds,
    )  # fmt: skip


def on_a_circle(radius_mm: float) -> Stations:
    s = np.linspace(0.0, 2000.0, 801)
    t = s / radius_mm
    return stations_of(radius_mm * np.sin(t), radius_mm * (1 - np.cos(t)), t, np.full_like(s, 1 / radius_mm), s)


def test_a_factor_on_all_turning_makes_one_circle_of_another() -> None:
    """An arc of 1000 mm, every turn 1.25 times: an arc of 800 mm. Chords of 2.5 mm fall short by under 1e-3 mm."""
    made = judged.turned_by(on_a_circle(1000.0), 1.25)
    asked = on_a_circle(800.0)
    np.testing.assert_allclose(made.x_mm, asked.x_mm, atol=1e-3)
    np.testing.assert_allclose(made.y_mm, asked.y_mm, atol=1e-3)
    np.testing.assert_allclose(made.heading_rad, asked.heading_rad, atol=1e-12)
    np.testing.assert_allclose(1 / made.curvature_1_mm, 800.0)
    same = judged.turned_by(made, 0.8)
    np.testing.assert_allclose(same.x_mm, on_a_circle(1000.0).x_mm, atol=1e-9)


def test_mean_squares_pool_x_and_y_as_the_plan() -> None:
    one = {name: np.array([1.0, -1.0]) for name in ("heading", "curvature", "gradient", "cant")}
    errors = type(
        "Errors",
        (),
        {"normalised": {"x": np.array([1.0, 3.0]), "y": np.array([2.0, np.nan]), "z": np.array([0.5, 0.5]), **one}},
    )()
    squares = believed.mean_squares(errors)  # type: ignore[arg-type]
    assert squares["plan"] == pytest.approx((1 + 9 + 4) / 3)  # by hand; what is not there does not count
    assert squares["height"] == pytest.approx(0.25)
    assert set(squares) == {"plan", "height", "heading", "curvature", "gradient", "cant"}


def test_the_band_is_that_of_chi_squared() -> None:
    """Means of 10 squares of standard normals: 99 % band of chi-squared with 10 degrees, 2.156 and 25.188 over 10
    (tables of the chi-squared distribution, e.g. NIST/SEMATECH e-Handbook, 1.3.6.7.4). 20000 draws settle the degrees
    of freedom to 1.4 %, which moves the ends by under 2 %."""
    means = np.mean(np.random.default_rng(1).standard_normal((20000, 10)) ** 2, axis=1)
    low, high = believed.band(list(means), 1)
    assert low == pytest.approx(0.2156, rel=0.03)
    assert high == pytest.approx(2.5188, rel=0.03)
    narrow = believed.band(list(means), 3)
    assert low < narrow[0] < 1.0 < narrow[1] < high


def test_counts_add_up_over_lines() -> None:
    both = detected.Counts.of([Matching(4, 5, 3, (), ()), Matching(6, 3, 3, (), ())])
    assert both.recall == pytest.approx(0.6)
    assert both.precision == pytest.approx(0.75)
    assert math.isnan(detected.Counts(0, 0, 0).recall)
    row = detected.share_row("faults: recall", both.recall, 6, 10, 0.95)
    assert not row.ok
    assert row.measured == "0.6 (6 of 10)"


def test_a_claim_counts_for_its_own_kind_only() -> None:
    railway = oval(np.random.default_rng(1), defects=6)
    assert {f.kind for f in detected.planted(railway, detected.ASKED)} == set(detected.ASKED)
    assert len(detected.planted(railway, detected.ASKED)) < len(railway.faults)


def test_planted_defects_reach_the_promised_sizes() -> None:
    for case in (OVAL, BRANCH, GARDEN):
        least = {"HO": (1.2, 0.6, 0.8), "N": (1.2, 0.35, 0.45), "G": (1.2, 3.0, 3.5)}[case.scale]
        railway = case.draw(np.random.default_rng(2), defects=detected.DEFECTS[case.scale])
        sizes = {kind: [abs(f.size) for f in railway.faults if f.kind == kind] for kind in detected.ASKED}
        for kind, size in zip(detected.ASKED, least, strict=True):
            assert sizes[kind]
            assert min(sizes[kind]) >= size


def test_the_cost_is_measured_in_a_process_with_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = {
        "samples": 1_000_000, "threads": 1, "parsing_s": 0.5, "adjusting_s": 10.0, "most_bytes": 700, "raw_bytes": 100,
        "iterations": 9, "converged": False, "last_move_mm": 0.2,
    }  # fmt: skip
    monkeypatch.setattr(cost, "apart", lambda samples: seen | {"samples": samples})
    times, memory, ended = cost.cost_rows(quick=False)
    assert times.ok
    assert times.measured == "20 times (10.00 s)"
    assert memory.ok
    assert memory.measured == "7 times"
    assert not ended.ok
    assert "not converged" in ended.measured
    seen["threads"] = 2
    with pytest.raises(RuntimeError, match="expected a reader on one thread, came 2"):
        list(cost.cost_rows(quick=True))


def test_a_process_that_fails_is_told() -> None:
    with pytest.raises(RuntimeError, match="measuring -5 samples failed: "):
        cost.apart(-5)


def test_differences_round_a_ring_and_their_information() -> None:
    second = posed.difference(6, 2)
    line = np.array([0.0, 1.0, 4.0, 9.0, 16.0, 25.0])  # second differences of squares are 2
    assert (second @ line)[:4].tolist() == [2.0, 2.0, 2.0, 2.0]
    information = sparse.csr_array(second.T @ second) * 9.0
    np.testing.assert_allclose(posed.root(information, second).toarray(), 3.0 * second.toarray())
    with pytest.raises(ValueError, match="not the root"):
        posed.root(information, posed.difference(6, 1))


@pytest.fixture(scope="module")
def little() -> small.Adjusted:
    return small.small_problem()


def test_both_solvers_are_given_the_same_sum_of_squares(little: small.Adjusted) -> None:
    """The rows handed over add up to the sum that the adjustment minimises, at two points, one of them rough."""
    priors = small.Priors.of(little)
    rows = posed.Posed(little, priors)
    for point in (little.unknowns, small.rough_start(little)):
        x = rows.vector(point)
        total = sum(float(b.error @ b.error) for b in rows.bundles(x))
        # the end closes within the chords' micrometres: 1e-6 of the whole
        assert total == pytest.approx(small.objective(little, priors, point), rel=1e-6)
        back = rows.point(x)
        np.testing.assert_array_equal(back.read_theta, point.read_theta)
        np.testing.assert_array_equal(back.border, point.border)


def test_every_unknown_belongs_to_one_vector_of_the_graph(little: small.Adjusted) -> None:
    rows = posed.Posed(little, small.Priors.of(little))
    columns = np.concatenate(posed.groups_of(rows))
    assert sorted(columns) == list(range(len(rows.vector(little.unknowns))))


def test_from_a_rough_start_the_steps_find_the_adjusted_line(little: small.Adjusted) -> None:
    priors = small.Priors.of(little)
    start = small.rough_start(little)
    end, rounds = small.ours(little, priors, start)
    best = small.objective(little, priors, little.unknowns)
    assert small.objective(little, priors, start) > 10 * best
    assert small.objective(little, priors, end) == pytest.approx(best, rel=0.01)
    assert rounds > 2
    assert best < 1.003 * small.objective(little, priors, small.ours(little, priors, little.unknowns)[0])


def test_without_the_library_its_rows_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "gtsam", None)
    found = list(rival.rival_rows())
    assert len(found) == 2
    assert not any(row.ok for row in found)
    assert all("not installed" in row.why for row in found)


def test_rows_come_for_both_sensors_of_every_line(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(area, "of_case", lambda case, quality, seeds: asked.append((case, quality.name, seeds)) or ())
    others = "floored over_many_seeds covered pair_rows found spur_rows mishap_rows revisit_rows cost_rows rival_rows"
    for part in others.split():
        monkeypatch.setattr(area, part, lambda *_, **__: ())
    assert list(area.rows(quick=False)) == []
    assert [(case.name, sensor) for case, sensor, _ in asked] == [(c.name, q) for c in CASES for q in ("good", "cheap")]
    assert all(seeds == (1, 2, 3) for _, _, seeds in asked)


def test_one_scale_is_taken_out_of_radii_where_it_is_out_of_the_plan() -> None:
    """A survey 1 % too long has radii 1 % too large: nothing is left once a scale is out; with a tape it counts."""
    shape = type("Errors", (), {"length_error_percent": 1.0, "radius_error_percent": (1.0, 2.01)})()
    for case, left in ((GARDEN, (0.0, 1.0)), (OVAL, (1.0, 2.01))):
        made = type("Made", (), {"case": case})()
        outcome = judged.Outcome(made, None, shape, shape, 1.0)  # type: ignore[arg-type]
        assert outcome.radius_percent == pytest.approx(left, abs=1e-9)


def small_oval() -> lines.Case:
    """One lap of a small oval each way round, for what does not depend on the line."""
    return dataclasses.replace(
        OVAL,
        draw=lambda rng, *, defects=0: oval(rng, defects=defects, length_mm=6000.0),
        plans=lines.round_and_round(1, 1),
    )


def test_the_floor_is_told_the_truth(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the adjustment ends on is what it was told: slip and circumference of the simulated wheel, no mounting."""
    seen = []
    monkeypatch.setattr(floor, "with_sigmas", lambda done: seen.append(done) or with_sigmas(done))
    errors = floor.floor(small_oval(), GOOD, 2)
    wheel = make(small_oval(), GOOD, 2).truths[0].specimen.wheel
    u = seen[0].unknowns
    assert u.one("slip_mm") == pytest.approx(wheel.slip_mm, abs=1e-3)
    assert u.one("scale") + u.one("stretch") == pytest.approx(0.0, abs=1e-5)  # sd 1e-6
    for name in ("gyro_scale_z", "cross_x", "cross_y", "yaw"):
        assert u.one(name) == pytest.approx(0.0, abs=2e-4)  # prior sds of 1 to 3 % divided by 1000, ten times
    # a caliper alone errs by 0.4 %; told the circumference, a lap of rolled path is as long as it is
    assert abs(errors.length_error_percent) < 0.03


def test_corrected_readings_are_those_of_the_body() -> None:
    """Standing on level track a true accelerometer reads gravity straight up: 9811 mm/s2, and no more than its wander,
    noise and the track's own cant and gradient (2 %) sideways; askew by 0.7 deg and off by 10 mg it reads 300."""
    made = make(small_oval(), GOOD, 2)
    body = floor.corrected(made.recordings[0], made.truths[0])
    assert body.acc_mm_s2 is not None
    still = body.acc_mm_s2[:400].mean(axis=0)
    truth = made.truths[0]
    g = 9811.0
    asked = [g * math.sin(truth.climb_rad[0]), g * math.sin(truth.roll_rad[0])]
    assert still[:2] == pytest.approx(asked, abs=2.0)
    assert still[2] == pytest.approx(g, abs=5.0)


def test_limits_are_those_of_the_promise() -> None:
    assert OVAL.limits.plan_mm == (0.5, 0.7)
    assert not OVAL.free_scale
    assert UNCALIBRATED.free_turning
    assert all(case.limits.cant_mm[0] < case.limits.cant_mm[1] for case in CASES)


def test_examples_run() -> None:
    for module in (believed, posed):
        ran = doctest.testmod(module)
        assert ran.attempted > 0
        assert ran.failed == 0


def test_a_mishap_befalls_a_run_of_a_line_and_is_sought_in_it() -> None:
    """Told to the first of two runs: at a quarter of its path, at its stop; nothing to the other."""
    line = mishaps.BRANCH.draw(np.random.default_rng(1))
    for befell in mishaps.BEFELL:
        first, second = mishaps.plans_of(mishaps.BRANCH, befell, line).values()
        told = [*first.knocks, *first.slides, *first.gaps, *first.hands]
        assert len(told) == len(befell.kinds)
        assert not any((second.knocks, second.slides, second.gaps, second.hands))
        assert first.start_mm + sum(leg.distance_mm for leg in first.legs) < line.length_mm


def test_false_alarms_are_counted_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two lines at which something is said: two alarms, each with its line."""
    alarm = SimpleNamespace(mishaps=(Mishap("knock", 1.0, 1.2, 1.0, "g", 0.0, 0.0),))
    assert mishaps.false_alarm_row(GOOD, 1).ok
    monkeypatch.setattr(mishaps, "travel", lambda *_: alarm)
    row = mishaps.false_alarm_row(GOOD, 2)
    assert (row.ok, row.measured) == (False, "2")
    assert row.why.count("knock at 1.0 s") == 2
