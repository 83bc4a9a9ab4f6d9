"""`calibrate` from files on disk: what it learns is true, what it lacks it says, and a survey is better for it."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

import wayrule
from tests.yard import Yard, make_yard
from wayrule.cli.main import run
from wayrule.errors import UndeterminedError, UsageError
from wayrule.formats.recordingwriter import write_recording
from wayrule.formats.wagonwriter import write_wagon
from wayrule.model import FieldSensor, Imu, Wheel
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, Slide, build, draw_specimen, errors, simulate, straight

MONDAY, TUESDAY = "2026-08-03T09:00:00Z", "2026-08-04T09:00:00Z"


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return make_yard(tmp_path_factory.mktemp("yard"))


@pytest.fixture(scope="module")
def whole(yard: Yard):
    """A day with everything."""
    return wayrule.calibrate(yard.all, yard.wagon, made=MONDAY)


def test_the_wheel_is_found_within_its_sigmas(yard: Yard, whole) -> None:
    """Three tapings of 0.7 mm on 3 m: 0.0135 % and what a wheel does between; three sigmas of it."""
    truth = yard.specimen.wheel
    straight = whole.distance.circle("straight")
    assert abs(straight.circumference_mm - truth.circumference_mm) < 3 * straight.circumference_sd_mm
    assert straight.circumference_sd_mm < 2e-4 * truth.circumference_mm
    assert abs(whole.distance.slip_mm - truth.slip_mm) < 3 * whole.distance.slip_sd_mm
    scale, sd = whole.calibration.one("wheel_scale")
    assert abs(np.pi * 10.5 * (1 + scale) - truth.circumference_mm) < 3 * sd * 33.0
    assert sd > straight.scale_sd, "the day's dirt is in it too"


def test_every_part_is_known_or_says_what_to_do(whole) -> None:
    parts = {one.name: one for one in whole.parts}
    assert parts["level and mounting"].standing == "known"
    assert parts["accelerometer"].standing == "known"
    assert parts["gyro"].standing == "known"
    assert parts["distance"].standing == "partly known", "not rolled backward yet"
    assert "backward" in parts["distance"].todo
    assert "quarter of an hour" in parts["noise and clock"].todo
    assert all(one.todo for one in whole.parts if one.standing != "known")


def test_a_survey_with_the_new_file_is_better(yard: Yard, tmp_path: Path, whole) -> None:
    """One unturned lap: its plan's size rests on the caliper's 0.4 %, or on the calibration's few hundredths."""
    whole.save(tmp_path / "calibrations")
    plain = wayrule.survey([yard.run("once@laps=1")], yard.wagon)
    better = wayrule.survey([yard.run("once@laps=1")], yard.wagon, calibration=tmp_path / "calibrations")
    before, after = (errors(yard.line, yard.once, one.stations) for one in (plain, better))
    assert after.plan_rms_mm < 0.4 * before.plan_rms_mm
    said = {what: why for what, _, why, _ in better.decisions}
    assert said["calibration"] == "the newest by date"
    assert better.calibration.steps == whole.calibration.steps, "the history goes on"
    assert better.calibration.made > MONDAY
    assert np.sqrt(better.calibration.covariance[0, 0]) < 1e-3 < np.sqrt(plain.calibration.covariance[0, 0])


def test_the_day_after_goes_on_from_the_newest(yard: Yard, tmp_path: Path) -> None:
    first = wayrule.calibrate(yard.floors[:2], yard.wagon, out=tmp_path, made=MONDAY)
    second = wayrule.calibrate(
        [yard.run("shuttle@taped=3000:0.7")], yard.wagon, calibration=tmp_path, out=tmp_path, made=TUESDAY
    )
    assert [step.made for step in second.calibration.steps] == [MONDAY, TUESDAY]
    assert second.calibration.one("wheel_scale")[1] < first.calibration.one("wheel_scale")[1]
    assert len(list(tmp_path.glob("*.calibration.json"))) == 2
    assert "the only one of this wagon" in second.chosen
    told = " ".join(second.part("distance").told)
    assert "Against the mean of 1 earlier calibration on straights" in told
    assert "Forward less backward" in told
    page = (tmp_path / "calibration.html").read_text(encoding="utf-8")
    assert "every calibration" in page
    assert "http" not in page.replace("http://www.w3.org", ""), "one file, no network"
    with pytest.raises(UsageError, match="rests on shuttle already"):
        wayrule.calibrate([yard.run("shuttle@taped=3000:0.7")], yard.wagon, calibration=second.calibration)


