"""`wayrule mend` from a survey folder to paper."""

import csv
import io
import json
from pathlib import Path

import pypdf
import pytest

from tests.report.sample import survey
from wayrule.cli.main import run
from wayrule.store import write_survey


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("line") / "spring"
    write_survey(place, survey(), "")
    return place


def test_everything_is_written(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "mend"
    assert run(["mend", str(folder), "--out", str(out), "--paper", "Letter"]) == 0
    said = capsys.readouterr().out
    assert "! Power off, and the plug out of the wall, before any tool touches the rails" in said
    assert "Outdoors: supplies, cables and sockets by the local code" in said
    names = {p.name for p in out.iterdir()}
    assert names == {
        "worksheet-letter.pdf", "worksheet.csv", "mends.csv", "boards.csv", "versines.csv", "target.csv",
        "predicted.csv", "mend.json",
    }  # fmt: skip
    pages = pypdf.PdfReader(out / "worksheet-letter.pdf").pages
    first = " ".join(pages[0].extract_text().split())
    assert first.index("Power off, and the plug out") < first.index("Then fault by fault")
    # Letter is 8.5 by 11 in (ASME Y14.1), 72 points to the inch (ISO 32000-1, 8.3.2.3)
    assert [float(v) for v in pages[0].mediabox[2:]] == pytest.approx([612.0, 792.0], abs=0.1)
    rows = list(csv.DictReader(io.StringIO((out / "worksheet.csv").read_text())))
    assert {"s_mm", "left_mm", "right_mm", "slew_mm", "left_sd_mm"} <= set(rows[0])


def test_json_holds_the_same(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["mend", str(folder), "--out", str(tmp_path / "m"), "--lower", "0", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["limits"]["lower_mm"] == 0
    assert told["cautions"][0].startswith("Power off")
    assert {"mends", "boards", "predicted", "total_mm", "notes"} <= set(told)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--board", "B1"], "expected NAME=FROM:TO in mm of chainage"),
        (["--board", "B1=9:3"], "expected NAME=FROM:TO in mm of chainage"),
        (["--fixed", "nowhere"], "expected FROM:TO in mm of chainage, or a mark ("),
        (["--lift", "-2"], "expected 0 mm or more"),
        (["--sleeper", "0"], "expected more than 0 mm"),
        (["--chord", "0"], "expected a chord above 0"),
        (["--paper", "A9"], "expected a paper: A4 or Letter"),
    ],
)
def test_what_makes_no_sense_is_told(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert run(["mend", str(folder), "--out", str(tmp_path / "m"), *words]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "m").exists()


def test_no_survey_and_no_folder(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["mend", str(tmp_path), "--out", str(tmp_path / "m")]) == 2
    assert "expected a survey folder" in capsys.readouterr().err
    (tmp_path / "file").write_text("")
    assert run(["mend", str(folder), "--out", str(tmp_path / "file")]) == 2
    assert "expected a folder, came a file" in capsys.readouterr().err


def test_strips_lie_at_true_size() -> None:
    from tests.track.mend.railways import surveyed
    from wayrule.report.mendstrip import LENGTH_MM, strips_of
    from wayrule.sim import Defect, build, straight
    from wayrule.track.mend.plan import mend_plan

    line = build("yard", [straight(3000)], defects=[Defect("dip", 1000.0, 1.0, 900.0)])
    found = surveyed(line)
    plan = mend_plan(found)
    strips = strips_of(plan)
    assert all(s.b - s.a <= LENGTH_MM + 1e-9 for s in strips)
    worked = plan.sheet.s_mm[plan.sheet.left_mm != 0]
    assert all(any(s.a <= at <= s.b for s in strips) for at in worked)
