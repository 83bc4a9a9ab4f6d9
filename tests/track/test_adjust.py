"""The adjustment against geometry worked by hand, finite differences, and the simulator's truth."""

import dataclasses

import numpy as np
import pytest
from threadpoolctl import threadpool_info

import wayrule.pipeline as pipeline
from wayrule.errors import UndeterminedError
from wayrule.model import BodyImu, Facts, Imu, State, Tape, Travel, Wagon, Wheel
from wayrule.sim import GOOD, HO_VAN, RunPlan, laps, oval, simulate
from wayrule.sim.metrics import errors
from wayrule.track.adjust.adjust import adjust
from wayrule.track.adjust.problem import evaluate, first_point, linearised, prepare
from wayrule.track.adjust.stations import stations
from wayrule.track.adjust.unknowns import SLIP_MM, Unknowns
from wayrule.track.place import place
from wayrule.units import G_MM_S2

WAGON = Wagon("Ballast wagon 3", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04), imu=Imu(place_mm=(32.5, 0.0, 10.0)))
SPEED = 200.0


def circling(radius_mm: float, turns: int, *, wheel_reads: float = 1.0, gyro_reads: float = 1.0) -> Travel:
    """A run round a level circle, from circle geometry alone: yaw rate v / R, force v^2 / R to the left at mid-body.

    Three seconds at rest at both ends; the wheel and gyro read so many times too much.
    """
    rate_hz, still = 100.0, 3.0
    length = 2 * np.pi * radius_mm * turns
    t = np.arange(0.0, 2 * still + length / SPEED + 0.2, 1 / rate_hz)
    true = np.clip((t - still) * SPEED, 0.0, length)
    rolling = (true > 0) & (true < length)
    rng = np.random.default_rng(5)
    gyro = rng.normal(0.0, 2e-4, (len(t), 3))
    gyro[:, 2] += rolling * gyro_reads * SPEED / radius_mm
    chord = 65.0 / 2 / radius_mm  # the middle of the body runs on a circle smaller by 1 - cos of half the chord's turn
    force = rng.normal(0.0, 3.0, (len(t), 3)) + np.array([0.0, 0.0, G_MM_S2])
    force[:, 1] += rolling * SPEED**2 / radius_mm * np.cos(chord)
    state = np.where(rolling, State.ROLLING, State.STANDING).astype(np.int8)
    zero = np.zeros_like(t)
    imu = BodyImu(gyro, force, np.eye(3), np.zeros(3), np.full(3, 2e-5))
    return Travel(
        "circle", t, wheel_reads * true, 0.004 * true, wheel_reads * rolling * SPEED, zero + 0.5, state, zero * np.nan,
        0.004, "caliper", imu,
    )  # fmt: skip


def surveyed(travel: Travel, facts: Facts):
    """Stations and adjustment of one run."""
    line = place([travel], facts, 65.0, 65.0 / 8)
    done = adjust(prepare([travel], WAGON, facts, line))
    return stations(done, 5.0), done


def test_a_circle_comes_out_as_a_circle_of_the_taped_length():
    """R = C / 2 pi; half a millimetre is a hundredth of the wheel's caliper error on this radius."""
    radius = 480.0
    facts = Facts(laps={"circle": 3}, tapes=(Tape("lap", 2 * np.pi * radius, 0.5),))
    track, done = surveyed(circling(radius, 3, wheel_reads=1.01), facts)
    assert done.converged
    from_centre = np.hypot(track.x_mm - track.x_mm.mean(), track.y_mm - track.y_mm.mean())
    assert np.abs(from_centre - radius).max() < 0.5
    assert np.median(1 / track.curvature_1_mm) == pytest.approx(radius, rel=2e-3)
    assert np.abs(track.z_mm).max() < 0.2
    assert track.closed


def test_a_closed_loop_does_not_calibrate_the_wheel():
    """A wheel that reads 1 % long makes a ring 1 % larger that closes as well, but for the slip that is expected
    (0.06 % on this radius); its sigma is the caliper's."""
    facts = Facts(laps={"circle": 3})
    track, done = surveyed(circling(480.0, 3, wheel_reads=1.01), facts)
    assert track.length_mm == pytest.approx(1.01 * 2 * np.pi * (480.0 + SLIP_MM), rel=3e-4)
    variance = np.diag(done.system.bordered.border_covariance())
    assert np.sqrt(variance[done.unknowns.names["scale"].start]) == pytest.approx(0.004, rel=0.05)


def test_whole_turns_calibrate_the_gyro():
    """Each lap turns 360 deg: a gyro that reads 1 % too much is found to 0.1 %, 0.36 deg a lap."""
    facts = Facts(laps={"circle": 4})
    _, done = surveyed(circling(480.0, 4, gyro_reads=1.01), facts)
    assert done.unknowns.one("gyro_scale_z") == pytest.approx(0.01, abs=1e-3)


def test_derivatives_agree_with_finite_differences():
    """Every unknown moved a little: rows change as the matrices say (small couplings between splines left out)."""
    travel = circling(480.0, 2)
    facts = Facts(laps={"circle": 2})
    problem = prepare([travel], WAGON, facts, place([travel], facts, 65.0, 65.0 / 8))
    start = adjust(problem).unknowns
    rng = np.random.default_rng(1)
    for name in ("start/0", "slide/0", "bias_z/0", "cross_x", "cross_y", "level_x", "level_y"):
        step = np.zeros(len(start.border))
        part = start.names[name]
        step[part] = rng.normal(size=part.stop - part.start) * 1e-4
        compare(problem, start, np.zeros(3 * start.block), step)
    for axis in range(3):
        step = np.zeros((3, start.block))
        step[axis, : start.spline.n] = np.cumsum(rng.normal(size=start.spline.n)) * 1e-6
        step[axis, start.spline.n :] = rng.normal(size=start.block - start.spline.n) * 1e-6
        compare(problem, start, step.ravel(), np.zeros(len(start.border)))


