"""The frame of the benchmarks: rows, verdicts, exit codes, JSON; areas are looked at in their own tests."""

import json
import math
import sys
import types
from collections.abc import Iterator

import pytest

from benchmarks import __main__ as frame
from benchmarks.row import Row, at_least, at_most, between, guarded


def two_rows(quick: bool) -> Iterator[Row]:
    print("chatter of a library")
    yield at_most("plan rms", 2.0 if quick else 4.0, 3.0, "mm")
    yield Row("closures", "", "<= 1", ok=False, why="no data here") if not quick else at_least("share", 60.0, 55.0, "%")


@pytest.fixture
def area(monkeypatch: pytest.MonkeyPatch) -> None:
    module = types.ModuleType("benchmarks.made_up")
    module.rows = two_rows  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "benchmarks.made_up", module)
    monkeypatch.setattr(frame, "areas", lambda: ["made_up"])


@pytest.mark.usefixtures("area")
def test_json_is_one_list_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.main(["made_up", "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == [
        {"what": "plan rms", "measured": "4 mm", "limit": "<= 3 mm", "ok": False},
        {"what": "closures", "measured": "", "limit": "<= 1", "ok": False, "why": "no data here"},
    ]


@pytest.mark.usefixtures("area")
def test_all_rows_hold_ends_with_zero(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.main(["made_up", "--quick"]) == 0
    assert "2 figures, 0 short" in capsys.readouterr().out


@pytest.mark.usefixtures("area")
def test_a_row_that_cannot_run_here_falls_short_and_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    assert frame.main(["made_up"]) == 1
    out = capsys.readouterr().out
    assert "SHORT  closures: not measured  (limit <= 1)" in out
    assert "no data here" in out


def test_no_rows_at_all_is_no_success(monkeypatch: pytest.MonkeyPatch, area: None) -> None:  # noqa: ARG001
    monkeypatch.setattr(sys.modules["benchmarks.made_up"], "rows", lambda quick: [])  # noqa: ARG005
    assert frame.main(["made_up", "--json"]) == 1


@pytest.mark.parametrize(
    "row", [at_most("x", math.nan, 1, ""), at_least("x", math.nan, 1, ""), between("x", math.nan, 0, 1, "")]
)
def test_nan_never_holds(row: Row) -> None:
    assert not row.ok


def test_the_limit_itself_holds() -> None:
    assert at_most("x", 3.0, 3.0, "mm").ok
    assert at_least("x", 3.0, 3.0, "mm").ok
    assert between("x", 3.0, 3.0, 4.0, "mm").ok
    assert not at_most("x", 3.001, 3.0, "mm").ok
    assert not between("x", 4.001, 3.0, 4.0, "mm").ok


def test_a_measurement_that_fails_half_way_is_a_row() -> None:
    def measure() -> Iterator[Row]:
        yield at_most("first", 1.0, 2.0, "mm")
        raise ZeroDivisionError("no lap")

    first, second = guarded("all of it", "<= 2 mm", measure)
    assert first.ok
    assert not second.ok
    assert second.why.startswith("ZeroDivisionError: no lap (measure, line")


def test_a_row_cannot_hold_without_a_value() -> None:
    with pytest.raises(ValueError, match="expected a measured value"):
        Row("x", "", "<= 1", ok=True)
    with pytest.raises(ValueError, match="expected what and limit"):
        Row("x", "1", "", ok=True)
