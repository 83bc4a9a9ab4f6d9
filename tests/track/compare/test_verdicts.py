"""Findings before and after a mend: what is gone, what stays, what is new."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from tests.report.sample import LENGTH_MM, survey
from wayrule import store
from wayrule.cli import main as cli
from wayrule.errors import WayruleError
from wayrule.formats.findingtable import read_findings, write_findings
from wayrule.model import Finding, Registered, surveyed_of
from wayrule.track.compare.verdicts import finding_fates

TWIST = Finding(
    "twist", "fail", 3000.0, 2960.0, 3040.0, 1.0, 2.0, 1.4, 0.1, 0.8, "mm", "at most", "twist", "Twist at 3.00 m.",
    "It lifts a wheel.", "a standard, clause 1",
)  # fmt: skip
SEAM = replace(TWIST, rule="gradient", kind="gradient", s_mm=20.0, s0_mm=5.0, s1_mm=40.0)
SAME = Registered(1, 0.0, 1.0, 0.1, 0.0, 0.0, LENGTH_MM, 0.0)
LINE = survey().stations


def fates(before: list[Finding], after: list[Finding], registered: Registered = SAME) -> list[str]:
    return [one.fate for one in finding_fates(before, after, LINE, LINE, registered)]


def test_what_passes_or_is_not_found_is_gone_and_the_rest_keeps_its_name() -> None:
    passed = replace(TWIST, verdict="pass", size=0.3)
    near = replace(TWIST, verdict="near", size=0.75, s_mm=3020.0)
    assert fates([TWIST], []) == ["gone"]
    [one] = finding_fates([TWIST], [passed], LINE, LINE, SAME)
    assert (one.fate, one.change, one.sd) == ("gone", pytest.approx(-1.1), pytest.approx(0.1 * 2**0.5))
    assert fates([TWIST], [near]) == ["smaller"]
    assert fates([near], [TWIST]) == ["larger"]
    assert fates([TWIST], [TWIST]) == ["same"]
    assert fates([], [TWIST]) == ["new"]
    assert fates([passed], [passed]) == []
    assert fates([TWIST], [replace(TWIST, rule="other")]) == ["gone", "new"]


def test_places_are_laid_on_each_other_round_the_seam_and_the_other_way() -> None:
    other_way = Registered(-1, LENGTH_MM + 15.0, 1.0, 0.1, 0.0, 0.0, LENGTH_MM, 0.0)
    seen = replace(SEAM, s_mm=LENGTH_MM - 5.0, s0_mm=LENGTH_MM - 25.0, s1_mm=LENGTH_MM + 10.0)
    assert fates([SEAM], [seen], other_way) == ["same"]
    behind = replace(SEAM, s_mm=LENGTH_MM + 20.0, s0_mm=LENGTH_MM + 5.0, s1_mm=LENGTH_MM + 40.0)
    assert fates([SEAM], [behind]) == ["same"]
    assert fates([SEAM], [replace(SEAM, s_mm=300.0, s0_mm=290.0, s1_mm=310.0)]) == ["gone", "new"]


def test_two_judged_folders_tell_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, told in (("bad", (TWIST, SEAM)), ("good", (SEAM,))):
        store.write_survey(tmp_path / name, survey(), "")
        store.write_bytes(tmp_path / name / "findings.csv", write_findings(told))
    words = ["compare", str(tmp_path / "bad"), str(tmp_path / "good"), "--out", str(tmp_path / "out"), "--no-open"]
    assert cli.run(words) == 0, capsys.readouterr().err
    assert "Findings: 1 gone, 1 as it was." in capsys.readouterr().out
    table = pl.read_csv(tmp_path / "out" / "findings_before_after.csv")
    assert dict(zip(table["rule"], table["fate"], strict=True)) == {"twist": "gone", "gradient": "same"}


def test_findings_come_back_as_they_were_written() -> None:
    back = read_findings(write_findings((TWIST,)), "findings.csv")
    assert replace(back[0], mark_mm=0.0) == replace(TWIST, mark_mm=0.0)
    assert surveyed_of(survey(), "one").faults


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [(b"verdict", b"word", "no verdict"), (b"fail", b"bad", "findings.csv line 2"), (b"1.4", b"wide", "line 2")],
)
def test_findings_that_are_not_as_written_are_refused(old: bytes, new: bytes, said: str) -> None:
    with pytest.raises(WayruleError) as caught:
        read_findings(write_findings((TWIST,)).replace(old, new), "findings.csv")
    assert said in str(caught.value)
