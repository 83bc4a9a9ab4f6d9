"""The whole program, from power-up, in a process of its own on a pseudo-terminal."""

import shutil
import sys
from pathlib import Path

import pytest

from benchmarks.wiring.steady import heard, missed
from wayrule.formats import wire

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="not run: no pseudo-terminals here")


def board(folder: Path, *, checked: bool = True, settings: str | None = None) -> Path:
    """A board's files, as the README says to copy them."""
    shutil.copy(ROOT / "firmware/settings.toml", folder)
    if settings is not None:
        (folder / "settings.toml").write_text(settings, encoding="utf-8")
    if checked:
        (folder / "checked.txt").write_text("passed\n", encoding="utf-8")
    return folder


def test_a_wagon_that_is_switched_on_speaks_frames(tmp_path: Path) -> None:
    frames, errors = heard(board(tmp_path), 2.5)
    assert errors == b""
    assert frames[0] == wire.Line("# wagon: starts in 3 s; Ctrl-C stops here")
    got = wire.gather(frames)
    (trip,) = got.trips
    assert trip.hello is not None
    assert trip.missing == ()
    taken, late = missed(trip)
    assert taken + late == pytest.approx(trip.states[-1].t_us / 5000, abs=4)  # 200 Hz, each taken or told
    assert taken > 50  # even on a busy computer; `python -m benchmarks wire` has the figure
    assert (tmp_path / "boot.txt").read_text() == "1"


def test_the_first_power_up_leads_through_the_check(tmp_path: Path) -> None:
    frames, errors = heard(board(tmp_path, checked=False), 12)
    assert errors == b""
    said = [f.text for f in frames if isinstance(f, wire.Line)]
    assert "# field answers at 0x20" in said
    assert "# the axle shows in bx_mT and bz_mT: good" in said
    assert "# 1 g upwards: good" in said
    assert "# nose lifted: nothing was felt; lift it by a finger's breadth and hold" in said
    assert said[-1] == "# look at what is told above, then switch on again"
    assert not (tmp_path / "checked.txt").exists()


@pytest.mark.parametrize(
    ("settings", "line"),
    [
        ("rate_hz", "# settings.toml line 1: expected key = value, came rate_hz; correct the line and switch on again"),
        ("rate_hz = 200", "# settings.toml: expected a key bus, came none; see README.md for every key"),
    ],
)
def test_wrong_settings_are_one_line(settings: str, line: str, tmp_path: Path) -> None:
    frames, errors = heard(board(tmp_path, settings=settings), 4)
    assert errors == b""
    assert frames[-1] == wire.Line(line)
