"""`--choose` and `--tolerances`: what a person and a machine get, and what a wrong word is answered with."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from wayrule.cli.benchoptions import disc_of, places_of, space_of, stated_of
from wayrule.cli.main import run
from wayrule.desk.choosing import choose_for, filing
from wayrule.desk.tolerances import tolerances_for
from wayrule.errors import UsageError
from wayrule.formats.wagonfile import read_wagon
from wayrule.model import Axle, FreeSpace

VAN = Path(__file__).parents[2] / "examples" / "van7.wagon.toml"
SPACE = "-4,-3,10:4,3,20"


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(["bench", str(VAN), *words]) == 0
    return capsys.readouterr().out


def test_the_best_arrangements_in_mm_and_inch(capsys: pytest.CaptureFixture[str], monkeypatch: Any) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    bag = ("--disc", "3x1", "--disc", "4x1", "--disc", "8x2")
    out = told(capsys, "--choose", "--space", SPACE, "--places", "3x3x3", "--list", "2", *bag)
    assert "arrangements can be built and read." in out
    for words in ("The best: two discs 4 × 1 mm (0.157 × 0.039 in)", "the sensor at 0 · 0 · 10 mm (0 · 0 · 0.394 in)"):
        assert words in out
    assert re.search(r"The file's own arrangement errs by 0\.14 mm \(0\.0054 in\), 1\.\d times that\.", out)
    head = next(line for line in out.splitlines() if "Error, in" in line)
    assert "Discs, mm" in head
    assert "Sensor, in" in head
    # one line of the table: inches are millimetres over 25.4
    row = next(line for line in out.splitlines() if line.strip().startswith("1 "))
    mm, inch = (float(cell) for cell in row.split()[-2:])
    assert inch == pytest.approx(mm / 25.4, rel=0.05)  # two digits each
    assert re.search(r"too near: rail top +81", out)  # 8 x 2 on three flats in 27 places; the deepest clears the rail


def test_choices_for_a_machine(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(told(capsys, "--choose", "--space", SPACE, "--places", "1x1x2", "--list", "3", "--json"))
    assert found["wagon"] == "Heather Vale inspection van 7"
    choice = found["choice"]
    assert len(choice["best"]) == 3
    assert choice["tried"] == choice["fit"] + sum(count for _, count in choice["fell_out"])
    assert choice["best"][0]["error_mm"] <= choice["best"][1]["error_mm"]
    assert choice["best"][0]["mounted"]["flat_radius_mm"] > 0


def test_build_errors_in_mm_and_inch(capsys: pytest.CaptureFixture[str], monkeypatch: Any) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    out = told(capsys, "--tolerances", "2000", "--tolerance", "sensor-tilt:0", "--tolerance", "Depth:0.2")
    assert "2000 wagons with build errors. Nine in ten err by at most" in out
    assert "less than 0.001 mm (0.00004 in) once harmonics are taken out as well" in out
    assert "What matters most after centre and ellipse: depth of a flat, and glue under the disc" in out
    assert "0.20 mm (0.0079 in)" in out
    tilt = next(line for line in out.splitlines() if line.strip().startswith("sensor-tilt"))
    assert tilt.split()[-6:] == ["0", "%", "0", "%", "0", "%"]
    assert "common practice, no source (opposite, eccentric, sensor-place)" in out
    assert "stated (depth, sensor-tilt)" in out


def test_a_shape_that_outweighs_the_build_is_told_so(capsys: pytest.CaptureFixture[str]) -> None:
    names = ("remanence", "opposite", "depth", "eccentric", "sensor-place", "sensor-tilt")
    words = [word for name in names for word in ("--tolerance", f"{name}:0.01")]
    out = told(capsys, "--tolerances", "700", *words)
    assert re.search(r"is the field's own shape \((9\d|100) % of the mean square\), not the build; of the build, ", out)


def test_build_errors_for_a_machine_with_the_usual_number(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(told(capsys, "--tolerances", "--json"))
    assert found["study"]["wagons"] == 10_000
    assert [stage["name"] for stage in found["study"]["stages"]] == ["drawn", "ellipse", "harmonics"]
    shares = found["study"]["stages"][1]["shares"]
    whole = shares["always"] + shares["together"] + shares["unexplained"] + sum(shares["alone"].values())
    assert whole == pytest.approx(1.0)
    # noise of one reading: 0.03 mT and steps of 0.0195 mT over root 12, over the ellipse's root(a b), on 5.25 mm
    drawn = found["study"]["drawn_mt"]
    rough = 5.25 * (0.03**2 + 0.0195**2 / 12) ** 0.5 / (drawn * (2.0 * drawn)) ** 0.5
    assert found["noise_mm"] == pytest.approx(rough, rel=0.03)  # straight above, a dipole's ellipse is 2 : 1


def test_a_seed_is_a_result_and_another_is_another() -> None:
    one, same, other = (tolerances_for(VAN, wagons=700, seed=seed).study for seed in (3, 3, 4))
    assert one == same
    assert one != other


def test_an_axle_without_a_size_has_no_filing() -> None:
    text = VAN.read_text(encoding="utf-8").replace("diameter_mm = 2.0 ", "# ")
    wagon = read_wagon(text.encode())
    assert wagon.axle.diameter_mm is None
    result = choose_for(wagon, space=FreeSpace((0, 0, 10), (0, 0, 12)), places=(1, 1, 2), discs=[(4.0, 1.0)])
    assert "flats 0.7 mm from the axle's centre" in result.sentences[1]
    assert result.tables[0].rows[0][3] == "not known"
    assert result.tables[1].rows == ()


def test_discs_on_the_round_axle_are_called_so() -> None:
    text = VAN.read_text(encoding="utf-8").replace("flat_radius_mm = 0.7 ", "flat_radius_mm = 1.0 ")
    wagon = replace(read_wagon(text.encode()), axle=Axle(2.0, play_mm=(0.0, 0.0, 0.0)))
    shallow = choose_for(wagon, space=FreeSpace((0, 0, 10), (0, 0, 10)), discs=[(2.0, 1.0)])
    told = {round(one.mounted.depth_mm, 6): filing(one) for one in shallow.choice.best}
    assert told[0.0] == "glued on the round axle"
    assert told[0.3] == "flats filed 0.3 mm (0.012 in) deep"


@pytest.mark.parametrize(
    ("read", "text", "words"),
    [
        (
            space_of,
            "1,2,3",
            "--space: expected two corners of three numbers, LOW:HIGH, came '1,2,3'; write it like -4,-3",
        ),
        (space_of, "1,2:3,4,5", "two corners"),
        (space_of, "1,2,x:3,4,5", "two corners"),
        (space_of, "1,2,nan:3,4,5", "two corners"),
        (disc_of, "3", "--disc: expected a disc as diameter x thickness in mm, came '3'; write it like 3x1"),
        (disc_of, "3xinf", "a disc as"),
        (places_of, "3x3", "--places: expected three whole numbers of places, came '3x3'; write it like 5x5x6"),
        (places_of, "3x3x1.5", "three whole numbers"),
        (stated_of, "depth", "--tolerance: expected a tolerance as NAME:SD, came 'depth'; write it like depth:0.05"),
        (stated_of, "depth:a", "a tolerance as"),
    ],
)
def test_words_that_cannot_be_read_are_answered_in_one_line(read: Any, text: str, words: str) -> None:
    with pytest.raises(UsageError, match=re.escape(words)) as error:
        read(text)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("--tolerances 700 --seed -1", "--seed: expected a seed of 0 or more, came -1"),
        ("--choose --tolerances", "bench: expected words that go together, came --choose and --tolerances; ask one"),
        ("--choose --out there", "came --out and --choose or --tolerances; --out goes with the verdict"),
        ("--tolerances 700 --out there", "came --out and --choose or --tolerances"),
        ("--space 1,1,1:2,2,20", "came --space without --choose; add --choose"),
        ("--disc 3x1", "came --disc without --choose"),
        ("--places 1x1x1", "came --places without --choose"),
        ("--list 3", "came --list without --choose"),
        ("--choose --seed 3", "came --seed without --tolerances; add --tolerances"),
        ("--tolerance depth:0.1", "came --tolerance without --tolerances"),
        ("--tolerances 700 --radius 400", "came --radius and --tolerances; build errors do not depend"),
        ("--choose --radius -3", "bench: expected a radius from"),
        ("--choose --list 0", "1 or more arrangements to list, came"),
        ("--tolerances 3", "from 612 to 200000 wagons"),
        ("--tolerances 700 --tolerance size:3", "a tolerance named remanence"),
    ],
)
def test_words_that_do_not_go_together_are_answered_in_one_line(
    words: str, answer: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["bench", str(VAN), *words.split()]) == 2
    told = capsys.readouterr()
    line = [line for line in told.err.splitlines() if "expected" in line]
    assert len(line) == 1
    assert answer in line[0]
    assert told.out == ""


def test_a_longer_way_lets_harmonics_be_learnt(capsys: pytest.CaptureFixture[str]) -> None:
    few = ("--choose", "--space", SPACE, "--places", "1x1x2", "--disc", "4x1", "--json")
    short, long = (json.loads(told(capsys, *few, "--way", way))["choice"] for way in ("200", "20000"))
    assert short["best"][0]["shape_mm"] > 3 * long["best"][0]["shape_mm"]
