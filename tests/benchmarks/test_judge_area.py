"""The judge area's own tools: a wrong cell of a table and a false alarm would be seen."""

import dataclasses

import numpy as np
import pytest

from benchmarks.judging import alarms, sheets
from wayrule.sim import as_laid, oval
from wayrule.sim.register import Laid
from wayrule.track.rules import nem

beside = pytest.mark.skipif(not sheets.FACTS.is_dir(), reason="the table of facts does not lie beside the repository")


@beside
def test_every_table_holds() -> None:
    assert [row.what for row in sheets.sheet_rows() if not row.ok] == []


@beside
def test_a_wrong_cell_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(nem.TRANSITION_CANT, 16.5, (8.0, 1.0))
    fallen = {row.what.split()[3] for row in sheets.sheet_rows() if not row.ok}
    assert fallen == {"nem113_114_transition_cant.csv", "nem113_transition_lengths.csv"}


def test_a_missing_table_is_a_row_that_falls_short(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(sheets, "FACTS", tmp_path)
    fallen = [row for row in sheets.sheet_rows() if not row.ok]
    assert len(fallen) == len(sheets.CHECKS)
    assert {row.why for row in fallen} == {"the table of facts is not at hand"}


def test_a_false_alarm_would_be_seen() -> None:
    railway = oval(np.random.default_rng(5), defects=6)
    truth = alarms.judged(as_laid(railway))
    laid = Laid(0.0, 1, 1.0)
    failed = [f for f in truth.findings if f.verdict == "fail"]
    assert all(alarms.holds(f, truth, laid, railway) for f in failed)
    assert alarms.holds(failed[0], truth, Laid(railway.length_mm, 1, 1.0), railway)  # once round is the same place
    kink = next(f for f in failed if f.kind == "kink")
    elsewhere = dataclasses.replace(kink, **dict.fromkeys(("s_mm", "s0_mm", "s1_mm"), kink.s_mm + 400.0))
    assert not alarms.holds(elsewhere, truth, laid, railway)


def test_a_long_line_is_as_long_as_it_says() -> None:
    line = as_laid(oval(np.random.default_rng(5)))
    long = alarms.stretched(line, 50_000.0)
    assert len(long.stations.s_mm) == 6 * len(line.stations.s_mm)
    assert long.stations.s_mm[-1] == pytest.approx(long.stations.length_mm, abs=15.0)
    assert len(alarms.judged(long).findings) > len(alarms.judged(line).findings)
