"""What carries over from survey to survey: fitted to the wagon, given as a prior, learnt back, and worth its while."""

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.calibrations import calibration
from tests.track.test_adjust import circling
from wayrule.errors import UsageError
from wayrule.model import BodyImu, Facts, Imu, Travel, Wagon, Wheel
from wayrule.model.calibration import CONSTANTS
from wayrule.pipeline import survey
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, errors, laps, line_and_spur, simulate
from wayrule.track.adjust.adjust import adjust
from wayrule.track.adjust.learnt import own_after
from wayrule.track.adjust.problem import evaluate, linearised, prepare
from wayrule.track.adjust.remembered import DAY_SD, Before, constant_rows, known_before, recall
from wayrule.track.adjust.unknowns import RUN_LEVEL_SHARE, WAGON, Border
from wayrule.track.fitting import check_new, check_seat, for_wagon
from wayrule.track.place import place
from wayrule.units import DEG, G_MM_S2

VAN = Wagon("Clerestory van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04), imu=Imu(place_mm=(32.5, 0.0, 10.0)))


def with_wheel(**changed: float | None) -> Wagon:
    return dataclasses.replace(VAN, wheel=dataclasses.replace(VAN.wheel, **changed))


def test_the_wheel_keeps_its_size_when_the_wagon_file_is_corrected() -> None:
    """True diameter = (1 + s) D, whatever D stands in the file; its sd in mm stays as well."""
    before = calibration()
    after = for_wagon(before, with_wheel(diameter_mm=10.52))
    (old, old_sd), (new, new_sd) = before.one("wheel_scale"), after.one("wheel_scale")
    assert (1 + new) * 10.52 == pytest.approx((1 + old) * 10.50, rel=1e-12)
    assert new_sd * 10.52 == pytest.approx(old_sd * 10.50, rel=1e-12)
    correlation = [c.covariance[0, 1] / np.sqrt(c.covariance[0, 0] * c.covariance[1, 1]) for c in (before, after)]
    assert correlation[0] == pytest.approx(correlation[1], rel=1e-12)
    assert after.one("level_x") == before.one("level_x")
    assert for_wagon(before, VAN) is before


@pytest.mark.parametrize(
    ("wagon", "says"),
    [
        (
            dataclasses.replace(VAN, name="Ballast wagon 3"),
            "expected a calibration of Ballast wagon 3, came one of Cler",
        ),
        (with_wheel(diameter_mm=None), "expected one made without a wheel's diameter, as the wagon file is, came one"),
        (
            with_wheel(diameter_mm=11.0),
            f"the wheel that it remembers, {10.5 * (1 + calibration().one('wheel_scale')[0]):.3f} +- ",
        ),
    ],
)
def test_another_wagon_or_wheel_is_refused(wagon: Wagon, says: str) -> None:
    with pytest.raises(UsageError) as caught:
        for_wagon(calibration(), wagon)
    assert says in str(caught.value)
    assert str(caught.value).startswith("--calibration: ")


def test_a_run_does_not_count_twice() -> None:
    one = calibration()
    check_new(one, [("monday", "99" * 32), ("simulated", "")])
    with pytest.raises(UsageError, match="came one that rests on again already, named monday; a run must not count"):
        check_new(one, [("again", "ab" * 32)])
    check_new(calibration(runs=(("simulated", ""),)), [("simulated", "")])  # without digests nobody can tell


def seated(turned_deg: float) -> Travel:
    c, s, one = np.cos(turned_deg * DEG), np.sin(turned_deg * DEG), np.zeros(2)
    rotation = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    imu = BodyImu(np.zeros((2, 3)), None, rotation, np.zeros(3), np.zeros(3))
    return Travel("friday", np.arange(2.0), one, one, one, one, np.zeros(2, np.int8), one, 0.004, "caliper", imu)


def test_a_sensor_seated_otherwise_is_refused() -> None:
    check_seat(calibration(), [seated(0.0), seated(0.05)])
    with pytest.raises(UsageError, match="seated as when it was made, came one turned by 90 deg in friday; survey"):
        check_seat(calibration(), [seated(0.0), seated(90.0)])


def border() -> Border:
    """A border as it is laid out for an unknown wagon, its sds made up."""
    out = Border()
    for name in WAGON:
        out.add(name, 1, {"scale": 0.05, "stretch": 0.05, "lag_s": 0.0015}.get(name, 0.02))
    out.add("level_x/0", 1, 5.0)
    out.add("level_y/0", 1, 5.0)
    out.add("bias_x/0", 3, 0.2, step_sd=1e-4)
    return out


def test_the_prior_is_the_calibration_and_a_part_of_the_day() -> None:
    """The border's prior, inverted, has the calibration's covariance plus the day's; the lag its own."""
    one, place = calibration(), border()
    before = known_before(place, one, wheel_scale_sd=0.004, lag_sd_s=0.0015, reverses=True)
    assert before.names == tuple(CONSTANTS)
    recall(place, before, one)
    rows = constant_rows(place.names, before.acting_names, place.size)
    met = rows @ np.linalg.inv(place.prior_matrix()) @ rows.T
    day = [5.0 if n.startswith("level") else DAY_SD[n] for n in one.names]
    size = np.sqrt(np.diag(one.covariance))
    # the wheel scale's two halves keep 0.05 each: 1e-4 of the variance of their sum
    np.testing.assert_allclose(
        met[:-1, :-1], one.covariance + np.diag(day) ** 2, atol=3e-4 * np.outer(size, size).max()
    )
    np.testing.assert_allclose(met[:-1, :-1] / np.outer(size, size), (one.covariance + np.diag(np.square(day)))
                               / np.outer(size, size), atol=1e-3)  # fmt: skip
    assert met[-1, -1] == pytest.approx(0.0015**2)
    np.testing.assert_allclose((rows @ np.array(place.value))[:-1], one.values)
    assert place.sd[place.names["bias_x/0"].start] == pytest.approx(5 * one.bias_rad_s)
    assert RUN_LEVEL_SHARE > 0


def test_a_lag_that_this_survey_cannot_see_is_held_where_it_was() -> None:
    names = tuple(CONSTANTS)
    one = calibration(names=names, values=np.full(17, 1e-3), covariance=np.diag(np.full(17, 1e-8)))
    place = border()
    before = known_before(place, one, wheel_scale_sd=0.004, lag_sd_s=0.0015, reverses=False)
    recall(place, before, one)
    at = place.names["lag_s"].start
    assert (place.value[at], place.sd[at]) == (1e-3, 0.0015)
    assert before.lag_sd_s == pytest.approx(np.hypot(1e-4, DAY_SD["lag_s"]))
    values, own = own_after(before, before.values[before.acting], 0.5 * before.as_met)
    assert (values[-1], own[-1, -1]) == (1e-3, 1e-8)


def test_what_is_learnt_is_what_conditioning_on_the_readings_gives() -> None:
    """c and the day's e both Gaussian, b = c + e read through a matrix with noise: Bayes' rule for (c, e) at once."""
    rng = np.random.default_rng(8)
    n, m = 4, 3
    root = rng.standard_normal((n, n))
    own, day, values = root @ root.T + np.eye(n), np.diag([0.1, 0.5, 1.0, 2.0]), rng.standard_normal(n)
    acting = np.array([True, True, False, True])
    design, noise = rng.standard_normal((m, 3)), np.diag([0.2, 0.3, 0.4])
    read = rng.standard_normal(m)
    pick = np.eye(n)[acting]
    # at once
    spread = design @ pick @ (own + day) @ pick.T @ design.T + noise
    gain = own @ pick.T @ design.T @ np.linalg.inv(spread)
    at_once = values + gain @ (read - design @ pick @ values), own - gain @ design @ pick @ own
    # by way of b, as the adjustment does
    as_met = pick @ (own + day) @ pick.T
    information = np.linalg.inv(as_met) + design.T @ np.linalg.inv(noise) @ design
    covariance = np.linalg.inv(information)
    mean = covariance @ (np.linalg.inv(as_met) @ pick @ values + design.T @ np.linalg.inv(noise) @ read)
    by_way = own_after(Before(("a", "b", "c", "d"), acting, values, own, as_met, 1.0), mean, covariance)
    np.testing.assert_allclose(by_way[0], at_once[0], atol=1e-12)
    np.testing.assert_allclose(by_way[1], at_once[1], atol=1e-12)


def test_a_leaning_wagon_and_a_leaning_sensor_are_told_apart_by_no_unturned_run() -> None:
    """Roll the line by d, the sensor against it: level_y + g d and cross_y + d. Gyro and accelerometer read the same to
    second order, so neither offset is known better than the other, and the covariance must know it."""
    travel, facts = circling(480.0, 3), Facts(laps={"circle": 3})
    problem = prepare([travel], VAN, facts, place([travel], facts, 65.0, 65.0 / 8))
    done = adjust(problem)
    u, d = done.unknowns, 1e-4
    step, border = np.zeros((3, u.block)), np.zeros(len(u.border))
    step[2, : u.spline.n] = -d * u.gain("x")
    border[u.names["level_y"]], border[u.names["cross_y"]] = G_MM_S2 * d, d
    before, after = evaluate(problem, u)[0], evaluate(problem, u.moved(step.ravel(), border))[0]
    (parts,) = linearised(u, problem.settings[0], before)
    for rows, old, new in zip(parts, before.readings, after.readings, strict=True):
        if old.kind in ("gyro_y", "force_y"):
            alone = np.abs(rows.by_border @ border).max()
            assert np.abs(old.residual - new.residual).max() < 1e-3 * (G_MM_S2 * d if old.kind == "force_y" else d)
            assert alone < (0.01 * d if old.kind == "gyro_y" else 1.01 * G_MM_S2 * d)
    names = [u.names[name].start for name in ("level_y", "cross_y")]
    spread = done.border_covariance[np.ix_(names, names)]
    assert np.sqrt(spread[1, 1]) == pytest.approx(np.sqrt(spread[0, 0]) / G_MM_S2, rel=0.05)
    assert spread[0, 1] / np.sqrt(spread[0, 0] * spread[1, 1]) > 0.99


@pytest.fixture(scope="module")
def remembered():
    """Two laps of a line, then once along its spur with and without what they told; nothing turned."""
    rng = np.random.default_rng(1)
    line, spur = line_and_spur(rng)
    there, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 2, 220.0), rate_hz=100), GOOD, rng, name="line")
    near = 1.5 * HO_VAN.wheelbase_mm
    plan = RunPlan(near, (Leg(spur.length_mm - 2 * near, 220.0),), rate_hz=100)
    along, spur_truth = simulate(spur, HO_VAN, plan, GOOD, rng, specimen=truth.specimen, name="spur")
    there, along = (dataclasses.replace(r, sha256=r.name) for r in (there, along))
    first = survey([there], HO_VAN, Facts(laps={"line": 2}))
    without, with_it = survey([along], HO_VAN), survey([along], HO_VAN, calibration=first.calibration)
    return first, without, with_it, [errors(spur, spur_truth, s.stations) for s in (without, with_it)], along, truth


