"""What the track has and the splines cannot follow, and sway that both of two passes must be able to show."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import sparse

from wayrule.model import Facts, Wagon
from wayrule.pipeline import cell_size, travel
from wayrule.sim import GOOD, HO_VAN, Railway, RunPlan, Specimen, draw_specimen, laps, oval, simulate
from wayrule.sim.imu import ImuSpecimen
from wayrule.track.adjust.adjust import Adjusted, adjust
from wayrule.track.adjust.noise import Weights
from wayrule.track.adjust.problem import prepare
from wayrule.track.adjust.rows import Readings, Rows
from wayrule.track.adjust.stations import local_means, passes_at
from wayrule.track.adjust.sway import sway_seen
from wayrule.track.adjust.unresolved import MOST_BINS_TOGETHER, _as_of_track, _cells, added, as_one, spans
from wayrule.track.place import place

QUIET = dataclasses.replace(
    GOOD, gyro_noise_dps_rthz=4e-4, acc_noise_g_rthz=9e-6, vibration_acc_g=1e-4, vibration_gyro_dps=1e-3,
    acc_wander_g=1e-9, gyro_wander_dph=1e-3, acc_repeat_sd_g=0.0,
)  # fmt: skip
"""An inertial sensor almost without noise: what is left to go wrong is how the line is described."""


def rows_of(matrix: np.ndarray) -> Rows:
    by = sparse.csr_array(matrix)
    return Rows("gyro_y", 1, slice(0, len(matrix)), by, by, by)


def test_what_counts_as_one_is_added_up_and_its_variances_too():
    matrix, residual = np.arange(12.0).reshape(4, 3), np.array([1.0, 2.0, 4.0, 8.0])
    one = added(rows_of(matrix), residual, np.array([1.0, 1.0, 0.25, 1.0]), np.array([0, 1, 1, 3]))
    np.testing.assert_array_equal(one.rows.by_spline.toarray()[1], matrix[1] + matrix[2])
    np.testing.assert_array_equal(one.rows.by_border.toarray()[2], 0.0)
    np.testing.assert_allclose(one.residual, [1.0, 6.0, 0.0, 8.0])
    np.testing.assert_allclose(one.weight, [1.0, 1.0 / (1.0 + 4.0), 0.0, 1.0])


def test_alone_a_reading_stays_as_it_is():
    rows, residual, weight = rows_of(np.eye(3)), np.ones(3), np.ones(3)
    assert added(rows, residual, weight, np.arange(3)).rows is rows
    assert added(rows, residual, weight, None).rows is rows


def test_a_missing_sample_spoils_its_span_and_an_outlier_weighs_less():
    """Of three spans one has a reading missing, one adds up to 30 sigmas, one to nothing."""
    residual = np.array([5.0, -5.0, 15.0, 15.0, 5.0, -5.0, *np.linspace(-1, 1, 9)])
    ok = np.ones(15, dtype=bool)
    ok[0] = False
    run = type("Run", (), {"readings": (Readings("gyro_y", 1, residual, ok),)})()
    into = np.array([0, 0, 2, 2, 4, 4, *range(6, 15)])
    weight = as_one((np.full(15, 0.5),), (into,), run, Weights({"gyro_y": np.ones(15)}))[0]
    assert weight[:2].tolist() == [0.0, 0.0]
    assert 0.0 < weight[2] == weight[3] < 0.5
    assert weight[4:6].tolist() == [1.0, 1.0]
    assert weight[6:].tolist() == [0.5] * 9


def oval_of_joints() -> Railway:
    """A joint every 230 mm."""
    return oval(np.random.default_rng(2).spawn(4)[0])


@pytest.fixture(scope="module")
def jointed() -> Adjusted:
    """Two laps each way of an oval with rail joints, by a true gyro that sits straight, and no accelerometer."""
    railway = oval_of_joints()
    drawn = draw_specimen(HO_VAN, QUIET, np.random.default_rng(3))
    imu = ImuSpecimen(QUIET, np.eye(3), np.eye(3), drawn.imu.gyro_bias_rad_s, drawn.imu.acc_bias_mm_s2)
    seated = Specimen(drawn.wheel, imu)
    rng = np.random.default_rng(4)
    runs = [
        simulate(railway, HO_VAN, plan, QUIET, rng, specimen=seated, name=name)[0]
        for name, plan in {
            "out": RunPlan(*laps(railway.length_mm, 2, 220.0)),
            "turned": RunPlan(*laps(railway.length_mm, 2, 220.0), turned=True),
        }.items()
    ]
    runs = [dataclasses.replace(one, acc_mm_s2=None) for one in runs]
    return adjusted(runs, HO_VAN, Facts(laps={"out": 2, "turned": 2}, turned=frozenset({"turned"})))


def adjusted(runs, wagon: Wagon, facts: Facts) -> Adjusted:
    travels = [travel(one, wagon) for one in runs]
    line = place(travels, facts, wagon.wheelbase_mm, cell_size(travels, wagon.wheelbase_mm))
    return adjust(prepare(travels, wagon, facts, line))


def test_the_nod_at_a_joint_counts_as_one(jointed):
    """A joint is 8 mm long, as far as knots are apart; the pitch axis shows it. Spans stay short and in order."""
    into = jointed.spans[0]
    joined = [int(np.count_nonzero(one != np.arange(len(one)))) for one in into]
    assert joined[1] > 50
    for one in into:
        assert np.bincount(one).max() <= MOST_BINS_TOGETHER
        assert (np.diff(one) >= 0).all()


def test_joints_do_not_turn_the_sensor_on_its_seat(jointed):
    """It sits straight, within 1.5 claimed sigmas of 8 mrad; taken for noise that averages, joints turn it by 14, twice
    the sigma claimed then."""
    u, covariance = jointed.unknowns, jointed.border_covariance
    i, j = u.names["yaw"].start, u.names["gyro_yx"].start
    found = u.one("yaw") - u.one("gyro_yx")
    sd = float(np.sqrt(covariance[i, i] + covariance[j, j] - 2 * covariance[i, j]))
    assert sd < 0.01
    assert found == pytest.approx(0.0, abs=1.5 * sd)


def test_passes_cannot_tell_a_bend_better_than_their_sway_allows(jointed):
    """A body whose heading sways by s with the correlation 1 - (p / l)^2 shows every bend wrong by s sqrt(2) / l; P
    passes by that over sqrt(P), whatever the gyro (limit of statistics). Straight lines between knots claimed a third
    of it."""
    sway = sway_seen(jointed.problem, jointed.unknowns, jointed.runs, jointed.noise.weights)
    places = np.linspace(500.0, 8500.0, 40)
    bend = local_means(jointed.unknowns, places)[0]
    ties = np.zeros((len(places), jointed.system.ties))
    claimed = jointed.system.bordered.variances(0, jointed.unknowns.embedded(bend.rows), np.hstack((bend.border, ties)))
    alone = np.mean(2.0 * (sway.sd[0] / sway.length_mm[0]) ** 2)
    allowed = alone / float(np.mean(passes_at(jointed, places)))
    assert np.mean(claimed) > 0.7 * allowed


def test_joined_bins_lie_where_a_wheelset_meets_a_joint():
    """The simulator's joints, one in 230 mm from the start on; a bin is 6 mm, a joint 8 mm, a nod is over in 15 mm.
    By chance a quarter would lie so near. By a usual sensor: one without noise sees every corner of the line."""
    railway = oval_of_joints()
    plan = RunPlan(*laps(railway.length_mm, 4, 220.0))
    run, truth = simulate(railway, HO_VAN, plan, GOOD, np.random.default_rng(5), name="out")
    found = adjusted([run], HO_VAN, Facts(laps={"out": 4}))
    own, t_s = found.spans[0][1], found.problem.settings[0].bins.t_s
    joined = np.bincount(own, minlength=len(own))[own] > 1
    rear = np.interp(0.5 * (t_s[1:] + t_s[:-1])[joined], truth.t_s, truth.chainage_mm) % railway.length_mm
    off = (np.array([rear, rear + HO_VAN.wheelbase_mm]) + 115.0) % 230.0 - 115.0
    assert np.mean(np.abs(off).min(axis=0) < 15.0) > 0.8  # 0.96 here


def test_passes_show_a_nod_alike_whichever_way_the_wagon_stands(jointed):
    """Turned end for end it nods the other way as seen by its own axes, and the same way as the track has it."""
    problem, seen = jointed.problem, []
    for setting, run in zip(problem.settings, jointed.runs, strict=True):
        cell = _cells(problem, setting, run)[1]
        residual = _as_of_track(1, setting, run) * run.readings[1].residual
        count = np.maximum(np.bincount(cell, minlength=3000), 1)
        seen.append(np.bincount(cell, residual, minlength=3000) / count)
    assert np.corrcoef(seen[0], seen[1])[0, 1] > 0.5


def test_a_wagon_that_rolls_back_turns_back():
    """By hand: roll and heading that grow along the line are positive rates forwards, a climb that grows a negative."""
    ahead, back = (SimpleNamespace(sigma=s) for s in (np.array([0.0, 5.0, 5.0]), np.array([5.0, 0.0, 0.0])))
    for way in (1, -1):
        signs = np.array([[_as_of_track(i, SimpleNamespace(way=way), r) for r in (ahead, back)] for i in range(3)])
        assert signs[..., 0].tolist() == [[way, -way], [-way, way], [1, -1]]
        assert not signs[..., 1].any()


def test_spans_break_at_their_longest(jointed):
    setting = jointed.problem.settings[0]
    beyond = np.zeros(len(setting.bins.dt_s), dtype=bool)
    beyond[10 : 10 + 2 * MOST_BINS_TOGETHER] = True
    into = spans(beyond, setting)
    assert into[10 : 10 + 2 * MOST_BINS_TOGETHER].tolist() == [10] * 6 + [16] * 6
    assert into[9] == 9
    assert into[22] == 22
