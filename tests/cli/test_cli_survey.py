"""`wayrule survey` and the library's `survey`: the folder by the contract, the truth behind it, and wrong words."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import wayrule
from tests.world import World
from wayrule import store
from wayrule.cli.main import run
from wayrule.desk.surveying import SurveyResult
from wayrule.model.track import STATION_COLUMNS
from wayrule.sim import errors


@dataclass(frozen=True)
class Done:
    folder: Path
    json: dict[str, Any]
    progress: str


def words(world: World, out: Path) -> list[str]:
    runs = [f"{world.run('monday')}@laps=4", f"{world.run('tuesday')}@laps=1"]
    tape = f"lap:{world.line.length_mm:.0f}:5"
    stated = ["--turned", world.run("tuesday"), "--wagon", world.wagon, "--tape", tape]
    return ["survey", *runs, *stated, "--out", str(out), "--no-open"]


@pytest.fixture(scope="module")
def done(world: World, tmp_path_factory: pytest.TempPathFactory) -> Done:
    """One survey, looked at from several sides."""
    import contextlib
    import io

    folder = tmp_path_factory.mktemp("surveys") / "the oval"
    out, progress = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(progress):
        assert run([*words(world, folder), "--json"]) == 0
    return Done(folder, json.loads(out.getvalue()), progress.getvalue())


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_the_survey_folder_is_the_contract(done: Done) -> None:
    names = {path.relative_to(done.folder).as_posix() for path in done.folder.rglob("*") if path.is_file()}
    assert names == {
        "stations.csv", "elements.csv", "faults.csv", "survey.json", "calibration.json", "report.html",
        "travel/monday.csv", "travel/tuesday.csv",
    }  # fmt: skip
    assert list(table(done.folder / "stations.csv")[0]) == [*STATION_COLUMNS, "passes"]
    assert list(table(done.folder / "elements.csv")[0])[:8] == [
        "plane", "kind", "s0_mm", "s1_mm", "curvature0_1_mm", "curvature1_1_mm", "gradient0", "gradient1",
    ]  # fmt: skip


def test_a_closed_line_is_written_once_round_in_5_mm_steps(done: Done, world: World) -> None:
    s = [float(row["s_mm"]) for row in table(done.folder / "stations.csv")]
    assert s[0] == 0.0
    assert s[1] - s[0] == pytest.approx(5.0, abs=0.01)
    # its start is not repeated, and the tape of 5 mm (one sigma) holds the length
    assert s[-1] < world.line.length_mm + 15.0
    assert s[-1] > world.line.length_mm - 15.0 - 10.0


def test_the_map_is_the_railway(world: World, tmp_path: Path) -> None:
    found = wayrule.survey(
        [f"{world.run('monday')}@laps=4", f"{world.run('tuesday')}@laps=1"],
        world.wagon,
        turned=[world.run("tuesday")],
        tapes=[f"lap:{world.line.length_mm:.0f}:5"],
    )
    assert isinstance(found, wayrule.Survey)
    assert isinstance(found, SurveyResult)
    wrong = errors(world.line, world.truths["monday"], found.stations)
    assert wrong.plan_rms_mm < 3.0, "3 mm on the oval, what the benchmarks promise for four laps"
    assert wrong.height_rms_mm < 1.5, "1.5 mm, likewise"
    files = found.save(tmp_path / "saved")
    assert {path.name for path in files} >= {"stations.csv", "report.html"}
    assert found._repr_html_().startswith("<iframe srcdoc=")


def test_a_machine_gets_one_object_and_a_person_progress(done: Done) -> None:
    assert done.json["closure"]["laps"] == pytest.approx(5.0, abs=0.005), "five laps; each ends within mm of 9 m"
    assert done.json["line"]["closed"] is True
    assert abs(done.json["closure"]["turns_per_lap"]) == 1, "an oval turns once round"
    assert Path(done.json["report"]).is_file()
    assert "reading" in done.progress
    assert [entry["role"] for entry in done.json["inputs"]] == ["wagon", "run", "run"]


def test_lengths_rest_on_the_tape_and_say_so(done: Done, world: World) -> None:
    """A tape of 5 mm on a lap of 9 m is 0.06 %; the caliper alone 0.4 %."""
    for one in done.json["runs"]:
        assert one["scale_source"].startswith(f"tape: lap {world.line.length_mm:.0f} +- 5 mm; caliper")
        assert one["scale_sd"] < 0.001
    assert "(tape: lap" in (done.folder / "report.html").read_text(encoding="utf-8")


def test_what_lies_between_two_places_is_told_everywhere(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The mark was set at 1500 mm of the railway, where the wagon first starts at 0: 1500 mm along, to the tape's
    0.06 % and the few mm by which a wagon passes a nameplate on a lap."""
    out = tmp_path / "s"
    asked = ["--between", "start:Vale bridge", "--between", "500:4000"]
    assert run([*words(world, out), *asked]) == 0
    said = capsys.readouterr().out
    assert "From start to Vale bridge: " in said
    assert "From 0.50 m to 4.00 m: " in said
    content = json.loads((out / "survey.json").read_text(encoding="utf-8"))
    assert "Run against run: Passes over one place differ by " in said
    assert {(r["quantity"], r["band"]) for r in content["repeats"]} == {
        (quantity, band) for quantity in ("curvature", "gradient", "cant") for band in ("D1", "D2", "D3")
    }
    assert all(r["passes"] == 5 and 0.0 < r["one_run"] < 0.1 for r in content["repeats"])
    assert "Decided: way of monday: not turned (it first rolls towards its front" in said
    assert "to overrule: --turned RUN or --not-turned RUN." in said
    assert "Decided: way of tuesday: turned (stated" in said
    pairs = content["between"]
    assert [(pair["a"], pair["b"]) for pair in pairs] == [("start", "Vale bridge"), ("500", "4000")]
    assert pairs[0]["along_mm"] == pytest.approx(1500.0, abs=10.0)
    assert 0.0 < pairs[0]["along_sd_mm"] < 5.0
    assert pairs[1]["gap_sd_mm"] > 0.0
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Between places" in page
    assert "start to Vale bridge" in page