def test_order_does_not_matter(yard: Yard) -> None:
    words = [*yard.floors, yard.run("here@level"), yard.run("there@turned"), yard.run("sides@position")]
    one = wayrule.calibrate(words, yard.wagon, made=MONDAY).calibration
    other = wayrule.calibrate(words[::-1], yard.wagon, made=MONDAY).calibration
    size = np.sqrt(np.diag(one.covariance))
    np.testing.assert_allclose(one.values / size, other.values / size, atol=1e-6)
    np.testing.assert_allclose(
        one.covariance / np.outer(size, size), other.covariance / np.outer(size, size), atol=1e-6
    )


def test_a_closed_loop_alone_is_refused_with_the_reason(yard: Yard) -> None:
    found = wayrule.calibrate(yard.run("oval@laps=3"), yard.wagon)
    distance = found.part("distance")
    assert distance.standing == "not yet known"
    assert "3 closed laps say nothing of the wheel's size: a line closes at any size" in distance.refused[0]
    assert found.distance is None
    before = np.pi * 10.5 * 0.04 / 10.5
    assert found.calibration.one("wheel_scale")[1] == pytest.approx(before / (np.pi * 10.5), rel=0.01)
    assert found.part("gyro").standing == "known", "its turns are whole all the same"


def test_left_to_the_data_every_recording_is_what_it_is(yard: Yard) -> None:
    names = ["oval", "sides", "table", "alone", "shuttle"]
    found = wayrule.calibrate([yard.run(name) for name in names], yard.wagon)
    kinds = {name: one.kind for name, one in found.purposes}
    assert kinds["oval"] == "laps"
    assert (kinds["sides"], kinds["table"], kinds["alone"]) == ("position", "table", "rest")
    assert all(one.decided for _, one in found.purposes)


@pytest.mark.parametrize(
    "word", ["alone@spin", "floor0", "here@level", "sides@table", "table@laps=5", "oval@rod=300:1"]
)
def test_any_recording_for_any_purpose_is_survived(yard: Yard, word: str) -> None:
    """Beside a taped run that tells something: no trace, and what is not known says what to do."""
    found = wayrule.calibrate([yard.floors[1], yard.run(word)], yard.wagon)
    assert found.distance is not None
    assert all(one.todo for one in found.parts if one.standing == "not yet known")


def test_nothing_at_all_is_one_line(yard: Yard, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="expected at least one recording, came none"):
        wayrule.calibrate([], yard.wagon)
    with pytest.raises(UsageError, match=r"expected every recording once, came .*floor0-2 and .*floor0, the same"):
        wayrule.calibrate([yard.floors[0], yard.run("floor0")], yard.wagon)
    (tmp_path / "bare.csv").write_text("t_s,wheel_mm\n0,0\n0.1,0\n0.2,0\n0.3,0\n", encoding="utf-8")
    plain = tmp_path / "plain.wagon.toml"
    keys = ('name = "v"', 'scale = "HO"', "gauge_mm = 16.5", "wheelbase_mm = 65", "[wheel]", "scale_sd = 0.01")
    plain.write_text("\n".join(keys), encoding="utf-8")
    with pytest.raises(UndeterminedError, match="expected recordings that tell something of the wagon") as caught:
        wayrule.calibrate(tmp_path / "bare.csv", plain)
    assert "\n" not in str(caught.value)


