"""The adjustment's own formulas against closed forms worked by hand and independent libraries."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial.transform import Rotation

from tests.track.test_adjust import WAGON, circling
from wayrule.maths.dampedwave import correlation
from wayrule.model import Facts, Stretch
from wayrule.track.adjust.adjust import LEAST_RELAXED, MOST_RELAXED, adjust, relaxed_share
from wayrule.track.adjust.force import kinematics
from wayrule.track.adjust.gyro import gyro_matrix
from wayrule.track.adjust.line import metric, positions, trace
from wayrule.track.adjust.passes import Pull, scatter_of
from wayrule.track.adjust.pose import pose
from wayrule.track.adjust.problem import evaluate, linearised, prepare
from wayrule.track.adjust.stations import _free_plan, local_means
from wayrule.track.adjust.sway import Sway, first_noise, passes, power, reweighted, whitening
from wayrule.track.adjust.ties import stretch_ties
from wayrule.track.place import place
from wayrule.units import G_MM_S2

RADIUS = 480.0


@pytest.fixture(scope="module")
def circle():
    """A level circle, two laps, adjusted."""
    travel, facts = circling(RADIUS, 2), Facts(laps={"circle": 2})
    return adjust(prepare([travel], WAGON, facts, place([travel], facts, 65.0, 65.0 / 8)))


def with_border(unknowns, **values: float):
    """The same point with some constants of the wagon set."""
    border = unknowns.border.copy()
    for name, value in values.items():
        border[unknowns.names[name]] = value
    return dataclasses.replace(unknowns, border=border)


@pytest.mark.parametrize("arm", [(5.0, 3.0, 10.0), (60.0, -4.0, 0.0), (32.5, 0.0, 0.0)])
def test_a_sensor_on_a_circle_is_drawn_to_its_centre(circle, arm):
    """In body axes the centre lies at (L / 2, sqrt(R^2 - L^2 / 4)) from the rear support: f = (v / R)^2 (centre - arm).

    Half a per cent of the force: the splines' own error on this run.
    """
    setting = dataclasses.replace(circle.problem.settings[0], arm_mm=arm)
    ahead, left = kinematics(circle.unknowns, setting, circle.runs[0].at)
    rate = 200.0 / RADIUS
    centre = np.array([65.0 / 2, np.sqrt(RADIUS**2 - 65.0**2 / 4)])
    want = rate**2 * (centre - np.array(arm[:2]))
    steady = slice(len(ahead) // 4, 3 * len(ahead) // 4)
    size = rate**2 * RADIUS
    assert np.median(ahead[steady]) == pytest.approx(want[0], abs=0.005 * size)
    assert np.median(left[steady]) == pytest.approx(want[1], abs=0.005 * size)


def test_a_turned_wagon_on_the_same_circle_is_drawn_to_the_other_side(circle):
    """It goes back over the circle with the centre on its right: the same closed form with left negative."""
    back = dataclasses.replace(circle.problem.settings[0], way=-1, arm_mm=(5.0, 0.0, 0.0))
    bins = back.bins
    u = circle.unknowns
    at = pose(u, back, circle.problem.spline.length * 3 - circle.runs[0].sigma)
    ahead, left = kinematics(u, back, at)
    rate = 200.0 / RADIUS
    steady = slice(len(ahead) // 4, 3 * len(ahead) // 4)
    assert np.median(bins.v_mm_s) > 0
    assert np.median(left[steady]) == pytest.approx(-(rate**2) * np.sqrt(RADIUS**2 - 65.0**2 / 4), rel=0.005)
    assert np.median(ahead[steady]) == pytest.approx(rate**2 * (65.0 / 2 - 5.0), abs=0.005 * rate**2 * RADIUS)


@pytest.mark.parametrize("turn", [(1e-4, 0, 0), (0, 1e-4, 0), (0, 0, 1e-4), (2e-4, -1e-4, 3e-4)])
def test_the_mounting_is_a_rotation(circle, turn):
    """scipy's rotation of the sensor in the body; readings are the body rate in sensor axes. Second order is 1e-7."""
    a, b, c = turn
    u = with_border(circle.unknowns, cross_x=-b, cross_y=a, yaw=c)
    still = dict.fromkeys(
        ("gyro_scale_x", "gyro_scale_y", "gyro_scale_z", "gyro_xy", "gyro_yx", "gyro_zx", "gyro_zy"), 0.0
    )
    np.testing.assert_allclose(
        gyro_matrix(with_border(u, **still)), Rotation.from_rotvec(turn).inv().as_matrix(), atol=2e-7
    )


def test_slip_lengthens_a_lap_by_slip_times_the_whole_turn(circle):
    """The wheel falls short by slip x |turn|, 2 pi a lap: the track is that much longer than the wheel says."""
    dry, wet = (with_border(circle.unknowns, slip_mm=k) for k in (0.0, 0.5))
    longer = trace(wet, 2.0).s[-1] - trace(dry, 2.0).s[-1]
    assert longer == pytest.approx(0.5 * 2 * np.pi * (1 + circle.unknowns.one("scale")), rel=1e-3)
    assert metric(wet, np.array([100.0])).value > metric(dry, np.array([100.0])).value


