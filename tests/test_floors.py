"""The house stands: imports point downwards only, and floors 0-4 leave the world outside alone."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "src" / "wayrule"

FLOORS = {
    **dict.fromkeys(("units", "errors", "version"), 0),
    "model": 1,
    **dict.fromkeys(("maths", "formats"), 2),
    **dict.fromkeys(("wagon", "run", "track", "loco", "report"), 3),
    **dict.fromkeys(("pipeline", "sim"), 4),
    **dict.fromkeys(("store", "live"), 5),
    "desk": 6,
    "web": 7,
    "cli": 8,
    **dict.fromkeys(("__init__", "__main__"), 9),
}
"""Folder or file directly below the package -> its floor. A module imports its own folder or a lower floor."""

PURE_UP_TO = 4

OUTSIDE_MODULES = {
    **dict.fromkeys(("os", "pathlib", "shutil", "tempfile", "glob", "fileinput", "mmap", "sqlite3"), "file"),
    **dict.fromkeys(("time", "datetime", "sched", "calendar"), "clock"),
    **dict.fromkeys(("socket", "ssl", "urllib.request", "http", "requests", "asyncio", "selectors"), "network"),
    **dict.fromkeys(("subprocess", "multiprocessing", "threading", "signal"), "process"),
    **dict.fromkeys(("random", "secrets", "uuid"), "randomness"),
    **dict.fromkeys(("sys", "rich", "click", "logging", "webbrowser", "matplotlib.pyplot", "tkinter"), "screen"),
}
"""What floors 0-4 never import -> what it would touch. The package's own text (importlib.resources) counts as code."""

OUTSIDE_CALLS = {
    **dict.fromkeys(("open", "io.open", "io.FileIO", "io.open_code"), "file"),
    **dict.fromkeys(("print", "input", "breakpoint"), "screen"),
    **{f"numpy.{name}": "file" for name in ("load", "save", "savez", "savez_compressed", "memmap")},
    **{f"numpy.{name}": "file" for name in ("loadtxt", "savetxt", "genfromtxt", "fromfile")},
    **dict.fromkeys(("polars.scan_csv", "polars.scan_parquet"), "file"),
}

OUTSIDE_METHODS = {"write_text", "write_bytes", "read_bytes", "tofile", "unlink", "mkdir", "touch", "sink_csv"}

SEEDED = {"numpy.random." + name for name in ("default_rng", "SeedSequence", "PCG64", "Philox", "SFC64", "MT19937")}
"""Fine with a seed that came in, an offence without one. `Generator` wraps one of these; the rest of numpy.random hides
a state of its own."""


def module_name(path: Path) -> str:
    """Dotted name below the package; a folder's __init__ has the folder's name."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if len(parts) > 1 and parts[-1] == "__init__" else parts)


def imports(tree: ast.AST, module: str, *, is_package: bool) -> Iterator[tuple[int, str]]:
    """(line, dotted target) of every import, those inside functions and `if TYPE_CHECKING` too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                here = ["wayrule", *([] if module == "__init__" else module.split("."))]
                kept = here[: len(here) - node.level + is_package]
                base = ".".join([*kept, *([node.module] if node.module else [])])
            for alias in node.names:
                yield node.lineno, f"{base}.{alias.name}"


def storey_offences(tree: ast.AST, module: str, *, is_package: bool = False) -> Iterator[str]:
    """Imports that do not point downwards."""
    own = module.split(".")[0]
    if own not in FLOORS:
        yield f"{module}: {own!r} has no floor; give it one in FLOORS and in docs/ARCHITECTURE.md"
        return
    for line, target in imports(tree, module, is_package=is_package):
        parts = target.split(".")
        if parts[0] != "wayrule":
            continue
        other = parts[1] if len(parts) > 1 and parts[1] in FLOORS else "__init__"
        if other != own and FLOORS[other] >= FLOORS[own]:
            yield f"{module}:{line}: floor {FLOORS[own]} ({own}) imports {target} of floor {FLOORS[other]}"


