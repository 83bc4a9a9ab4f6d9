"""`wayrule record`: what a person and a machine get, keys at a terminal, and what a wrong word is answered with."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wayrule.cli.main import run
from wayrule.desk import recording as desk
from wayrule.formats.rawlogreader import read_raw_log
from wayrule.live.discovery import Found

SRC = Path(__file__).parents[2] / "src"


def test_a_make_believe_wagon_is_recorded_and_travels(tmp_path, world, capsys):
    out = tmp_path / "new folder" / "monday"
    assert run(["record", "sim:@laps=1@speed=max", "--out", str(out), "--wagon", world.wagon]) == 0
    said = capsys.readouterr().out
    assert re.search(r"Heather Vale inspection .* live +\d+ Hz +\d+ +0 +15\.1\d+ ± 0\.\d+ m", said)
    assert "monday.waylog:" in said
    assert "free" in said
    assert said.strip().endswith("monday.waylog.")
    log = f"{out}.waylog"
    assert run(["travel", log, "--wagon", world.wagon]) == 0
    assert "15.1" in capsys.readouterr().out
    assert run(["import", log, "--wagon", world.wagon]) == 0
    assert "a raw log of frames" in capsys.readouterr().out
    assert run(["record", "sim:", "--out", str(out)]) == 2
    assert "expected a file that is not there yet, came one that is; a recording is never written over" in (
        capsys.readouterr().err
    )


def test_for_a_machine(tmp_path, capsys):
    assert run(["record", "sim:@speed=50", "--for", "3", "--out", str(tmp_path / "m"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["state"] == "ended"
    assert found["wagons"][0]["samples"] > 100
    assert found["wagons"][0]["loss"] == 0
    assert Path(found["files"][0]).stat().st_size == found["written_bytes"]


@pytest.mark.parametrize("word", ["cc=crossing", "c", "q=quit", "c= "])
def test_a_key_that_is_none_is_one_line(word, tmp_path, capsys):
    assert run(["record", "sim:", "--key", word, "--out", str(tmp_path / "m")]) == 2
    assert "--key: expected K=NAME, K being one character other than q and 0" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path, capsys):
    (tmp_path / "f").write_bytes(b"")
    assert run(["record", "sim:", "--out", str(tmp_path / "f" / "m")]) == 2
    assert "expected a folder that can be made, came" in capsys.readouterr().err


def test_what_is_there_is_listed(monkeypatch, capsys):
    class Port:
        device, description, vid = "/dev/ttyACM0", "a board", 1

    monkeypatch.setattr(desk, "usb_ports", lambda: [Port])
    monkeypatch.setattr(desk, "look", lambda _s: (Found("tcp", "Van 7", "10.0.0.7", 47870, "a1"),))
    assert run(["record", "--list"]) == 0
    assert capsys.readouterr().out == "serial:/dev/ttyACM0  (a board)\ntcp:10.0.0.7:47870  (Van 7, 10.0.0.7)\n"
    assert run(["record", "--list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["wagons"][0]["name"] == "Van 7"
    monkeypatch.setattr(desk, "usb_ports", list)
    monkeypatch.setattr(desk, "look", _no_network)
    assert run(["record", "--list"]) == 0
    assert capsys.readouterr().out == "No USB serial port is there.\nNo wagon made itself known.\n"


def _no_network(_seconds):
    raise OSError("no network")


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_keys_at_a_terminal_drop_marks_and_q_ends(tmp_path):
    board, terminal = os.openpty()
    words = [sys.executable, "-m", "wayrule", "record", "udp:0", "--out", str(tmp_path / "m"), "--key", "c=crossing"]
    env = {**os.environ, "PYTHONPATH": str(SRC), "TERM": "xterm", "COLUMNS": "120"}
    with subprocess.Popen(words, stdin=terminal, stdout=subprocess.PIPE, stderr=terminal, env=env) as process:
        _wait_for(tmp_path / "m.waylog")
        time.sleep(1.0)
        for key in (b"s", b"c", b" ", b"x"):
            os.write(board, key)
            time.sleep(0.1)
        os.write(board, b"q")
        out, _ = process.communicate(timeout=30)
        assert process.returncode == 0
    shown = os.read(board, 100_000).decode(errors="replace")
    os.close(board)
    os.close(terminal)
    assert "q end" in shown, "the keys stand below"
    assert "Marks: signal, crossing, mark." in out.decode()
    notes = read_raw_log([("m", (tmp_path / "m.waylog").read_bytes())]).notes
    assert [n.words["name"] for n in notes if n.what == "mark"] == ["signal", "crossing", "mark"]
    assert notes[-1].what == "end"


@pytest.mark.skipif(sys.platform == "win32", reason="a polite kill is not known there")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_or_politely_killed_it_ends_the_log(tmp_path, number):
    words = [sys.executable, "-m", "wayrule", "record", "sim:", "--out", str(tmp_path / "m")]
    env = {**os.environ, "PYTHONPATH": str(SRC)}
    with subprocess.Popen(
        words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env
    ) as p:
        _wait_for(tmp_path / "m.waylog")
        time.sleep(1.0)
        p.send_signal(number)
        out, err = p.communicate(timeout=30)
    assert (p.returncode, "Written:" in out.decode()) == (0, True), err.decode()
    assert read_raw_log([("m", (tmp_path / "m.waylog").read_bytes())]).ended


def _wait_for(path):
    end = time.monotonic() + 20
    while not path.exists():
        assert time.monotonic() < end
        time.sleep(0.02)