def test_the_best_shift_and_rotation_come_from_positions_alone():
    """A moved and turned map vanishes; headings that turn while no point moves are an error and must stay."""
    rng = np.random.default_rng(4)
    x, y = rng.normal(size=12) * 300, rng.normal(size=12) * 200
    free = _free_plan(x, y)
    moved = np.concatenate((5 - 1e-3 * (y - 7), -2 + 1e-3 * (x + 9), np.full(12, 1e-3)))
    np.testing.assert_allclose(free @ moved, 0.0, atol=1e-10)
    headings = np.concatenate((np.zeros(24), np.full(12, 1e-3)))
    np.testing.assert_allclose(free @ headings, headings, atol=1e-12)


def test_disagreement_of_passes_is_the_variance_of_their_mean():
    """For a plain mean each pass pulls by (x - mean) / P: the sandwich is then numpy's var(ddof=1) / P, exactly."""
    values = np.random.default_rng(2).normal(size=7)
    pull = ((values - values.mean()) / len(values))[None, :]
    none, nothing = np.zeros((1, 0)), np.zeros((0, len(values)))
    seen = scatter_of(np.ones((1, 1)), none, Pull(pull, nothing))
    assert seen[0] == pytest.approx(np.var(values, ddof=1) / len(values))
    assert np.isnan(scatter_of(np.ones((1, 1)), none, Pull(pull[:, :1], nothing[:, :1])))[0]


def test_relaxation_ends_steps_that_swing_or_creep():
    """A map x -> a x has its fixed point at 0; the secant through two full steps jumps onto it when a is scalar."""
    for a in (-0.8, -0.3, 0.15):
        x = np.array([2.0, -1.0, 0.5])
        first = (a - 1) * x
        x = x + first
        second = (a - 1) * x
        np.testing.assert_allclose(x + relaxed_share(1.0, first, second) * second, 0.0, atol=1e-12)


def test_relaxation_stays_within_its_bounds():
    step = np.array([1.0, 0.0])
    assert relaxed_share(1.0, -100 * step, step) == pytest.approx(100 / 101)
    assert relaxed_share(1.0, -step, step) == pytest.approx(0.5)
    assert relaxed_share(0.5, -step, step) == LEAST_RELAXED
    assert relaxed_share(1.0, 1.01 * step, step) == MOST_RELAXED


@pytest.mark.parametrize(("name", "by"), [("start/0", 0.5), ("lag_s", 1e-3)])
def test_a_run_moved_along_waves_of_grade_and_cant_reads_them_elsewhere(circle, name, by):
    """Finite differences: what moving a run does to each axis' own readings, on waves half a metre long.

    What an axis sees of the bend through tilt is left out on purpose: against the waves' own slope that is
    (500 / 2 pi) / 480 = 17 % on so tight a circle."""
    wave = np.sin(2 * np.pi * circle.problem.spline.centres() / 500.0)
    u = dataclasses.replace(circle.unknowns, read_phi=0.02 * wave, read_gamma=0.02 * np.roll(wave, 7))
    there = with_border(u, **{name: u.one(name) + by})
    before, after = (evaluate(circle.problem, one)[0] for one in (u, there))
    setting = circle.problem.settings[0]
    for part in linearised(u, setting, before):
        for rows, old, new in zip(part, before.readings, after.readings, strict=True):
            told = rows.by_border[:, [u.names[name].start]].toarray()[:, 0] * by
            seen = (old.residual - new.residual)[rows.where]
            if rows.kind != "gyro_z":  # the circle's own bend is the same everywhere
                assert np.corrcoef(told, seen)[0, 1] > 0.95, rows.kind
                assert np.std(told) == pytest.approx(np.std(seen), rel=0.17), rows.kind


def waving(circle, *, climbing: float):
    """The circle with waves of cant, and of grade where asked for, six in a lap: half a metre long."""
    spline = circle.problem.spline
    wave = np.sin(2 * np.pi * 6 * (spline.centres() - spline.origin) / spline.length)
    return dataclasses.replace(circle.unknowns, read_phi=0.02 * wave, read_gamma=climbing * np.roll(wave, 7))


@pytest.mark.parametrize("name", ["yaw", "gyro_yx", "gyro_xy"])
def test_a_sensor_that_reads_roll_for_pitch_is_differentiated_with_the_angles_as_read_held(circle, name):
    """Finite differences; what is of second order, as on the yaw axis (below 1e-7 rad, or what that tilt would make the
    accelerometer read), is left out."""
    u, by = waving(circle, climbing=0.02), 1e-3
    before, after = (evaluate(circle.problem, x)[0] for x in (u, with_border(u, **{name: u.one(name) + by})))
    for part in linearised(u, circle.problem.settings[0], before):
        for rows, old, new in zip(part, before.readings, after.readings, strict=True):
            told = rows.by_border[:, [u.names[name].start]].toarray()[:, 0] * by
            seen = (old.residual - new.residual)[rows.where]
            if np.abs(seen).max() > 1e-7 * (G_MM_S2 if rows.kind.startswith("force") else 1.0):
                np.testing.assert_allclose(told, seen, atol=0.02 * np.abs(seen).max(), err_msg=rows.kind)


