"""`wayrule bench --out`: all there is to work from, out of one command; the wagon as a whole; disturbers."""

import io
import json
from pathlib import Path

import pypdf
import pytest
import trimesh

import wayrule
from tests.cli.test_cli_bench import VAN
from wayrule.cli.main import run
from wayrule.wagon.jig import Fit

VAN7 = Path(__file__).parents[2] / "examples" / "van7.wagon.toml"
STEM = "heather-vale-inspection-van-7"


def written(folder: Path, suffix: str) -> list[Path]:
    return sorted(folder.glob(f"*{suffix}"))


def test_one_command_gives_all_there_is_to_work_from(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["bench", str(VAN7), "--out", str(tmp_path), "--paper", "letter", "--clearance", "0.25"]) == 0
    out = capsys.readouterr().out
    for path in tmp_path.iterdir():
        assert f"- {path.name}" in out
    assert "Not made:" not in out
    assert "Print the sheet at 100 %" in out
    page = pypdf.PdfReader(tmp_path / f"{STEM}-sheet-letter.pdf").pages[0].mediabox
    # US Letter is 8.5 x 11 in (ASME Y14.1), a PDF's point 1/72 in (ISO 32000-1, 8.3.2.3)
    assert sorted((float(page.width), float(page.height))) == pytest.approx([8.5 * 72, 11 * 72], abs=0.5)
    assert written(tmp_path, "-sheet-letter-1.svg")
    for path in written(tmp_path, ".stl"):
        assert trimesh.load(path).is_watertight
    bodies = trimesh.load(io.BytesIO((tmp_path / f"{STEM}-parts.3mf").read_bytes()), file_type="3mf").dump()
    assert len(bodies) == 3
    steps = (tmp_path / f"{STEM}-parts-how-to-use.txt").read_text(encoding="utf-8")
    assert "1.40 mm across the flats" in steps  # 2 x 0.7 mm, the file's flat_radius_mm
    assert "Safety glasses on." in steps


def test_printer_and_tools_shape_the_parts(tmp_path: Path) -> None:
    tight, loose = (tmp_path / name for name in ("tight", "loose"))
    assert run(["bench", str(VAN7), "--out", str(tight), "--clearance", "0"]) == 0
    assert run(["bench", str(VAN7), "--out", str(loose), "--clearance", "0.4"]) == 0
    frames = [trimesh.load(written(folder, "spacer.stl")[0]).extents for folder in (tight, loose)]
    # the board lies in the frame with the clearance on either side
    assert frames[1][0] - frames[0][0] == pytest.approx(0.8, abs=1e-3)
    words = ("--trim", "0.05", "--guide", "0.3", "--file-width", "5", "--wheels-off", "--paper-thickness", "0.08")
    assert run(["bench", str(VAN7), "--out", str(tight), *words]) == 0
    steps = written(tight, ".txt")[0].read_text(encoding="utf-8")
    assert "Glue a steel strip of 0.3 mm" in steps
    assert "up to 5.2 mm wide" in steps  # 5 mm of file and 0.5 mm of slot, less 0.3


