"""`wayrule compare`: folders in, sentences, tables and a page out."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import wayrule
from tests.report.sample import FAULTS, survey
from wayrule import store
from wayrule.cli import main as cli
from wayrule.model import Survey


def with_twist(size_mm: float) -> Survey:
    """The sample survey with its left rail raised over 300 mm at 6.1 m, and its dip mended."""
    one = survey()
    s = one.stations.s_mm
    bump = np.where(np.abs(s - 6100.0) < 150.0, 0.5 + 0.5 * np.cos(np.pi * (s - 6100.0) / 150.0), 0.0)
    noise = np.random.default_rng(8).normal(0.0, 0.003, len(s))
    cant = one.stations.cant_mm + size_mm * bump + noise
    return replace(one, stations=replace(one.stations, cant_mm=cant), faults=(FAULTS[0], FAULTS[2]))


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("surveys")
    for name, one in (("spring", survey()), ("summer", with_twist(0.0)), ("autumn", with_twist(0.9))):
        store.write_survey(folder / name, one, "")
    return folder


def test_the_change_is_told_in_words_tables_and_a_page(folders: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = folders / "changed"
    words = ["compare", str(folders / "spring"), str(folders / "autumn"), "--out", str(out), "--no-open"]
    assert cli.run(words) == 0, capsys.readouterr().err
    said = capsys.readouterr().out
    assert "left rail higher" in said
    assert "Moss Siding" in said  # the mark at 6100 mm
    rows = pl.read_csv(out / "changes.csv")
    assert rows["quantity"].to_list() == ["cant"]
    assert rows["s_mm"][0] == pytest.approx(6100.0, abs=15.0)
    assert rows["size"][0] == pytest.approx(0.9, abs=0.02)
    fates = pl.read_csv(out / "faults_before_after.csv")
    assert dict(zip(fates["kind"], fates["fate"], strict=True)) == {
        "kink": "same",
        "dip": "not told",
        "one_rail_dip": "same",
    }  # fmt: skip  the dip left the list, the heights did not change
    assert set(pl.read_csv(out / "differences.csv")["quantity"].unique()) == {
        "curvature", "gradient", "cant", "plan", "height"
    }  # fmt: skip
    page = (out / "comparison.html").read_text(encoding="utf-8")
    assert "left rail higher" in page
    assert "<svg" in page


def test_three_surveys_are_a_series(folders: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = folders / "year"
    surveys = [str(folders / name) for name in ("spring", "summer", "autumn")]
    assert cli.run(["compare", *surveys, "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["series"]["names"] == ["spring", "summer", "autumn"]
    assert "series.csv" in told["written"]
    table = pl.read_csv(out / "series.csv")
    assert table.height == 3 * len(told["series"]["places_mm"])
    assert [change["quantity"] for change in told["changes"]] == ["cant"]


def test_the_library_takes_folders_and_surveys_alike(folders: Path) -> None:
    result = wayrule.compare(survey(), folders / "autumn")
    assert [change.quantity for change in result.comparison.changes] == ["cant"]
    assert result.comparison.before_name == "survey 1"


def test_two_folders_of_one_name_are_told_apart(tmp_path: Path) -> None:
    for day in ("monday", "tuesday"):
        store.write_survey(tmp_path / day / "loop", survey(), "")
    result = wayrule.compare(tmp_path / "monday" / "loop", tmp_path / "tuesday" / "loop")
    assert (result.comparison.before_name, result.comparison.after_name) == ("loop (1)", "loop (2)")
    assert not result.comparison.changes


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare", "nowhere", "elsewhere"], "nowhere: expected a survey folder, came nothing"),
        (["compare", "SPRING"], "at least two surveys"),
    ],
)
def test_what_cannot_be_compared_is_one_line(
    words: list[str], said: str, folders: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run([str(folders / "spring") if word == "SPRING" else word for word in words]) == 2
    told = capsys.readouterr().err.strip().splitlines()[-1]
    assert said in told