def test_a_remembered_wagon_is_far_better_on_a_single_run(remembered) -> None:
    """Promised for the spur: height 0.4 mm after a plane; cant but for its constant 0.02 mm."""
    *_, (without, with_it), _, _ = remembered
    assert with_it.height_rms_mm < 0.4
    assert with_it.height_rms_mm < 0.2 * without.height_rms_mm
    assert with_it.gradient_rms < 0.2 * without.gradient_rms
    assert with_it.cant_rms_mm < 0.02
    assert with_it.plan_scaled_rms_mm < 2.0


def test_a_better_calibration_comes_out(remembered) -> None:
    first, _, with_it, _, _, truth = remembered
    for name in first.calibration.names:
        assert with_it.calibration.one(name)[1] <= first.calibration.one(name)[1] * (1 + 1e-9)
    value, sd = first.calibration.one("gyro_scale_z")
    assert abs(value - (truth.gyro_scale - 1)) < 3 * sd
    assert sd < 1e-3, "whole turns calibrate the gyro"
    assert with_it.calibration.runs == (("line", "line"), ("spur", "spur"))
    assert with_it.calibration.bias_runs == 2
    assert with_it.calibration.sway_passes == pytest.approx(first.calibration.sway_passes)


def test_the_same_run_again_is_refused(remembered) -> None:
    _, _, with_it, _, along, _ = remembered
    with pytest.raises(UsageError, match="rests on spur already"):
        survey([along], HO_VAN, calibration=with_it.calibration)