def test_a_person_gets_sentences(world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lone = ["survey", world.run("monday"), "--closed-laps", "4", "--wagon", world.wagon, "--step", "20"]
    assert run([*lone, "--out", str(tmp_path / "s"), "--no-open"]) == 0
    out = capsys.readouterr().out
    assert "report.html" in out
    s = [float(row["s_mm"]) for row in table(tmp_path / "s" / "stations.csv")]
    assert s[1] - s[0] == pytest.approx(20.0, rel=0.02), "the step that was asked for"


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        (["--tape", "lap:nine:5"], "expected a taped length as a number of mm"),
        (["--turned", "wednesday.csv"], "expected one of the runs given"),
        (["--closed-laps", "2"], "expected --closed-laps with a single run"),
        (["--level", "1800:1200"], "expected FROM below TO"),
        (["--straight", "here"], "expected two parts FROM:TO"),
        (["--control", "nowhere.csv"], "expected a file, came nothing there"),
        (["--relation", "nowhere.csv"], "expected a file, came nothing there"),
        (["--relation", __file__], "expected the columns at, to, dx_mm"),
        (["--calibration", "nowhere.json"], "expected a file, came nothing there"),
        (["--calibration", __file__], "expected a JSON file as Wayrule writes it"),
        (["--step", "0"], "expected a number"),
        (["--level", "90000:91000"], "--level: expected a stretch of the line"),
        (["--tape", "bridge..signal:900:3"], "--tape bridge..signal: expected start, end or the name of a mark"),
        (["--tape", "lap:800:3"], "--tape lap: expected about"),
        (["--between", "here"], "expected two places A:B"),
        (["--between", "5:5"], "expected two different places"),
        (["--between", "nan:5"], "expected a chainage in mm or the name of a mark"),
        (["--between", "Vale bridge:signal"], "start, end or the name of a mark (Vale bridge), came 'signal'"),
        (["--between", "0:12000"], "--between 0:12000: expected a place on the line, which reaches from 0 to"),
    ],
)
def test_wrong_words_are_one_line_and_nothing_is_written(
    world: World, tmp_path: Path, extra: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "never"
    assert run([*words(world, out), *extra]) == 2
    errors_told = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert len(errors_told) == 1
    assert says in errors_told[0]
    assert not out.exists()


def test_a_calibration_goes_in_and_a_better_one_comes_out(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One lap of the wagon turned, by the constants that four laps of monday taught; then tuesday again is refused."""
    first, second = tmp_path / "first", tmp_path / "second"
    with_wagon = ["--wagon", world.wagon, "--no-open"]
    assert run(["survey", f"{world.run('monday')}@laps=4", *with_wagon, "--out", str(first)]) == 0
    capsys.readouterr()
    remembered = first / "calibration.json"
    tuesday = ["survey", f"{world.run('tuesday')}@laps=1", *with_wagon, "--calibration", str(remembered)]
    assert run([*tuesday, "--out", str(second)]) == 0
    assert "begin from a calibration by 1 earlier run" in capsys.readouterr().out
    page, said = ((second / name).read_text(encoding="utf-8") for name in ("report.html", "survey.json"))
    assert "begin from a calibration by 1 earlier run" in page
    content = json.loads(said)
    assert [entry["role"] for entry in content["inputs"]] == ["wagon", "calibration", "run"]
    assert content["inputs"][1]["sha256"] == store.sha256(remembered.read_bytes())
    before, after = (store.read_calibration(folder / "calibration.json") for folder in (first, second))
    assert [name for name, _ in after.runs] == ["monday", "tuesday"]
    sds = [(after.one(name)[1], before.one(name)[1]) for name in before.names]
    assert all(new <= old * (1 + 1e-9) for new, old in sds)
    assert np.mean([new < 0.99 * old for new, old in sds]) > 0.5, "most constants are known better"
    again = [*tuesday[:-1], str(second / "calibration.json"), "--out", str(tmp_path / "never")]
    assert run(again) == 2
    assert (
        "--calibration: expected a calibration from other runs, came one that rests on tuesday already; a run must"
        in (capsys.readouterr().err)
    )
    assert not (tmp_path / "never").exists()


def test_the_library_takes_a_calibration_or_its_file(world: World, tmp_path: Path) -> None:
    first = wayrule.survey(f"{world.run('monday')}@laps=4", world.wagon, out=tmp_path / "first")
    assert isinstance(first.calibration, wayrule.Calibration)
    by_type, by_file = (
        wayrule.survey(f"{world.run('tuesday')}@laps=1", world.wagon, calibration=given)
        for given in (first.calibration, tmp_path / "first" / "calibration.json")
    )
    np.testing.assert_array_equal(by_type.stations.z_mm, by_file.stations.z_mm)


@pytest.mark.parametrize(
    ("runs", "says"),
    [
        (["monday@laps=2"], "expected 2 laps, as stated, came a run that goes round 4 times"),
        (["monday@laps=5"], "state @laps=4, or leave the laps off"),
    ],
)
def test_laps_that_the_run_contradicts_are_one_line(
    world: World, tmp_path: Path, runs: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    named = [world.run(name) + at + laps for name, at, laps in (one.partition("@") for one in runs)]
    assert run(["survey", *named, "--wagon", world.wagon, "--out", str(tmp_path / "never")]) == 2
    told = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert len(told) == 1
    assert says in told[0]


def test_a_control_point_at_an_unknown_mark_is_one_line(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    control = tmp_path / "points.csv"
    control.write_text("at,x_mm,y_mm,sd_mm\nbridge,0,0,1\n", encoding="utf-8")
    assert run([*words(world, tmp_path / "never"), "--control", str(control)]) == 2
    assert "--control: expected start, end or the name of a mark" in capsys.readouterr().err


def test_a_relation_goes_from_its_file_into_the_map(world: World, tmp_path: Path) -> None:
    """Monday ends where it began; the file says so once more, and what is left over of it is told."""
    stated = tmp_path / "same.csv"
    stated.write_text("at,to,dx_mm,dy_mm,sd_mm\nstart,end,0,0,3\n", encoding="utf-8")
    out = tmp_path / "s"
    lone = ["survey", f"{world.run('monday')}@laps=4", "--wagon", world.wagon, "--step", "20", "--no-open"]
    assert run([*lone, "--relation", str(stated), "--out", str(out)]) == 0
    told = json.loads((out / "survey.json").read_text(encoding="utf-8"))["assumptions"]
    assert [text for text in told if text.startswith("1 stated between places of the line") and "(start..end" in text]
    stated.write_text("at,to,dx_mm,dy_mm,sd_mm\nstart,bridge,0,0,3\n", encoding="utf-8")
    assert run([*lone, "--relation", str(stated), "--out", str(tmp_path / "never")]) == 2
    assert not (tmp_path / "never").exists()


def test_a_log_without_gyro_is_refused_with_the_way_on(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "bare.csv"
    rows = [f"{0.1 * k:.1f},{20.0 * k:.1f}" for k in range(60)]
    log.write_text("t_s,wheel_mm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert run(["survey", str(log), "--wagon", world.wagon, "--out", str(tmp_path / "s")]) == 2
    assert "wayrule travel" in capsys.readouterr().err, "distance and speed it can give"
