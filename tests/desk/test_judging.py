"""`judge` as a person asks for it: folder in, verdicts, findings.csv and a page out."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

import wayrule
from wayrule.cli.main import run
from wayrule.cli.main import wayrule as command
from wayrule.desk.judging import judge
from wayrule.errors import UsageError, WayruleError
from wayrule.formats.jsonfile import write_json
from wayrule.formats.tables import write_elements, write_faults, write_stations
from wayrule.model import RuleSet, Surveyed, Train, Vehicle
from wayrule.sim import as_laid, oval
from wayrule.track.rules.sets import rule_set

LINE = as_laid(oval(np.random.default_rng(5), defects=6))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A survey folder of a line whose truth is known."""
    made = tmp_path_factory.mktemp("heather-vale")
    st = LINE.stations
    content = {
        "version": "test", "marks": [{"s_mm": 1000.0, "t_s": 1.0, "name": "signal"}],
        "wagon": {"name": "van", "scale": "HO", "ratio": 87.0, "gauge_mm": 16.5, "wheelbase_mm": st.wheelbase_mm},
        "line": {"length_mm": st.length_mm, "closed": st.closed},
    }  # fmt: skip
    for name, data in (
        ("survey.json", write_json(content)),
        ("stations.csv", write_stations(st)),
        ("elements.csv", write_elements(LINE.elements)),
        ("faults.csv", write_faults(LINE.faults)),
    ):
        (made / name).write_bytes(data)
    return made


def test_a_folder_is_judged_and_written_into(folder: Path) -> None:
    result = judge(folder, stock=["engine6:200", "coach:220x3"], out=folder)
    failed = {f.kind for f in result.findings if f.verdict == "fail"}
    assert {"kink", "dip", "hump", "twist", "one_rail_dip", "lateral"} <= failed
    frame = pl.read_csv(folder / "findings.csv")
    assert frame.height == len(result.findings)
    assert set(frame["mark"].drop_nulls()) == {"signal"}
    page = (folder / "judgement.html").read_text(encoding="utf-8")
    for text in ("Where to look first", "judgement, not a standard", "NEM 113 2016 s3.2", "What runs here"):
        assert text in page
    assert (folder / "stations.csv").exists()
    assert "<iframe" in result._repr_html_()


def test_own_limits_and_rule_files(folder: Path, tmp_path: Path) -> None:
    gentle = judge(folder, limits=["radius.cars=1.0"], stock=["coach:220"])
    assert [f.verdict for f in gentle.findings if f.rule == "radius.cars"] == ["pass", "pass"]
    own = tmp_path / "club.rules.toml"
    own.write_text(
        'name = "club"\nbased_on = "short"\n[limit]\n"local.kink" = 5.0\n'
        '[[rule]]\nid = "club.radius"\nquantity = "radius"\nsense = "at least"\nlimit = 900\nunit = "mm"\n',
        encoding="utf-8",
    )
    by_file = judge(LINE, rules=own, stock=["coach:220"])
    assert {f.verdict for f in by_file.findings if f.rule == "club.radius"} == {"fail"}
    assert {f.verdict for f in by_file.findings if f.rule == "local.kink"} == {"pass"}
    assert {f.source for f in by_file.findings if f.rule == "local.kink"} == {"own, instead of common practice"}
    in_hand = RuleSet("none", "", rule_set("nem", 16.5, 87.0).rules[:1])
    assert {f.rule for f in judge(LINE, rules=in_hand).findings} == {"nem111.attack"}


def test_the_train_is_named_or_assumed(folder: Path, tmp_path: Path) -> None:
    assert "nobody said what is to run" in judge(LINE).assumed[0]
    file = tmp_path / "local.train.toml"
    file.write_text(
        '[[vehicle]]\nname = "coach"\nkind = "car"\nlength_mm = 200\npivots_mm = 140\nwidth_mm = 33\n', encoding="utf-8"
    )
    assert judge(folder, train=file).train.longest.length_mm == 200.0
    train = Train("own", (Vehicle("van", "car", 100.0, 55.0, 33.0, axles=2),))
    assert wayrule.judge(LINE, train=train).train is train
    with pytest.raises(UsageError, match="came both"):
        judge(LINE, train=train, stock=["coach:200"])


def test_a_clean_line_with_wide_curves_has_a_page_too() -> None:
    bare = dataclasses.replace(LINE, faults=(), elements=())
    result = judge(bare, rules=RuleSet("attack", "", rule_set("nem", 16.5, 87.0).rules[:1]), stock=["coach:200"])
    assert result.findings == ()
    assert "Every place that was looked at keeps its rules" in result.page()


def test_on_the_command_line(folder: Path) -> None:
    out = CliRunner().invoke(command, ["judge", str(folder), "--stock", "coach:220", "--json"])
    told = json.loads(out.stdout)
    assert {f["verdict"] for f in told["findings"]} >= {"fail", "pass"}
    assert told["rules"]["name"] == "usual"
    said = CliRunner().invoke(command, ["judge", str(folder), "--out", str(folder), "--no-open"])
    assert said.exit_code == 0
    assert "Where to look first" in said.stdout
    assert "To settle it" in said.stdout or "cannot be told" in said.stdout


def test_wrong_words_are_one_line(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["judge", str(folder), "--rules", "strict"]) == 2
    assert "expected a rule set: usual" in capsys.readouterr().err
    assert run(["judge", str(tmp_path / "nothing")]) == 2
    assert "expected a survey folder" in capsys.readouterr().err
    assert run(["judge", str(folder), "--limit", "radius=2"]) == 2
    assert "expected one of radius.cars" in capsys.readouterr().err
    with pytest.raises(WayruleError):
        judge(folder, rules="strict")
    assert isinstance(LINE, Surveyed)