def outside_import(target: str) -> str | None:
    """What a forbidden import would touch; `from os import x` and `import os.path` count as `os`."""
    parts = target.split(".")
    prefixes = [".".join(parts[: k + 1]) for k in range(len(parts))]
    return next((OUTSIDE_MODULES[p] for p in prefixes if p in OUTSIDE_MODULES), None)


def import_aliases(tree: ast.AST) -> dict[str, str]:
    """Name in the module -> dotted name that it stands for."""
    aliases = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                top = alias.name.split(".")[0]
                aliases[alias.asname or top] = alias.name if alias.asname else top
        elif isinstance(node, ast.ImportFrom) and not node.level:
            aliases |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
    return aliases


def full_name(node: ast.expr, aliases: dict[str, str]) -> str:
    """Dotted name of what is called, with import aliases undone; "" for anything that is not a plain name."""
    if isinstance(node, ast.Name):
        return aliases.get(node.id, node.id)
    if isinstance(node, ast.Attribute):
        base = full_name(node.value, aliases)
        return f"{base}.{node.attr}" if base else ""
    return ""


def call_offence(node: ast.Call, aliases: dict[str, str]) -> str | None:
    """What a call would touch, or None."""
    name = full_name(node.func, aliases)
    if name in OUTSIDE_CALLS:
        return OUTSIDE_CALLS[name]
    if name in SEEDED:
        given = [*node.args, *(keyword.value for keyword in node.keywords)]
        unseeded = not given or (isinstance(given[0], ast.Constant) and given[0].value is None)
        return "randomness without a seed" if unseeded else None
    if name.startswith("numpy.random.") and name != "numpy.random.Generator":
        return "randomness with a hidden state"
    if isinstance(node.func, ast.Attribute) and node.func.attr in OUTSIDE_METHODS:
        return "file"
    return None


def purity_offences(tree: ast.AST, module: str, *, is_package: bool = False) -> Iterator[str]:
    """Files, clocks, network, screen and randomness touched on floors 0-4."""
    if FLOORS.get(module.split(".")[0], 0) > PURE_UP_TO:
        return
    aliases = import_aliases(tree)
    for line, target in imports(tree, module, is_package=is_package):
        touched = outside_import(target)
        if touched:
            yield f"{module}:{line}: imports {target} ({touched})"
    for node in ast.walk(tree):
        touched = call_offence(node, aliases) if isinstance(node, ast.Call) else None
        if isinstance(node, ast.Call) and touched:
            yield f"{module}:{node.lineno}: calls {ast.unparse(node.func)} ({touched})"


