"""The firmware under a real MicroPython: its authors' WebAssembly build, from the npm registry, under Node."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from benchmarks.row import Row, at_most

ROOT: Final = Path(__file__).parents[2]
SCRIPTS: Final = ROOT / "tests/firmware"

PACKAGE, VERSION = "@micropython/micropython-webassembly-pyscript", "1.26.0"
"""Pinned, so that a heap figure means the same tomorrow."""

HEAP_BYTES: Final = 160 * 1024
"""The heap it starts with."""

BYTES_PER_S: Final = 4000
"""What the whole program may take in a second: on a heap of 100 kB the collector then runs twice a minute."""


class NotRunError(Exception):
    """Why it could not be run here; begins with "not run"."""


def interpreter() -> Path:
    """MicroPython for Node, fetched once into the computer's folder for passing things."""
    home = Path(tempfile.gettempdir()) / f"wayrule-micropython-{VERSION}"
    library = home / "node_modules" / PACKAGE / "micropython.mjs"
    npm = shutil.which("npm")
    if library.exists():
        return library
    if npm is None:
        raise NotRunError("not run: no Node (npm is missing)")
    fresh = Path(tempfile.mkdtemp(dir=home.parent))
    command = [npm, "install", "--no-audit", "--no-fund", "--prefix", str(fresh), f"{PACKAGE}@{VERSION}"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    if run.returncode:
        shutil.rmtree(fresh)
        raise NotRunError(f"not run: npm could not fetch {PACKAGE}: {run.stderr.strip()[-300:]}")
    try:
        fresh.rename(home)  # whole or not at all: several processes may try at once
    except OSError:
        shutil.rmtree(fresh)
    return library


def pretended_board(data: Sequence[Path]) -> dict[str, Any]:
    """What tests/firmware/on_micropython.py tells, with these files at hand (frames.json, angles.json).

    Raises
    ------
    NotRunError   without Node or the registry
    """
    node = shutil.which("node")
    if node is None:
        raise NotRunError("not run: no Node")
    modules = sorted((ROOT / "firmware/wagon").glob("*.py"))
    settings = ROOT / "firmware/settings.toml"
    words = [
        node,
        SCRIPTS / "run.mjs",
        interpreter(),
        HEAP_BYTES,
        SCRIPTS / "on_micropython.py",
        *modules,
        *data,
        settings,
    ]
    run = subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=120, check=False)
    if run.returncode:
        raise RuntimeError(run.stdout + run.stderr)
    told: dict[str, Any] = json.loads(run.stdout.splitlines()[-1])
    return told


def heap_rows() -> Iterator[Row]:
    """What a sample takes of the heap, and what all the rest does."""
    with tempfile.TemporaryDirectory() as folder:
        data = [Path(folder) / name for name in ("frames.json", "angles.json")]
        for path in data:
            path.write_text("[]", encoding="utf-8")
        try:
            told = pretended_board(data)
        except NotRunError as why:
            yield Row("heap of MicroPython taken by 1000 samples", "", "<= 0 bytes", ok=False, why=str(why))
            return
    version = told["version"].partition(";")[2].split(" on ")[0].strip()
    yield at_most(f"heap of {version} taken by 1000 samples of 10 columns", told["bytes_per_1000_samples"], 0, "bytes")
    what = "heap taken by the whole program in a second, 200 samples and 50 frames over a cable"
    yield at_most(what, told["bytes_per_second_of_all"], BYTES_PER_S, "bytes")


def powered_up(folder: Path, seconds: float, cable: int) -> subprocess.Popen[bytes]:
    """A wagon in a process of its own, at the other end of a pseudo-terminal: firmware/main.py as it is."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "src")))}
    command = [sys.executable, "-u", str(SCRIPTS / "boot.py"), str(seconds)]
    return subprocess.Popen(command, cwd=folder, env=env, stdin=cable, stdout=cable, stderr=subprocess.PIPE)