def compare(problem, u: Unknowns, dx: np.ndarray, dy: np.ndarray) -> None:
    """Change of modelled rows, exact against linear, where the change is more than the coupling that is left out."""
    before, after = evaluate(problem, u)[0], evaluate(problem, u.moved(dx, dy))[0]
    for part in linearised(u, problem.settings[0], before):
        for rows, old, new in zip(part, before.readings, after.readings, strict=True):
            block = dx[rows.spline * u.block : (rows.spline + 1) * u.block]
            linear = u.on_block(0, rows) @ block + rows.by_border @ dy
            change = (old.residual - new.residual)[rows.where]
            least = 1e-7 * (G_MM_S2 if rows.kind.startswith("force") else 1.0)  # a tilt of 1e-7 rad is felt as this
            if np.abs(linear).max() > least:
                np.testing.assert_allclose(change, linear, atol=0.02 * np.abs(linear).max())


@pytest.fixture(scope="module")
def oval_survey():
    """Three laps of the simulator's oval and one lap turned, with a true tape."""
    rng = np.random.default_rng(11)
    line = oval(rng)
    a, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 3, 220.0), rate_hz=100), GOOD, rng, name="a")
    plan = RunPlan(*laps(line.length_mm, 2, 220.0, start_mm=2500.0), rate_hz=100, turned=True)
    b, _ = simulate(line, HO_VAN, plan, GOOD, rng, specimen=truth.specimen, name="b")
    facts = Facts(turned=frozenset({"b"}), tapes=(Tape("lap", line.length_mm, 5.0),))
    threads: dict[str, set[int]] = {"before": blas_threads()}
    survey = pipeline.survey([a, b], HO_VAN, facts, tell=lambda stage: threads.update({stage: blas_threads()}))
    return line, truth, survey, threads | {"after": blas_threads()}


def blas_threads() -> set[int]:
    """How many threads the loaded BLAS libraries may use now."""
    return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}


def test_a_simulated_oval_is_mapped_to_a_millimetre(oval_survey):
    """Promised for four laps: plan 3 mm, height 1.5 mm, gradient 1.5 per mille, cant 0.1 mm."""
    line, truth, survey, _ = oval_survey
    found = errors(line, truth, survey.stations, elements=survey.elements, faults=survey.faults)
    assert found.plan_rms_mm < 3.0
    assert found.height_rms_mm < 1.5
    assert found.gradient_rms < 1.5e-3
    assert found.cant_rms_mm < 0.1
    assert max(np.abs(found.radius_error_percent)) < 1.5


def test_the_adjustment_keeps_blas_to_one_thread_and_gives_the_callers_threads_back(oval_survey):
    """With more, threads that wait on each other made a survey 5 to 30 times slower."""
    *_, threads = oval_survey
    assert threads["adjustment"] == threads["error bars"] == {1}
    assert threads["after"] == threads["before"] == threads["elements and faults"]


def test_laps_and_ways_are_found_and_told(oval_survey):
    _, _, survey, _ = oval_survey
    said = {what: answer for what, answer, _, _ in survey.decisions}
    assert said["laps of a"].startswith("3")
    assert said["way of b"] == "turned"
    assert survey.closure is not None
    assert abs(survey.closure.turns_per_lap) == 1
    assert survey.closure.after.plan_mm < survey.closure.before.plan_mm


def test_distance_along_the_run_is_true_to_half_a_per_mille(oval_survey):
    _, truth, survey, _ = oval_survey
    rolled = survey.travels[0].distance_mm[-1]
    assert rolled == pytest.approx(truth.path_mm[-1] - truth.path_mm[0], rel=5e-4)


def test_two_stops_are_needed_for_a_tape_between_stops():
    travel = circling(480.0, 3)
    never_still = dataclasses.replace(travel, state=np.zeros(len(travel.t_s), dtype=np.int8))
    with pytest.raises(UndeterminedError, match="expected two stops in the first run"):
        surveyed(never_still, Facts(laps={"circle": 3}, tapes=(Tape("stops", 500.0, 1.0),)))


def test_a_tape_between_unknown_marks_is_refused():
    facts = Facts(laps={"circle": 3}, tapes=(Tape("shed..bridge", 500.0, 1.0),))
    with pytest.raises(UndeterminedError, match="expected start, end or the name of a mark"):
        surveyed(circling(480.0, 3), facts)


def test_a_taped_lap_needs_a_closed_line():
    """Once round without being told: nothing is travelled twice, so the line counts as open."""
    with pytest.raises(UndeterminedError, match="expected a closed line for --tape lap"):
        surveyed(circling(480.0, 1), Facts(tapes=(Tape("lap", 500.0, 1.0),)))


def test_a_run_too_short_to_map_is_refused():
    travel = circling(480.0, 1)
    short = dataclasses.replace(travel, distance_mm=travel.distance_mm * 0.05, speed_mm_s=travel.speed_mm_s * 0.05)
    with pytest.raises(UndeterminedError, match="expected a run over at least three wheelbases"):
        surveyed(short, Facts())


def test_the_first_point_is_the_circle_that_the_turns_say():
    travel = circling(480.0, 2)
    facts = Facts(laps={"circle": 2})
    u = first_point(prepare([travel], WAGON, facts, place([travel], facts, 65.0, 65.0 / 8)))
    assert u.winding_rad_mm == pytest.approx(1 / 480.0, rel=1e-3)