def test_the_command_speaks_to_people_and_machines(
    yard: Yard, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["calibrate", *yard.floors, "--wagon", yard.wagon, "--out", str(tmp_path), "--no-open"]
    assert run(words) == 0
    said = capsys.readouterr().out
    assert "Distance: partly known" in said
    assert "Do this next: " in said
    assert "Level and mounting: not yet known" in said
    assert "Written: " in said
    assert run([*words, "--json"]) == 0
    content = json.loads(capsys.readouterr().out)
    assert "distance" in [part["name"] for part in content["parts"]]
    assert content["distance"]["circles"][0]["legs"] == 3
    assert content["calibration"]["kind"] == "wayrule calibration 1"
    assert content["next"]
    assert len(content["written"]) == 2
    assert len(list(tmp_path.glob("*.calibration.json"))) == 2, "never over another"
    assert run(["calibrate", yard.floors[0], "--wagon", yard.wagon]) == 0
    assert "Nothing was written; --out DIR keeps the calibration." in capsys.readouterr().out
    assert run(["calibrate", yard.run("floor0@spn"), "--wagon", yard.wagon]) == 2
    assert "did you mean @spin" in capsys.readouterr().err


def test_a_notebook_shows_the_page(whole) -> None:
    assert whole._repr_html_().startswith("<iframe srcdoc=")
    assert dataclasses.is_dataclass(whole)


def test_a_spin_teaches_the_axle_and_a_later_run_is_checked_against_it(yard: Yard, tmp_path: Path) -> None:
    first = wayrule.calibrate(yard.run("spin@spin=forward"), yard.wagon, out=tmp_path, made=MONDAY)
    part = first.part("axle angle")
    assert part.standing == "known"
    assert "Learnt from" in part.told[0]
    assert "um of travel" in part.told[1]
    assert first.calibration.axle is not None
    later = wayrule.calibrate(yard.floors[0], yard.wagon, calibration=tmp_path, made=TUESDAY)
    assert any("the field is as it was learnt" in text for text in later.part("axle angle").told)


def test_a_dry_test_says_what_to_do_and_makes_no_calibration(yard: Yard, tmp_path: Path) -> None:
    found = wayrule.calibrate(yard.run("dry@dry"), yard.wagon, out=tmp_path)
    part = found.part("axle angle")
    assert part.told[0].startswith("Dry test: ")
    assert "dry" in part.todo or "Fix the magnets" in part.todo
    assert [path.name for path in found.written] == ["calibration.html"]


@pytest.mark.parametrize("wheel", ["distance", "ticks", "speed"])
def test_other_wheel_sensors_without_an_inertial_one(tmp_path: Path, wheel: str) -> None:
    """A distance 1 % too short, an encoder, a speed: the tape finds their scale; a rod laid six times too."""
    rng = np.random.default_rng(8)
    road = build("Shed road", [straight(4000.0)], scale="HO", ratio=87.0, gauge_mm=16.5, rng=rng)
    sensed = Wheel(10.5, 0.04, ticks_per_turn=64.0) if wheel == "ticks" else Wheel(scale_sd=0.01)
    van = dataclasses.replace(HO_VAN, wheel=sensed, magnets=None, sensor=FieldSensor(), imu=Imu())
    (tmp_path / "van.wagon.toml").write_bytes(write_wagon(van))
    specimen = draw_specimen(van, GOOD, rng, field=False)
    specimen = dataclasses.replace(specimen, wheel=dataclasses.replace(specimen.wheel, scale=-0.01))
    legs = {"floor": (Leg(3000.0, 150.0),), "rod": (Leg(300.0, 80.0, 2.0),) * 6}
    for name, plan in legs.items():
        run_plan = RunPlan(200.0, plan, rate_hz=100.0, wheel=wheel, imu=False)  # type: ignore[arg-type]
        recording, _ = simulate(road, van, run_plan, GOOD, rng, specimen=specimen, name=name)
        (tmp_path / f"{name}.csv").write_bytes(write_recording(recording))
    words = [f"{tmp_path / 'floor.csv'}@taped=3000:0.7", f"{tmp_path / 'rod.csv'}@rod=300:0.05"]
    found = wayrule.calibrate(words, tmp_path / "van.wagon.toml", out=tmp_path / "cals")
    circle = found.distance.circle("straight")
    assert circle.legs == 7
    true = specimen.wheel.circumference_mm / (np.pi * 10.5) - 1 if wheel == "ticks" else 1 / 0.99 - 1
    assert abs(circle.scale - true) < 3 * circle.scale_sd
    assert circle.scale_sd < 6e-4
    assert found.calibration.rotation is None
    assert wayrule.calibrate(words[0], tmp_path / "van.wagon.toml").part("gyro").standing == "not yet known"


def test_what_the_cards_of_health_warn_of_is_told_once(whole) -> None:
    """The wagon file states 200 rows a second, the recorder wrote 100: four runs, one sentence."""
    (told,) = whole.part("recordings").told
    assert told.startswith("floor0, floor1, floor2, oval: clock amber: ")
    assert "recordings" not in " ".join(whole.lines()[:3])


def test_a_run_whose_wheel_slid_teaches_no_distance(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    road = build("Shed road", [straight(4000.0)], scale="HO", ratio=87.0, gauge_mm=16.5, rng=rng)
    plan = RunPlan(200.0, (Leg(3000.0, 200.0),), rate_hz=100.0, slides=(Slide(1500.0, 90.0),))
    recording, _ = simulate(road, HO_VAN, plan, GOOD, rng, name="slid")
    (tmp_path / "slid.csv").write_bytes(write_recording(recording))
    found = wayrule.calibrate(f"{tmp_path / 'slid.csv'}@taped=3000:0.7", HO_VAN)
    assert found.part("distance").standing == "not yet known"
    assert "came a sliding wheel at " in found.part("distance").refused[0]