def test_the_sentences_say_what_rests_on_the_calibration(remembered) -> None:
    _, without, with_it, *_ = remembered
    said = " ".join(with_it.assumptions)
    assert "Length scale rests on calibration: wheel of 10.5" in said
    assert "begin from a calibration by 1 earlier run, each" in said
    assert "which the calibration leaves" in said
    assert "calibration" not in " ".join(without.assumptions)
    assert [role for role, *_ in with_it.inputs] == ["wagon", "calibration", "run"]
    assert with_it.travels[0].scale_source.startswith("calibration: wheel of 10.5")

    def tilt(assumptions: tuple[str, ...]) -> float:
        sentence = next(s for s in assumptions if "open line" in s)
        return float(sentence.split("about ")[1].split(" ")[0])

    assert tilt(with_it.assumptions) < 0.2 * tilt(without.assumptions)


def test_one_tilt_of_the_sensor_is_likelier_than_two_that_cancel() -> None:
    """scipy's rotation of a sensor by 1 deg: what it reads of gravity and of a yaw rate is the same share of each, and
    the prior of an unknown wagon must take that for one tilt, not for two errors."""
    travel, facts = circling(480.0, 2), Facts(laps={"circle": 2})
    before = prepare([travel], VAN, facts, place([travel], facts, 65.0, 65.0 / 8)).before
    for axis, turn in (("x", (0.0, -1.0, 0.0)), ("y", (1.0, 0.0, 0.0))):
        seen = Rotation.from_rotvec(np.radians(turn)).inv().apply([0.0, 0.0, 1.0])["xy".index(axis)]
        at = [before.acting_names.index(name) for name in (f"cross_{axis}", f"level_{axis}")]
        information = np.linalg.inv(before.as_met[np.ix_(at, at)])
        together, apart = (np.array([seen, sign * G_MM_S2 * seen]) for sign in (1.0, -1.0))
        assert together @ information @ together < 0.5 * (apart @ information @ apart)
