"""Each step of calibrating the inertial sensor against the specimen that was drawn."""

import dataclasses

import numpy as np
import pytest
from scipy.linalg import sqrtm

from wayrule.errors import UndeterminedError
from wayrule.model import Recording, Rest
from wayrule.pipeline import travel
from wayrule.run.curves import curves
from wayrule.run.level import level_and_turned, level_place
from wayrule.run.positions import next_position, positions, shown_by_positions
from wayrule.run.rests import rest, rests
from wayrule.run.turns import table_turns
from wayrule.sim import CHEAP, GOOD, HO_VAN, RunPlan, draw_specimen, figure_eight, laps, oval, simulate
from wayrule.sim.byhand import CORNERS, FACES, laid, left_alone, on_table
from wayrule.sim.imu import draw_imu, turn_on
from wayrule.units import DEG, G_MM_S2

LOCAL_G = 9811.0


def specimen(seed: int):
    return draw_imu(GOOD, np.random.default_rng(seed))


def truth_of(one) -> tuple[np.ndarray, np.ndarray]:
    """Level offsets [mm/s2] and cross_x, cross_y as drawn."""
    return one.acc_matrix[:2, 2] * LOCAL_G + one.acc_bias_mm_s2[:2], one.gyro_matrix[:2, 2]


@pytest.fixture(scope="module")
def eight() -> tuple[object, Recording]:
    one = specimen(4)
    return one, laid(one, [*FACES, *CORNERS[:2]], np.random.default_rng(5))


def test_rests_of_a_sensor_moved_by_hand_are_found_one_for_each_side(eight) -> None:
    one, run = eight
    found = rests(run)
    assert len(found) == 8
    assert all(5.0 < r.seconds < 8.0 for r in found)
    for r in found:
        assert np.linalg.norm(r.force_mm_s2) == pytest.approx(LOCAL_G, rel=0.02)
        assert r.rate_rad_s == pytest.approx(one.gyro_bias_rad_s, abs=5e-4)


def test_eight_positions_show_bias_and_scale(eight) -> None:
    one, run = eight
    found = positions(rests(run), gravity_mm_s2=LOCAL_G)
    scale = np.diag(np.real(sqrtm(one.acc_matrix @ one.acc_matrix.T))) - 1.0  # the rotation of the mounting taken out
    assert found.bias_mm_s2 == pytest.approx(one.acc_bias_mm_s2, abs=0.002 * G_MM_S2)
    assert found.scale == pytest.approx(scale, abs=0.002)
    assert (np.abs(found.bias_mm_s2 - one.acc_bias_mm_s2) < 3 * found.bias_sd_mm_s2).all()
    assert found.matrix @ [0, 0, 1] == pytest.approx([found.skew[1], found.skew[2], 1 + found.scale[2]])


def test_five_positions_are_too_few_and_the_missing_side_is_asked_for(eight) -> None:
    _, run = eight
    five = [r for r in rests(run)[:6] if r.force_mm_s2[1] > -5000]
    with pytest.raises(
        UndeterminedError, match=r"six or more rest positions, all different, came 5 .* its -y points up"
    ):
        positions(five)
    assert next_position(five) == "its -y points up"


def test_positions_all_alike_are_refused() -> None:
    run = laid(specimen(6), [(0.0, 0.0, 1.0)] * 7, np.random.default_rng(7), askew_rad=0.02, rest_s=4.0)
    with pytest.raises(UndeterminedError, match=r"came 7 that leave [xyz] open"):
        positions(rests(run))


def test_what_positions_show_of_the_constants_holds(eight) -> None:
    one, run = eight
    level, cross = truth_of(one)
    news = shown_by_positions(positions(rests(run)), np.eye(3))
    assert news.names == ("level_x", "level_y", "cross_x", "cross_y")
    assert news.matrix @ np.concatenate([level, cross]) == pytest.approx(level - G_MM_S2 * cross)
    true = level - G_MM_S2 * cross
    assert (np.abs(news.values - true) < 3 * np.sqrt(np.diag(news.covariance))).all()
    assert news.runs == (("laid", ""),)


