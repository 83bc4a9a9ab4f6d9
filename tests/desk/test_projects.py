"""What a project folder holds, and what is next."""

import contextlib
import io
import shutil
import zipfile
from pathlib import Path

import pytest

from tests.world import World
from wayrule.desk.handing import archive, folder_of, report_of
from wayrule.desk.projects import layouts
from wayrule.errors import WayruleError


def test_an_empty_folder_holds_no_layout(tmp_path: Path) -> None:
    assert layouts(tmp_path) == ()


def test_what_is_next_follows_the_work(tmp_path: Path, world: World) -> None:
    shed = tmp_path / "shed"
    shed.mkdir()
    shutil.copy(world.run("monday"), shed)
    assert [(one.name, one.next) for one in layouts(tmp_path)] == [("shed", "wagon")]
    shutil.copy(world.wagon, shed)
    (found,) = layouts(tmp_path)
    assert (found.next, found.wagons, found.recordings) == ("survey", ("shed/van.wagon.toml",), ("shed/monday.csv",))
    (shed / "monday.csv").unlink()
    assert layouts(tmp_path)[0].next == "recording"


def test_a_survey_that_cannot_be_read_says_why_and_is_not_what_to_look_at(tmp_path: Path, world: World) -> None:
    shutil.copy(world.wagon, tmp_path)
    (tmp_path / "old").mkdir()
    (tmp_path / "old/survey.json").write_text("{}")
    (found,) = layouts(tmp_path)
    assert found.surveys[0].problem.startswith("old/stations.csv: expected a file, came nothing there")
    assert found.next == "recording"


def test_shared_calibrations_hidden_files_links_and_other_tables(tmp_path: Path) -> None:
    (tmp_path / "calibrations").mkdir()
    (tmp_path / "calibrations/van.20260101T000000.calibration.json").write_text("{}")
    (tmp_path / "truth.csv").write_text("s_mm,x_mm\n0,0\n")
    (tmp_path / "run.csv").write_text('\ufeff"T_S";Bx_mT\n0;1\n', encoding="utf-8")
    (tmp_path / "night.waylog").write_bytes(b"")
    (tmp_path / "night.2.waylog").write_bytes(b"")
    (tmp_path / ".hidden.wagon.toml").write_text("")
    with contextlib.suppress(OSError):  # where links need a permission that this user has not
        (tmp_path / "linked").symlink_to(tmp_path.parent, target_is_directory=True)
    (found,) = layouts(tmp_path)
    assert found.name == tmp_path.name
    assert found.calibrations == ("calibrations/van.20260101T000000.calibration.json",)
    assert found.recordings == ("night.waylog", "run.csv")
    assert found.wagons == ()


@pytest.mark.parametrize("name", ["nothing", "file"])
def test_what_is_no_folder_is_one_clear_line(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(WayruleError, match=r"expected a project folder, came .*; make it, or name another"):
        layouts(tmp_path / name)


def test_what_is_no_survey_is_not_handed_on(tmp_path: Path) -> None:
    for verb in (archive, report_of, folder_of):
        with pytest.raises(WayruleError, match="expected a survey folder"):
            verb(tmp_path)


def test_everything_is_in_the_archive_and_opens_elsewhere(tmp_path: Path, world: World) -> None:
    from wayrule.desk.surveying import survey

    out = tmp_path / "line"
    survey([f"{world.run('tuesday')}@laps=1"], world.wagon, out=out)
    (out / "my notes.txt").write_text("mind the bridge")
    packed = archive(out)
    assert packed == archive(out)
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        assert opened.testzip() is None
        assert {name.partition("/")[2] for name in opened.namelist()} == {n for n, _ in folder_of(out).files}
        assert opened.read("line/stations.csv") == (out / "stations.csv").read_bytes()
        assert "line/my notes.txt" in opened.namelist()
    assert report_of(out) == (out / "report.html").read_bytes()
    assert layouts(tmp_path)[0].surveys[0].length_mm == pytest.approx(9012, rel=0.01)
