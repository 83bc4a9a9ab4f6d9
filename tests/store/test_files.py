"""Files and survey folders: whole or not at all, one clear line when something is in the way."""

import json
import os
from pathlib import Path

import numpy as np
import pytest

from tests.calibrations import calibration
from wayrule import store
from wayrule.errors import UsageError, WayruleError
from wayrule.model import Estimate, Stations, Survey, Travel
from wayrule.model.track import STATION_COLUMNS
from wayrule.store import files, swap

FILES = {"survey.json": b"{}\n", "stations.csv": b"s_mm\n", "travel/monday.csv": b"t_s\n"}

no_root = pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind the superuser"
)


def everything(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_file_comes_back_as_written_with_its_digest(tmp_path):
    path = tmp_path / "new folder" / "a.bin"
    assert store.write_bytes(path, b"abc") == path
    assert store.read_bytes(path) == b"abc"
    # FIPS 180-4, example of the standard
    assert store.sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert [p.name for p in path.parent.iterdir()] == ["a.bin"]


def test_text_keeps_its_line_ends(tmp_path):
    assert store.write_text(tmp_path / "a.txt", "Brücke\nb\r\n").read_bytes() == "Brücke\nb\r\n".encode()


def test_what_cannot_be_read_says_why(tmp_path):
    (tmp_path / "Monday.csv").write_bytes(b"x")
    for path, words in (
        (tmp_path / "mondya.csv", "expected a file, came nothing there; did you mean"),
        (tmp_path / "mondya.csv", "Monday.csv?"),
        (tmp_path / "zzz.toml", "came nothing there; check the path"),
        (tmp_path / "no" / "such" / "a.csv", "has no no"),
        (tmp_path / "Monday.csv" / "a.csv", "came nothing there"),
        (tmp_path, "expected a file, came a folder; name the file in it"),
        (Path("a\0b"), "expected a readable file"),
    ):
        with pytest.raises(WayruleError) as caught:
            store.read_bytes(path)
        assert words in str(caught.value)
        assert "\n" not in str(caught.value)


def test_no_permission_is_one_line(tmp_path, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "a.csv"
    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(WayruleError, match="expected a file that may be read, came no permission; change its"):
        store.read_bytes(path)
    with pytest.raises(WayruleError, match="came a folder"):  # Windows refuses folders so
        store.read_bytes(tmp_path)


@no_root
def test_a_folder_without_permission_is_one_line(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(WayruleError, match="expected a place that can be written, came Permission denied"):
            store.write_bytes(tmp_path / "a.bin", b"x")
    finally:
        tmp_path.chmod(0o700)


def test_a_folder_or_a_file_in_the_way_is_one_line(tmp_path):
    (tmp_path / "f").write_bytes(b"x")
    with pytest.raises(WayruleError, match="expected a file, came a folder"):
        store.write_bytes(tmp_path, b"x")
    with pytest.raises(WayruleError, match="expected a place that can be written"):
        store.write_bytes(tmp_path / "f" / "a.bin", b"x")


def test_a_write_that_fails_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch):
    path = store.write_bytes(tmp_path / "a.bin", b"old")

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(WayruleError, match="came No space left on device; choose another folder"):
        store.write_bytes(path, b"new")
    assert everything(tmp_path) == {"a.bin": b"old"}


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_modes_are_the_users_not_the_temporary_files(tmp_path):
    path = store.write_bytes(tmp_path / "a.bin", b"x")
    (tmp_path / "b.bin").write_bytes(b"x")
    assert path.stat().st_mode == (tmp_path / "b.bin").stat().st_mode
    path.chmod(0o640)
    assert store.write_bytes(path, b"y").stat().st_mode & 0o777 == 0o640


def test_a_folder_is_made_and_an_older_survey_replaced(tmp_path):
    out = tmp_path / "deep" / "out"
    assert store.write_folder(out, FILES) == [out / name for name in FILES]
    (out / "notes.txt").write_bytes(b"mine")
    (out / "photos").mkdir()
    (out / "photos" / "1.png").write_bytes(b"png")
    (out / "travel" / "sunday.csv").write_bytes(b"of the older survey")
    store.write_folder(out, {"survey.json": b"{1}", "travel/tuesday.csv": b"t"})
    assert everything(out) == {
        "survey.json": b"{1}", "travel/tuesday.csv": b"t", "notes.txt": b"mine", "photos/1.png": b"png",
    }  # fmt: skip
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_a_folder_that_is_not_ours_is_left_alone(tmp_path):
    (tmp_path / "thesis.tex").write_bytes(b"years")
    with pytest.raises(UsageError, match=r"came a folder without survey.json; name a new folder for --out; nothing in"):
        store.write_folder(tmp_path, FILES)
    with pytest.raises(UsageError, match="expected a folder, came a file"):
        store.write_folder(tmp_path / "thesis.tex", FILES)
    assert everything(tmp_path) == {"thesis.tex": b"years"}


def test_an_empty_folder_may_be_used(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    store.write_folder(out, FILES)
    assert everything(out) == FILES


@pytest.mark.parametrize("name", ["../a", "/a", "a/../../b", "", "a\\b"])
def test_names_that_leave_the_folder_are_a_defect(tmp_path, name):
    with pytest.raises(ValueError, match="expected a file name inside the folder"):
        store.write_folder(tmp_path / "out", {name: b"x"})


@pytest.mark.parametrize("step", range(5))
def test_a_folder_is_whole_or_as_it_was_wherever_writing_fails(tmp_path, monkeypatch, step):
    out = tmp_path / "out"
    store.write_folder(out, FILES)
    calls = iter(range(100))
    real_replace = Path.replace

    def fail_once(self, target):
        if next(calls) == step:
            raise OSError(5, "Input/output error")
        return real_replace(self, target)

    monkeypatch.setattr(Path, "replace", fail_once)
    newer = {"survey.json": b"newer", "stations.csv": b"newer", "report.html": b"newer"}
    # replaces: three files, the old folder away, the new one in
    with pytest.raises(WayruleError, match="Input/output error"):
        store.write_folder(out, newer)
    assert everything(out) == FILES
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_place_where_no_folder_can_be_made(tmp_path):
    (tmp_path / "f").write_bytes(b"x")
    with pytest.raises(WayruleError, match="expected a folder that can be written"):
        store.write_folder(tmp_path / "f" / "out", FILES)


def survey():
    n = 6
    zero = np.zeros(n)
    line = Stations(**dict.fromkeys(STATION_COLUMNS, zero) | {"s_mm": np.arange(n) * 5.0}, passes=np.ones(n, int),
                    closed=False, length_mm=25.0, gauge_mm=16.5, wheelbase_mm=65.0)  # fmt: skip
    run = Travel("monday", np.arange(n) / 10, zero, zero, zero, zero, np.zeros(n, np.int8), zero, 0.004, "caliper")
    estimate = Estimate("scale", 1.0, float("nan"), "1", "caliper")
    decisions = (("laps", "4", "seen", "--closed-laps"),)
    inputs = (("run", "monday.csv", "00"),)
    return Survey(
        line,
        (),
        (),
        (run,),
        None,
        (estimate,),
        decisions,
        ("as is",),
        (),
        (),
        calibration(),
        inputs,
        "Van 7",
        "HO",
        87.0,
        "1",
    )


def test_a_survey_folder_by_the_contract(tmp_path):
    written = store.write_survey(tmp_path / "out", survey(), "<html>")
    names = {p.relative_to(tmp_path / "out").as_posix() for p in written}
    assert names == {"stations.csv", "elements.csv", "faults.csv", "travel/monday.csv", "survey.json",
                     "calibration.json", "report.html"}  # fmt: skip
    content = json.loads((tmp_path / "out" / "survey.json").read_bytes())
    assert content["estimates"] == [{"name": "scale", "value": 1.0, "sd": None, "unit": "1", "source": "caliper"}]
    assert content["inputs"] == [{"role": "run", "file": "monday.csv", "sha256": "00"}]
    assert content["decisions"][0]["overrule"] == "--closed-laps"
    assert (content["closure"], content["line"]["length_mm"]) == (None, 25.0)
    learnt = store.read_calibration(tmp_path / "out" / "calibration.json")
    assert (learnt.wagon_name, learnt.names) == (calibration().wagon_name, calibration().names)
    assert learnt.sha256 == store.sha256((tmp_path / "out" / "calibration.json").read_bytes())
    again = store.write_travel(tmp_path, survey().travels[0], 87.0)
    assert again.read_bytes() == (tmp_path / "out" / "travel" / "monday.csv").read_bytes()


def test_our_names_are_those_a_survey_writes():
    assert {name.split("/")[0] for name in store.survey_files(survey(), "")} <= swap.OURS


def test_a_recording_is_read_with_its_later_segments(tmp_path):
    for name in ("m.waylog", "m.10.waylog", "m.2.waylog", "m.02.waylog", "mm.2.waylog", "m.2.csv"):
        (tmp_path / name).write_bytes(name.encode())
    names = ["m.waylog", "m.2.waylog", "m.10.waylog"]
    assert store.read_segments(tmp_path / "m.waylog") == [(name, name.encode()) for name in names]
    assert [name for name, _ in store.read_segments(tmp_path / "m.2.csv")] == ["m.2.csv"]
    with pytest.raises(WayruleError, match="came nothing there"):
        store.read_segments(tmp_path / "n.waylog")