SOURCES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=[module_name(path) for path in SOURCES])
def test_every_module_keeps_its_floor(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module, package = module_name(path), path.name == "__init__.py"
    found = [*storey_offences(tree, module, is_package=package), *purity_offences(tree, module, is_package=package)]
    assert not found, "\n".join(found)


FIRMWARE = Path(__file__).parents[1] / "firmware"

OF_THE_BOARD = {"machine", "network", "framebuf", "micropython", "select", "socket", "time", "sys"}
"""What only main.py and board.py of the firmware may import: all else runs on any Python."""

WAGON_OUTSIDE = {"store": {"os"}}
"""Module of the firmware -> what it may touch besides."""


def firmware_offences(tree: ast.AST, module: str) -> list[str]:
    """Imports by which a part of the firmware would no longer be pure, or would need the desk's package."""
    targets = {target.split(".")[0] for _, target in imports(tree, module, is_package=False)}
    outside = OF_THE_BOARD | {"os", "wayrule", "numpy", "pathlib", "struct"}
    return sorted(targets & outside - WAGON_OUTSIDE.get(module, set()))


@pytest.mark.parametrize("path", sorted((FIRMWARE / "wagon").glob("*.py")), ids=lambda path: path.stem)
def test_the_firmware_knows_the_board_in_one_place_only(path: Path) -> None:
    found = firmware_offences(ast.parse(path.read_text(encoding="utf-8")), path.stem)
    assert path.stem == "board" or not found


@pytest.mark.parametrize(
    "code", ["import machine", "from time import ticks_us", "import os", "from wayrule import units"]
)
def test_a_part_of_the_firmware_that_is_not_pure_is_found(code: str) -> None:
    assert firmware_offences(ast.parse(code), "sampler")


@pytest.mark.parametrize(
    ("module", "code"),
    [
        ("units", "import wayrule.model"),
        ("units", "from wayrule.errors import WayruleError"),
        ("model.wagon", "from wayrule.formats.recording import read"),
        ("model.wagon", "from wayrule import formats"),
        ("model.wagon", "from ..formats import recording"),
        ("maths.banded", "import wayrule.formats.recording as rec"),
        ("formats.recording", "from wayrule.maths import robust"),
        ("run.angle", "from wayrule.track import adjust"),
        ("track.adjust", "def f():\n    from wayrule.run import angle"),
        ("report.page", "from wayrule.pipeline import survey"),
        ("pipeline", "from wayrule.sim import railway"),
        ("sim.railway", "import wayrule.pipeline"),
        ("pipeline", "from wayrule.store import files"),
        ("store.files", "from wayrule.live import links"),
        ("store.files", "from wayrule.desk import survey"),
        ("desk.survey", "from wayrule.cli import progress"),
        ("track.adjust", "import wayrule"),
        ("track.adjust", "from wayrule import Survey"),
        ("web.pages.layouts", "from wayrule.cli import progress"),
        ("cli.main", "from wayrule import __version__"),
        ("shed.door", "import math"),
    ],
)
def test_an_import_that_does_not_point_down_is_found(module: str, code: str) -> None:
    assert list(storey_offences(ast.parse(code), module))


@pytest.mark.parametrize(
    ("module", "code"),
    [
        ("model.wagon", "import os"),
        ("model.wagon", "import os.path"),
        ("maths.robust", "from pathlib import Path"),
        ("formats.recording", "def f(name):\n    return open(name)"),
        ("formats.recording", "import io\nio.open('x')"),
        ("formats.recording", "def f(p):\n    p.write_text('x')"),
        ("formats.recording", "import polars as pl\npl.scan_csv('x')"),
        ("run.angle", "import numpy as np\nnp.loadtxt('x')"),
        ("run.angle", "import time"),
        ("run.angle", "from datetime import datetime"),
        ("run.angle", "import random"),
        ("run.angle", "import socket"),
        ("run.angle", "import subprocess"),
        ("run.angle", "print('x')"),
        ("sim.railway", "import numpy as np\nnp.random.default_rng()"),
        ("sim.railway", "import numpy as np\nnp.random.default_rng(None)"),
        ("sim.railway", "import numpy as np\nnp.random.default_rng(seed=None)"),
        ("sim.railway", "from numpy.random import default_rng as make\nmake()"),
        ("sim.railway", "import numpy\nnumpy.random.normal(0, 1)"),
        ("sim.railway", "import numpy as np\nnp.random.seed(1)"),
        ("pipeline", "import rich"),
        ("report.figures", "import matplotlib.pyplot as plt"),
        ("report.figures", "from matplotlib import pyplot"),
    ],
)
def test_what_touches_the_world_outside_is_found(module: str, code: str) -> None:
    assert list(purity_offences(ast.parse(code), module))


@pytest.mark.parametrize(
    ("module", "code"),
    [
        ("pipeline", "from wayrule.version import VERSION"),
        ("pipeline", "from wayrule.track import adjust\nfrom wayrule.run.angle import travel"),
        ("run.angle", "from .attitude import up\nfrom . import chainage\nfrom ..maths import robust"),
        ("formats.recording", "import io\nimport polars as pl\npl.read_csv(io.BytesIO(b'x'))"),
        ("sim.railway", "import numpy as np\ndef f(seed):\n    return np.random.default_rng(seed).normal()"),
        ("sim.railway", "import numpy as np\ndef f(rng: np.random.Generator):\n    return rng.normal()"),
        ("store.files", "import os\nfrom pathlib import Path\nopen('x')"),
        ("cli.main", "import sys\nfrom wayrule.store import files\nprint('x')"),
        ("__init__", "from wayrule.model import Survey"),
    ],
)
def test_what_is_allowed_passes(module: str, code: str) -> None:
    tree = ast.parse(code)
    assert not [*storey_offences(tree, module), *purity_offences(tree, module)]