def test_the_gyro_hardly_tells_how_a_sensor_is_turned_on_its_seat(circle):
    """Turned readings are the readings of turned angles. Roll is the mean of two supports, climb the mean between them:
    of a wave of k they differ by (k L)^2 / 12 = 6 % of what yaw would make of the roll were angles no rotation.
    Specific force tells the turn by the pull of the bend."""
    u = waving(circle, climbing=0.0)
    run = evaluate(circle.problem, u)[0]
    for part in linearised(u, circle.problem.settings[0], run):
        told = {rows.kind: rows.by_border[:, [u.names["yaw"].start]].toarray()[:, 0] for rows in part}
        by_itself = (2 * np.pi * 6 / circle.problem.spline.length * 65.0) ** 2 / 12 * np.std(np.diff(run.at.rho))
        assert np.std(told["gyro_y"]) == pytest.approx(by_itself, rel=0.1)
        assert np.median(told["force_x"]) == pytest.approx(np.median(run.true.moving[1]), rel=0.03)


def test_sway_comes_out_of_its_whitening_as_it_went_in(circle):
    """The inverse of R'R is the covariance: variance, and correlation one and two knots apart, as stated."""
    part = circle.unknowns.sway_of[0]
    count, path = part.stop - part.start, circle.problem.settings[0].bins.path_mm[-1]
    sway = Sway(np.full((3, 1), 2e-3), np.full((3, 1), 90.0))
    root = whitening(sway, circle.problem.settings, circle.unknowns.sway_of)[0].toarray()
    covariance = np.linalg.inv(root.T @ root)
    np.testing.assert_allclose(np.sqrt(covariance.diagonal()), 2e-3, rtol=1e-6)
    step = path / (count - 3)
    for apart in (1, 2):
        stated = correlation(np.array([apart * step]), 90.0)[0]
        np.testing.assert_allclose(covariance.diagonal(apart) / 2e-3**2, stated, atol=1e-6)


def test_the_sways_power_is_the_transform_of_its_correlation():
    """By scipy's quadrature over an endless path: a second-order Butterworth low-pass's."""
    length, k = 90.0, np.array([0.002, 0.01, 0.02, 0.05])
    want = [2 * quad(lambda p: correlation(np.array([p]), length)[0], 0, np.inf, weight="cos", wvar=w)[0] for w in k]
    np.testing.assert_allclose(power(k**2, length), want, rtol=1e-6)


@pytest.mark.parametrize("name", ["yaw", "gyro_yx", "gyro_xy", "gyro_scale_x", "gyro_scale_y"])
def test_heights_gradients_and_roll_move_with_the_sensors_constants_as_their_rows_say(circle, name):
    """Finite differences on waves of grade and cant: error bars, heights and declared levels rest on these rows. Left
    out is what is a per cent of it: of waves of 0.02 half a metre long."""
    u, by = waving(circle, climbing=0.02), 1e-4
    moved, at = with_border(u, **{name: u.one(name) + by}), u.names[name].start
    places = np.linspace(100.0, 2500.0, 9)

    def told_and_seen(of):
        (value, border), (after, _) = of(u), of(moved)
        return border[:, at] * by, after - value

    def heights(x):
        here = positions(x, places, 2.0)
        return here.xyz[2], here.by_border[2]

    def declared(x):
        ties = stretch_ties(x, Facts(level=(Stretch(100.0, 2500.0),)), 300.0)
        return -np.array([t.residual for t in ties]), np.array([t.by_border for t in ties])

    kinds = [heights, declared]
    kinds += [lambda x, i=i: (local_means(x, places)[i].value, local_means(x, places)[i].border) for i in (1, 2)]
    for of in kinds:
        told, seen = told_and_seen(of)
        usual = by * 0.02 * (500.0 if of is heights else 1.0)
        np.testing.assert_allclose(told, seen, atol=0.02 * usual)


def test_specific_force_keeps_the_scatter_of_its_residuals_however_often_a_line_was_passed(circle):
    """The track takes up a share of what the gyro read, 1 / passes of the variance, and none of the slow force's."""
    problem, rng = circle.problem, np.random.default_rng(8)
    weights = first_noise(problem, circle.unknowns).weights
    run, first = circle.runs[0], weights[0]
    noisy = tuple(
        dataclasses.replace(one, residual=4.0 * first.sigma[one.kind] * rng.normal(size=len(one.residual)))
        for one in run.readings
    )
    found = reweighted(problem, [dataclasses.replace(run, readings=noisy)], weights)[0]
    factor = {kind: float(np.median(found.sigma[kind] / first.sigma[kind])) for kind in first.sigma}
    left = np.sqrt(1 - 1 / passes(problem))
    assert factor["force_x"] == pytest.approx(4.0, rel=0.2), "some hundred groups"
    assert factor["gyro_y"] == pytest.approx(4.0 / left, rel=0.1)