def test_what_cannot_be_made_is_said_and_the_rest_is_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    van = tmp_path / "van.wagon.toml"
    van.write_text(VAN, encoding="utf-8")
    folder = tmp_path / "out"
    assert run(["bench", str(van), "--out", str(folder)]) == 0
    out = capsys.readouterr().out
    said = out[out.index("Not made:") :].splitlines()[1:]
    assert [line.split(":")[0] for line in said] == ["- filing jig", "- sensor spacer"]
    assert "axle.diameter_mm" in said[0]
    assert "board.size_mm" in said[1]
    assert {path.suffix for path in folder.iterdir()} == {".pdf", ".svg", ".png", ".json"}
    assert run(["bench", str(van), "--out", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert len(told["without"]) == 2
    assert sorted(told["written"]) == sorted(path.name for path in folder.iterdir())


def test_the_library_gives_the_same(tmp_path: Path) -> None:
    found = wayrule.bench(VAN7, out=tmp_path, paper="Letter", fit=Fit(clearance_mm=0.2))
    assert sorted(found.written) == sorted(tmp_path.iterdir())
    assert found.without == ()
    made = wayrule.bench(VAN7).to_work_from("Letter", Fit(clearance_mm=0.2)).files
    assert {name: (tmp_path / name).read_bytes() for name in made if name.endswith("stl")} == {
        name: data for name, data in made.items() if name.endswith("stl")
    }
    assert f"{STEM}-sheet-letter.pdf" in made


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--paper", "a3", "--out", "x"], "a paper: A4 or Letter, came 'a3'"),
        (["--clearance", "2", "--out", "x"], "clearance_mm from 0 to 0.6 mm, came 2"),
        (["--paper-thickness", "80", "--out", "x"], "paper's thickness from 0.02 to 1 mm, came 80"),
        (["--clearance", "0.2"], "--clearance without --out; add --out DIR"),
        (["--wheels-off"], "--wheels-off without --out"),
    ],
)
def test_a_wrong_word_of_the_printing_is_one_line(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["bench", str(VAN7), *words]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert len(lines) == 1
    assert said in lines[0]


def test_the_wagon_as_a_whole(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["bench", str(VAN7)]) == 0
    out = capsys.readouterr().out
    # by hand: 62 - 24 + 4.5 + 5.2 + 12 g; NEM 302 (2015): 0.4 g/mm x 110 mm; 180 mAh x 0.8 / 32 mA
    for words in ("Finished mass 59.7 g.", "at least 44.0 g at 110 mm", "Board and cell fit", "4.5 ± 0.6 h", "N/mm²"):
        assert words in out
    assert run(["bench", str(VAN7), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["whole"]
    assert told["mass"]["total_g"] == pytest.approx(59.7)
    assert told["room"]["fits"] is True
    assert told["hours"]["hours"] == pytest.approx(4.5)
    assert told["axle"]["safety"] > 3
    assert told["missing"] == []


def test_nothing_of_the_whole_is_invented(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    van = tmp_path / "van.wagon.toml"
    van.write_text(VAN, encoding="utf-8")
    assert run(["bench", str(van)]) == 0
    out = capsys.readouterr().out
    assert "The wagon as a whole:" not in out
    lines = [line for line in out.splitlines() if line.endswith(": not reckoned")]
    for topic, key in (("mass", "body.mass_g"), ("room", "body.inside_mm"), ("running time", "cell.capacity_mah"),
                       ("flats", "axle.diameter_mm")):  # fmt: skip
        assert sum(line.startswith(f"- {topic}: ") and key in line for line in lines) == 1, topic


def test_disturbers_of_the_file_come_through(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    van = tmp_path / "van.wagon.toml"
    motor = '[[disturber]]\nkind = "motor"\nplace_mm = [60.0, 0.0, 12.5]\nmoment_ma_m2 = 500.0\n'
    track = (
        '[[disturber]]\nkind = "uncoupler"\nplace_mm = [0, 0, -8]\nremanence_mt = [1200, 1200]\nsize_mm = [5, 5, 5]\n'
    )
    van.write_text(VAN.replace("[sensor]", f"{motor}{track}[sensor]"), encoding="utf-8")
    assert run(["bench", str(van)]) == 0
    out = capsys.readouterr().out
    assert "locomotive's motor" in out
    assert "uncoupling magnet" in out
    found, plain = wayrule.bench(van).bench.budget, wayrule.bench(_plain(tmp_path)).bench.budget
    by = {line.cause: line for line in found.lines}
    # a dipole on its axis: 2 m mu0 / (4 pi r3) = 2 x 500e-3 x 1e-7 / 0.0592^3 T = 0.48 mT
    assert by["locomotive's motor"].how.startswith("0.48 mT")
    assert found.repeats_mm > 2 * plain.repeats_mm
    assert found.nearest_mt > plain.nearest_mt + 0.48


def _plain(folder: Path) -> Path:
    path = folder / "plain.wagon.toml"
    path.write_text(VAN, encoding="utf-8")
    return path


def test_a_narrow_terminal_has_the_reasons_below_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    from rich.console import Console

    from wayrule.cli import show

    out = Console(width=80, file=io.StringIO(), markup=False, highlight=False)
    monkeypatch.setattr(show, "console", lambda: out)
    table = wayrule.bench(VAN7).budget_table()
    show.show([table], aside=True)
    lines = out.file.getvalue().splitlines()  # type: ignore[attr-defined]
    for row in table.rows:
        assert sum(line.strip().startswith(row[0]) for line in lines) == 1  # a row is one line
        assert f"- {row[0]}: {row[-1]}" in lines
    grid = lines[: lines.index("Where it comes from:")]
    assert max(map(len, grid)) <= 80
