"""`wayrule serve` at a terminal."""

import json
from pathlib import Path

import pytest

from wayrule.cli.main import run


def test_it_tells_its_address_and_ends_in_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", str(tmp_path), "--port", "0", "--for", "0.2"]) == 0
    told = capsys.readouterr().out
    assert "http://127.0.0.1:" in told
    assert "/#key=" in told
    assert "pair" not in told


def test_sharing_shows_two_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", str(tmp_path), "--port", "0", "--for", "0.2", "--share"]) == 0
    told = capsys.readouterr().out
    assert told.count("#key=") == 3
    assert "To pair a device, once" in told
    assert "To watch" in told


def test_a_machine_gets_one_object(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", str(tmp_path), "--port", "0", "--for", "0.2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["address"].startswith(f"http://127.0.0.1:{told['port']}/#key=")
    assert told["pair"] == told["watch"] == ""


def test_no_folder_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", str(tmp_path / "nothing")]) == 2
    assert "expected a project folder, came nothing there" in capsys.readouterr().err
