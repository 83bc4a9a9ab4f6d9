"""The desk area's own tools: its long line is a survey like any other, and what cannot be measured says why."""

import pytest

from benchmarks import desk
from benchmarks.desking.longline import write_long_line
from wayrule.desk.opening import open_survey


def test_the_long_line_reads_as_a_survey(tmp_path):
    assert write_long_line(tmp_path / "survey") == 12_000
    line = open_survey(tmp_path / "survey").stations
    assert len(line.s_mm) == 12_000
    assert line.length_mm == 60_000.0


def test_without_a_browser_every_figure_still_has_its_row(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(desk, "BROWSER", None)
    rows = list(desk.rows(quick=True))
    assert rows[0].why == "not run: no browser"
    assert len(rows) == 1 + len(desk.NOT_YET)
    assert not any(row.ok for row in rows)
    assert all(row.why for row in rows)
