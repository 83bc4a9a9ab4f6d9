"""`wayrule demo`: what it writes, and that its comparison with the truth is one; on a small scene, for speed."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from wayrule.cli.main import run
from wayrule.desk import demonstration
from wayrule.desk.scene import Scene, heather_vale
from wayrule.sim import GOOD, HO_VAN, RunPlan, laps, oval, simulate


def small_scene(seed: int) -> Scene:
    rng = np.random.default_rng(seed)
    line = oval(rng)
    plan = RunPlan(*laps(line.length_mm, 2, 260.0), rate_hz=50.0)
    turned = RunPlan(*laps(line.length_mm, 1, 260.0), rate_hz=50.0, turned=True)
    monday = simulate(line, HO_VAN, plan, GOOD, rng, name="monday")
    tuesday = simulate(line, HO_VAN, turned, GOOD, rng, specimen=monday[1].specimen, name="tuesday")
    runs = {"monday": monday, "tuesday": tuesday}
    return Scene(line, HO_VAN, runs, {"monday": 2, "tuesday": 1}, ("tuesday",), round(line.length_mm))


def test_the_demo_writes_what_a_user_would_have_and_compares(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demonstration, "heather_vale", small_scene)
    folder = tmp_path / "heather vale"
    assert run(["demo", "--out", str(folder), "--seed", "3", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["seed"] == 3
    compared = {row["quantity"]: row for row in found["compared"]}
    assert set(compared) == {"plan", "height", "curvature", "gradient", "cant, after its mean"}
    assert 0.0 < compared["plan"]["rms"] < 3.0, "mm; what the benchmarks promise for the oval"
    assert all(0.0 <= row["inside_one"] <= row["inside_two"] <= 100.0 for row in compared.values())
    names = {path.name for path in folder.iterdir()}
    assert names == {"monday.csv", "tuesday.csv", "inspection-van-7.wagon.toml", "truth.csv", "survey"}
    assert "Against the truth" in (folder / "survey" / "report.html").read_text(encoding="utf-8")


def test_the_true_line_on_disk_closes(tmp_path: Path) -> None:
    scene = small_scene(3)
    demonstration.write_scene(scene, tmp_path)
    rows = list(csv.DictReader((tmp_path / "truth.csv").read_text(encoding="utf-8").splitlines()))
    first, last = rows[0], rows[-1]
    left = scene.railway.length_mm - float(last["s_mm"])
    gap = np.hypot(float(first["x_mm"]) - float(last["x_mm"]), float(first["y_mm"]) - float(last["y_mm"]))
    assert 0.0 < left <= 10.0
    assert gap == pytest.approx(left, abs=0.01), "the last row lies one step before the first"


def test_the_same_seed_gives_the_same_scene_and_another_another() -> None:
    one, same, other = heather_vale(1), heather_vale(1), heather_vale(2)
    assert np.array_equal(one.runs["monday"][0].field_mt, same.runs["monday"][0].field_mt, equal_nan=True)
    assert one.tape_mm == same.tape_mm
    assert one.tape_mm != other.tape_mm
    assert set(one.runs) == {"monday", "tuesday", "wednesday"}
    assert {m.name for m in one.runs["monday"][0].marks} == {"Vale bridge", "Signal box"}
