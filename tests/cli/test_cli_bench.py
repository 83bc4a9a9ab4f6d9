"""`wayrule bench`: what a person and a machine get, and what a wrong wagon is answered with."""

import json
from pathlib import Path

import pytest

import wayrule
from wayrule.cli.main import run

VAN = """
name = "Inspection van 7"
scale = "HO"
gauge_mm = 16.5
wheelbase_mm = 65.0
[wheel]
diameter_mm = 10.5
diameter_sd_mm = 0.04
[magnets]
kind = "disc_pair"
diameter_mm = 4.0
thickness_mm = 1.0
grade = "N42"
flat_radius_mm = 0.7
[sensor]
range_mt = 40.0
bits = 12
noise_mt = 0.03
rate_hz = 200
place_mm = [0.8, 1.2, 12.5]
"""


@pytest.fixture
def van(tmp_path: Path) -> Path:
    path = tmp_path / "van.wagon.toml"
    path.write_text(VAN, encoding="utf-8")
    return path


def test_a_person_reads_verdict_changes_budget_wheel_and_cautions(van: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["bench", str(van)]) == 0
    out = capsys.readouterr().out
    order = [
        "Works: ",
        "What to change",
        "Error budget",
        "all together",
        "Will the wheel turn?",
        "Cautions",
        "Local codes",
    ]
    places = [out.index(words) for words in order]
    assert places == sorted(places)


