"""`wayrule import` and `wayrule travel`: what a person and a machine get, and what a wrong word is answered with."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.world import World
from wayrule.cli.main import run

FOREIGN = """# logger 7
Millis;MagX;MagZ;GyroZ;AccZ
0;100,5;-20;0,1;1003
10;101,5;-22;0,2;1001
10;101,5;-22;0,2;1001
20;102,5;-24;0,1;999
30;103,5;-26;0,3;1000
"""

FOREIGN_WAGON = """
name = "Inspection van 7"
scale = "HO"
gauge_mm = 16.5
wheelbase_mm = 65.0
[wheel]
diameter_mm = 10.5
[columns]
t_ms = "Millis"
bx_uT = "MagX"
bz_uT = "-MagZ"
gz_dps = "GyroZ"
az_mg = "AccZ"
"""


def json_of(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


@pytest.fixture
def foreign(tmp_path: Path) -> tuple[str, str]:
    log, wagon = tmp_path / "logger 7.txt", tmp_path / "van.wagon.toml"
    log.write_text(FOREIGN, encoding="utf-8")
    wagon.write_text(FOREIGN_WAGON, encoding="utf-8")
    return str(log), str(wagon)


def test_import_shows_what_the_columns_were_taken_for(
    foreign: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    log, wagon = foreign
    assert run(["import", log, "--wagon", wagon]) == 0
    out = capsys.readouterr().out
    assert "4 samples in" in out
    assert "columns parted by semicolon, decimal comma" in out
    rows = [line.split() for line in out.splitlines()]
    assert ["MagX", "field", "along", "x", "µT"] in rows
    assert ["MagZ", "field", "along", "z", "µT", "sign", "turned"] in rows
    assert ["GyroZ", "rate", "of", "turn", "about", "z", "°/s"] in rows
    assert "repeated row" in out
    assert "Nothing was written" in out


def test_import_writes_the_general_form_and_leaves_the_log_alone(foreign: tuple[str, str], tmp_path: Path) -> None:
    log, wagon = foreign
    out = tmp_path / "new folder" / "clean.csv"
    assert run(["import", log, "--wagon", wagon, "--out", str(out)]) == 0
    assert Path(log).read_text(encoding="utf-8") == FOREIGN
    rows = list(csv.DictReader(out.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 4, "one of the five rows is a repetition"
    # by hand: 100.5 uT = 0.1005 mT; -(-24 uT) = 0.024 mT; 1003 mg = 1.003 * 9.80665 m/s2; 0.1 deg/s = pi/1800 rad/s
    assert float(rows[0]["bx_mT"]) == pytest.approx(0.1005, abs=1e-9)
    assert float(rows[2]["bz_mT"]) == pytest.approx(0.024, abs=1e-9)
    assert float(rows[0]["az_m_s2"]) == pytest.approx(1.003 * 9.80665, abs=1e-6)
    assert float(rows[0]["gz_rad_s"]) == pytest.approx(np.pi / 1800, abs=1e-8)
    assert float(rows[3]["t_s"]) == pytest.approx(0.03, abs=1e-9)


def test_import_for_a_machine(foreign: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    log, wagon = foreign
    assert run(["import", log, "--wagon", wagon, "--json"]) == 0
    found = json_of(capsys)
    assert found["samples"] == 4
    assert found["rate_hz"] == pytest.approx(100.0)
    assert found["decimal_comma"] is True
    assert [p["kind"] for p in found["problems"]] == ["repeated rows"]
    assert {c["theirs"]: c["meaning"]["unit"] for c in found["columns"]}["AccZ"] == "mg"


def test_import_never_writes_over_the_log(foreign: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    log, wagon = foreign
    assert run(["import", log, "--wagon", wagon, "--out", log]) == 2
    assert capsys.readouterr().err == (
        f"--out: expected another file than the recording itself, came {log}; "
        "give it a new name; a recording is never changed\n"
    )
    assert Path(log).read_text(encoding="utf-8") == FOREIGN


def test_travel_says_how_far_and_how_fast(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["travel", world.run("monday"), world.run("tuesday"), "--wagon", world.wagon, "--json"]) == 0
    found = json_of(capsys)
    for line in found["runs"]:
        truth = world.truths[line["run"]]
        # a caliper of 0.04 mm on 10.5 mm: 0.38 % (one sigma), so three of them
        assert line["facts"]["net_mm"] == pytest.approx(truth.path_mm[-1], rel=3 * 0.04 / 10.5)
        assert line["scale_source"].startswith("caliper")
    assert found["runs"][1]["facts"]["net_mm"] < 0, "the turned wagon rolls against its marked front"


def test_travel_for_a_person(world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "first look"
    words = ["travel", world.run("monday"), world.run("tuesday"), "--wagon", world.wagon, "--out", str(out)]
    assert run(words) == 0
    captured = capsys.readouterr()
    assert "monday:" in captured.out
    assert "mph" in captured.out
    assert "reading" in captured.err, "progress belongs to stderr"
    rows = list(csv.DictReader((out / "travel" / "monday.csv").read_text(encoding="utf-8").splitlines()))
    assert list(rows[0]) == [
        "t_s", "chainage_mm", "distance_mm", "distance_sd_mm", "speed_mm_s", "speed_sd_mm_s", "scale_km_h",
        "scale_mph", "state",
    ]  # fmt: skip
    assert {row["state"] for row in rows} <= {"rolling", "standing", "unsure"}
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "monday" in page
    assert "tuesday" in page


def test_a_log_without_gyro_and_accelerometer_says_what_it_cannot_give(
    tmp_path: Path, world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [f"{0.1 * k:.1f},{20.0 * k:.1f}" for k in range(60)]
    log = tmp_path / "bare.csv"
    log.write_text("t_s,wheel_mm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert run(["travel", str(log), "--wagon", world.wagon]) == 0
    out = capsys.readouterr().out
    assert "1.18" in out, "59 steps of 20 mm are 1.18 m"
    assert "No gyro" in out


@pytest.mark.parametrize("verb", ["import", "travel"])
def test_a_missing_file_is_one_line(world: World, verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([verb, world.run("munday"), "--wagon", world.wagon]) == 2
    errors = [line for line in capsys.readouterr().err.splitlines() if " · " not in line]
    assert errors == [
        f"{world.run('munday')}: expected a file, came nothing there; did you mean {world.run('monday')}?"
    ]