def pair(seed: int, climb: float = 0.02, roll: float = -0.01) -> tuple[object, Rest, Rest]:
    """A rest on a slope and the same turned round, straight from the sensor's truth."""
    one, rng = specimen(seed), np.random.default_rng(seed)
    out = []
    for way in (1, -1):
        force = LOCAL_G * np.array([way * climb, way * roll, 1.0])
        noise = 3.0 * rng.standard_normal(3)
        mean = one.acc_matrix @ force + one.acc_bias_mm_s2 + noise
        out.append(Rest(f"way {way}", "", 0.0, 9.0, np.zeros(3), np.zeros(3), mean, np.full(3, 0.3)))
    return one, *out


def test_a_turned_pair_shows_the_level_error_and_the_slope() -> None:
    off = []
    for seed in range(20):
        one, here, turned = pair(seed)
        level, _ = truth_of(one)
        found = level_and_turned(here, turned, np.eye(3))
        assert np.abs(found.error_rad - level / G_MM_S2).max() < 0.1 * DEG
        assert (np.abs(found.slope_rad - [0.02, -0.01]) < 3 * found.slope_sd_rad).all()
        assert found.slope_sd_rad.max() < 7e-4
        off.append((found.shown.values - level) / np.sqrt(np.diag(found.shown.covariance)))
    assert 0.2 < np.sqrt(np.mean(np.square(off))) < 1.2  # the place itself, which the sd allows for, is exact here


def test_a_sensor_turned_about_the_upright_is_in_the_sigma_of_a_slope() -> None:
    off = []
    for seed in range(30):
        _, here, turned = pair(seed, 0.06, -0.06)
        found = level_and_turned(here, turned, np.eye(3), place_sd_rad=0.0)
        off.append((found.slope_rad * G_MM_S2 / LOCAL_G - [0.06, -0.06]) / found.slope_sd_rad)
    assert 0.5 < np.sqrt(np.mean(np.square(off))) < 1.5


def test_an_offset_that_moves_when_switched_on_again_is_in_the_sigma() -> None:
    """The cheap sensor's moves by 0.8 mg; without it a mean over nine seconds would claim 0.06 mg."""
    rng, off = np.random.default_rng(5), []
    base = draw_imu(CHEAP, rng)
    for _ in range(60):
        stood = []
        for _ in range(2):
            force = base.acc_matrix @ [0.0, 0.0, LOCAL_G] + turn_on(base, rng).acc_bias_mm_s2
            noise = 270e-6 * G_MM_S2 / np.sqrt(2 * 9.0)
            stood.append(Rest("a", "", 0.0, 9.0, np.zeros(3), np.zeros(3), force, np.full(3, noise)))
        found = level_and_turned(*stood, np.eye(3), place_sd_rad=0.0)
        off.append((found.shown.values - truth_of(base)[0]) / np.sqrt(np.diag(found.shown.covariance)))
    assert 0.6 < np.sqrt(np.mean(np.square(off))) < 1.4


def test_a_wagon_on_its_side_is_no_level_rest() -> None:
    _, here, turned = pair(1)
    side = Rest("side", "", 0.0, 9.0, np.zeros(3), np.zeros(3), here.force_mm_s2[[2, 0, 1]], np.ones(3))
    with pytest.raises(UndeterminedError, match=r"side: expected a wagon at rest on its wheels, came .*\+1\.0"):
        level_and_turned(side, turned, np.eye(3))


def test_a_place_known_to_be_level_shows_it_within_how_level_it_is() -> None:
    _, here, _ = pair(1, 0.0, 0.0)
    found = level_place(here, np.eye(3), level_sd_rad=1e-3)
    assert found.error_sd_rad == pytest.approx([1e-3, 1e-3], rel=0.15)
    assert np.isnan(found.slope_rad).all()


@pytest.mark.parametrize("turns", [5, -3])
def test_whole_turns_on_a_table_show_scale_tilt_and_level(turns: int) -> None:
    off = []
    for seed in range(6):
        one, rng = specimen(seed), np.random.default_rng(seed)
        run = on_table(one, turns, rng, stance_rad=tuple(rng.normal(0, 0.003, 2)))
        found = table_turns(run, np.eye(3), turns=abs(turns))
        level, cross = truth_of(one)
        true = np.concatenate([[one.gyro_matrix[2, 2] - 1], cross, level])
        assert found.turns == turns
        assert found.scale == pytest.approx(true[0], abs=5e-4)
        off.append(np.linalg.solve(np.linalg.cholesky(found.shown.covariance), found.shown.values - true))
        sums = np.array([[0, -G_MM_S2, 0, 1, 0], [0, 0, -G_MM_S2, 0, 1.0]])  # how the wagon leans drops out of these
        assert (sums @ found.shown.covariance @ sums.T).diagonal().max() < (0.6e-3 * G_MM_S2) ** 2
        assert np.abs(sums @ (found.shown.values - true)).max() < 0.6e-3 * G_MM_S2
    assert 0.4 < np.sqrt(np.mean(np.square(off))) < 1.4


