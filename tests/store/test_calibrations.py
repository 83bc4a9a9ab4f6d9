"""Calibration files: never written over, chosen by date."""

from pathlib import Path

import pytest

from tests.calibrations import calibration
from wayrule.errors import UsageError, WayruleError
from wayrule.store import choose_calibration, read_calibration, write_bytes, write_calibration
from wayrule.store.calibrations import file_name

MONDAY, TUESDAY = "2026-08-03T09:00:00Z", "2026-08-04T09:00:00Z"


def test_a_second_one_of_the_same_second_gets_a_name_of_its_own(tmp_path: Path) -> None:
    one = calibration(made=MONDAY)
    first, second = write_calibration(tmp_path / "new", one), write_calibration(tmp_path / "new", one)
    assert first.name == "clerestory-van-7.20260803T090000.calibration.json"
    assert second.name == "clerestory-van-7.20260803T090000-2.calibration.json"
    assert first.read_bytes() == second.read_bytes()
    assert read_calibration(first).made == MONDAY


def test_what_stands_there_stays(tmp_path: Path) -> None:
    first = write_calibration(tmp_path, calibration(made=MONDAY))
    first.write_text("mine", encoding="utf-8")
    write_calibration(tmp_path, calibration(made=MONDAY))
    assert first.read_text(encoding="utf-8") == "mine"


def test_the_newest_of_this_wagon_is_chosen_and_told(tmp_path: Path) -> None:
    write_calibration(tmp_path, calibration(made=TUESDAY))
    write_calibration(tmp_path, calibration(made=MONDAY))
    write_calibration(tmp_path, calibration(made="2026-09-01T09:00:00Z", wagon_name="Ballast wagon 3"))
    older = write_calibration(tmp_path, calibration())  # one from before files said when they were made
    older.rename(tmp_path / "calibration.json")
    chosen = choose_calibration(tmp_path, "Clerestory van 7")
    assert (chosen.calibration.made, chosen.path.parent) == (TUESDAY, tmp_path)
    assert chosen.why == f"the newest of 3 of this wagon in {tmp_path}, made {TUESDAY}"
    assert choose_calibration(tmp_path / "calibration.json", "anybody").why == ""
    assert choose_calibration(tmp_path, "Ballast wagon 3").why.startswith("the only one of this wagon")


def test_nothing_to_choose_from_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"expected a calibration of Van 1 .* came none at all"):
        choose_calibration(tmp_path, "Van 1")
    write_calibration(tmp_path, calibration(made=MONDAY))
    with pytest.raises(UsageError, match="came those of Clerestory van 7; name another folder or a file"):
        choose_calibration(tmp_path, "Van 1")
    write_calibration(tmp_path, calibration(made=MONDAY))
    with pytest.raises(UsageError, match=f"expected one newest calibration, came .* both made {MONDAY}; name the one"):
        choose_calibration(tmp_path, "Clerestory van 7")


def test_a_broken_file_in_the_folder_is_told_since_it_might_be_the_newest(tmp_path: Path) -> None:
    write_calibration(tmp_path, calibration(made=MONDAY))
    write_bytes(tmp_path / "torn.calibration.json", b'{"kind": ')
    with pytest.raises(WayruleError, match=r"torn\.calibration\.json"):
        choose_calibration(tmp_path, "Clerestory van 7")
    with pytest.raises(WayruleError, match="nothing there"):
        choose_calibration(tmp_path / "no such.json", "Clerestory van 7")


def test_a_file_in_the_place_of_the_folder_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x", encoding="utf-8")
    with pytest.raises(WayruleError, match="expected a folder that can be written"):
        write_calibration(tmp_path / "taken", calibration(made=MONDAY))


@pytest.mark.parametrize("name", ["a/b", "..", "", "Bäckerei 7 — grün", "x" * 300, "con:1*?"])
def test_any_wagons_name_makes_a_file_name(name: str) -> None:
    found = file_name(name)
    assert 0 < len(found) <= 60
    assert not set(found) & set('/\\:*?"<>| .')