def test_a_machine_gets_the_same_numbers(van: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["bench", str(van), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    found = wayrule.bench(van).bench
    assert told["word"] == found.word == "works"
    assert told["budget"]["repeats_mm"] == pytest.approx(found.budget.repeats_mm)
    assert len(told["field_mt"]) == len(told["phi_rad"]) == 72


def test_figure_and_numbers_are_written(van: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    folder = tmp_path / "bench"
    assert run(["bench", str(van), "--out", str(folder)]) == 0
    assert str(folder) in capsys.readouterr().out
    names = {path.name for path in folder.iterdir()}
    assert {"inspection-van-7-bench.json", "inspection-van-7-field.png", "inspection-van-7-field.svg"} <= names
    kept = json.loads((folder / "inspection-van-7-bench.json").read_text(encoding="utf-8"))
    assert kept["budget"]["way_mm"] == 1000.0


def test_the_conditions_are_obeyed(van: Path):
    far, near = wayrule.bench(van, way_mm=4000.0).bench.budget, wayrule.bench(van).bench.budget
    assert far.adds_mm > 3.5 * near.adds_mm
    assert wayrule.bench(van, speed_mm_s=500.0).bench.budget.speed_mm_s == 500.0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("flat_radius_mm = 0.7", "flat_radius_mm = 4.8", ["swing out to 6.14 mm", "below the rail top at 5.25 mm"]),
        ("12.5]", "2.0]", ["inside the magnets that swing out to 2.62 mm"]),
        ('grade = "N42"', "remanence_mt = [13000, 14000]", ["13000", "50 to 1600 mT"]),
        ('grade = "N42"', 'grade = "N77"', ["came 'N77'", "N42"]),
        ("[sensor]", "[axle]\ndiameter_mm = 1.2\n[sensor]", ["flat_radius_mm = 0.7", "0.6 mm"]),
        (
            "[sensor]",
            '[[floor]]\nmaterial = "steel"\nthickness_mm = 2\nheight_mm = 3\n'
            '[[floor]]\nmaterial = "brass"\nthickness_mm = 1\nheight_mm = 4\n[sensor]',
            ["floor layers at 3 and 4 mm overlap"],
        ),
        (
            "[sensor]",
            '[[floor]]\nmaterial = "steel"\nthickness_mm = 1\nheight_mm = 2\n[sensor]',
            ["swing out to 2.62 mm", "floor begins at 2 mm"],
        ),
        ("place_mm = [0.8, 1.2, 12.5]", "", ["sensor.place_mm missing"]),
        (
            "12.5]",
            "12.5]\n[board]\nsize_mm = [40, 18, 5]\nplace_mm = [14, 0, 16]\n"
            "[cell]\nsize_mm = [30, 16, 5]\nplace_mm = [40, 0, 16]",
            ["board and cell overlap by 9 x 16 x 5 mm"],
        ),
        ("flat_radius_mm = 0.7", "flat_radius_mm = -0.7", ["flat_radius_mm = -0.7", "above 0"]),
        ('grade = "N42"', "remanence_mt = [5000, 5000]", ["5000", "50 to 1600 mT"]),
        ('grade = "N42"', "", ["expected grade to be one of", "remanence_mt"]),
        (
            "[sensor]",
            '[[floor]]\nmaterial = "unobtainium"\nthickness_mm = 1\nheight_mm = 3\n[sensor]',
            ["came 'unobtainium'", "brass"],
        ),
        (
            "[sensor]",
            '[axle]\ndiameter_mm = 2\nlength_mm = 24\nmaterial = "cheese"\n[sensor]',
            ["came 'cheese'", "silver steel"],
        ),
        ("thickness_mm = 1.0", "thickness_mm = -1.0", ["thickness_mm = -1", "above 0"]),
        ("[magnets]" + VAN.split("[magnets]")[1].split("[sensor]")[0], "", ["[magnets] missing"]),
        (
            "[sensor]",
            '[[floor]]\nmaterial = "brass"\nthickness_mm = 2\nheight_mm = 12\n[sensor]',
            ["clear of the sensor at 12.5 mm", "12 to 14 mm"],
        ),
        (
            "[sensor]",
            '[[disturber]]\nkind = "motor"\nplace_mm = [0.8, 1.2, 12.5]\nmoment_ma_m2 = 9\n[sensor]',
            ["disturber[1].place_mm = [0.8, 1.2, 12.5] is the sensor's own place"],
        ),
        (
            "[sensor]",
            '[[disturber]]\nkind = "iron"\nplace_mm = [0, 0, 0]\nsize_mm = [1, 1, 1]\n[sensor]',
            ["is the axle's own place"],
        ),
    ],
    ids=[
        "below rail top",
        "in the magnet",
        "remanence",
        "grade",
        "beyond the axle",
        "overlap",
        "floor",
        "no place",
        "parts overlap",
        "through the axle",
        "remanence of 5 T",
        "no grade",
        "material",
        "axle's material",
        "thickness",
        "no magnets",
        "sensor in the floor",
        "disturber in the sensor",
        "iron in the axle",
    ],
)
def test_a_wrong_wagon_is_one_line_with_the_numbers(
    van: Path, old: str, new: str, words: list[str], capsys: pytest.CaptureFixture[str]
):
    van.write_text(VAN.replace(old, new), encoding="utf-8")
    assert run(["bench", str(van)]) == 2
    said = capsys.readouterr()
    lines = [line for line in said.err.splitlines() if " · " not in line]
    assert len(lines) == 1, lines
    for word in words:
        assert word in lines[0]
    assert said.out == ""


def test_a_file_that_is_not_there_is_one_line(van: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["bench", str(van.with_name("vam.wagon.toml"))]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert len(lines) == 1
    assert f"did you mean {van}?" in lines[0]


@pytest.mark.parametrize(
    "more", [["--choose", "--space", "0,0,9:0,0,12", "--places", "1x1x2"], ["--tolerances", "900"]]
)
def test_an_unknown_floor_is_one_line_for_every_question(
    van: Path, more: list[str], capsys: pytest.CaptureFixture[str]
):
    layer = '[[floor]]\nmaterial = "unobtainium"\nthickness_mm = 1\nheight_mm = 4\n[sensor]'
    van.write_text(VAN.replace("[sensor]", layer), encoding="utf-8")
    assert run(["bench", str(van), *more]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert len(lines) == 1
    assert "came 'unobtainium'" in lines[0]


@pytest.mark.parametrize(("option", "value"), [("--radius", "5"), ("--way", "-3"), ("--speed", "nan")])
def test_a_wrong_condition_is_one_line(van: Path, option: str, value: str, capsys: pytest.CaptureFixture[str]):
    assert run(["bench", str(van), option, value]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    assert option[2:] in lines[0]