def test_a_wagon_stood_on_end_shows_that_axis_scale_only() -> None:
    one = specimen(3)
    found = table_turns(on_table(one, 4, np.random.default_rng(1), up=(1.0, 0.0, 0.0)), np.eye(3))
    assert (found.axis, found.turns, found.shown.names) == (0, 4, ("gyro_scale_x",))
    assert abs(found.scale - (one.gyro_matrix[0, 0] - 1)) < 3 * np.sqrt(found.shown.covariance[0, 0])


def test_miscounted_turns_and_missing_standstills_are_refused() -> None:
    one = specimen(3)
    run = on_table(one, 4, np.random.default_rng(1))
    with pytest.raises(UndeterminedError, match=r"expected 5 whole turns on the turntable, came 3\.98 by the gyro"):
        table_turns(run, np.eye(3), turns=5)
    with pytest.raises(UndeterminedError, match=r"came 0\.30 by the gyro"):
        table_turns(on_table(one, 0.3, np.random.default_rng(1)), np.eye(3))
    with pytest.raises(UndeterminedError, match="between two standstills"):
        table_turns(on_table(one, 2, np.random.default_rng(1), rest_s=0.5), np.eye(3))
    with pytest.raises(UndeterminedError, match="expected a gyro"):
        table_turns(Recording("deaf", run.t_s, acc_mm_s2=run.acc_mm_s2), np.eye(3))


@pytest.fixture(scope="module")
def ridden():
    rng = np.random.default_rng(3)
    line = oval(rng)
    one = draw_specimen(HO_VAN, GOOD, rng)
    run, truth = simulate(
        line, HO_VAN, RunPlan(*laps(line.length_mm, 5, 220.0), still_s=(8, 10)), GOOD, rng, specimen=one
    )
    return travel(run, HO_VAN), truth.specimen.imu


def test_five_laps_show_the_gyro_scale_and_the_accelerometers_offset(ridden) -> None:
    run, one = ridden
    found = curves(run, HO_VAN, closed=True, sha256="ab")
    level, cross = truth_of(one)
    assert abs(found.turns) == 5
    assert found.scale == pytest.approx(one.gyro_matrix[2, 2] - 1, abs=1e-3)
    assert found.offset_mm_s2 == pytest.approx(level - G_MM_S2 * cross, abs=0.0015 * G_MM_S2)
    true = found.shown.matrix @ np.concatenate([[one.gyro_matrix[2, 2] - 1], cross, level])
    assert (np.abs(found.shown.values - true) < 3 * np.sqrt(np.diag(found.shown.covariance))).all()
    assert found.shown.runs == (("run", "ab"),)


def test_canted_curves_would_spoil_the_scale_were_the_lean_not_taken_out(ridden) -> None:
    """Cant of 0.8 mm in 16.5: the body turns by 1 - cos(0.0485) = 0.12 % less about its own upright."""
    run, _ = ridden
    with_force = curves(run, HO_VAN, closed=True).scale
    assert run.imu is not None
    deaf = dataclasses.replace(run.imu, acc_mm_s2=None)
    alone = curves(dataclasses.replace(run, imu=deaf), HO_VAN, closed=True)
    assert with_force - alone.scale == pytest.approx(0.0012, abs=4e-4)
    assert np.isnan(alone.offset_mm_s2).all()
    assert alone.scale_sd > 9e-4


def test_a_figure_of_eight_shows_no_scale() -> None:
    rng = np.random.default_rng(2)
    line = figure_eight(rng)
    run, _ = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 1, 300.0), still_s=(4, 5)), GOOD, rng)
    with pytest.raises(UndeterminedError, match="expected laps that turn by whole turns, came"):
        curves(travel(run, HO_VAN), HO_VAN, closed=True)


def test_a_rest_that_is_none_is_refused() -> None:
    run = on_table(specimen(1), 6, np.random.default_rng(1), rest_s=2.0)
    with pytest.raises(UndeterminedError, match="expected a sensor at rest throughout"):
        rest(run)
    assert rest(left_alone(specimen(1), 6.0, np.random.default_rng(2))).seconds > 5.0
