"""One script from a fresh checkout to a result; it needs git, Python 3.11 or newer and nothing else.

python3 go.py demo             set up, then measure a made-up railway and open its report   (Windows: py go.py demo)
python3 go.py test             set up, then run every check
python3 go.py test tests/run   only these tests (whatever follows goes to pytest)
python3 go.py wayrule ...      the command line, e.g. go.py wayrule survey run.csv --wagon van.wagon.toml --out survey
python3 go.py benchmarks ...   the promised figures, e.g. go.py benchmarks survey --quick

Everything is installed into .venv inside the checkout and nowhere else; delete that folder to start anew.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  an older Python must still be able to read this line
    sys.exit(
        f"go.py: expected Python 3.11 or newer, came {sys.version_info[0]}.{sys.version_info[1]} ({sys.executable}); "
        "install one from python.org or your system's packages and run this script with it"
    )

import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import time
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
STAMP = VENV / "wayrule-stamp.json"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

NEEDED = {"": ["wayrule", "numpy"], "dev": ["pytest", "ruff", "mypy"], "bench": ["pytest", "ruff", "mypy"]}
"""Extra -> distributions whose presence shows that it was installed."""

CHECKS = (
    ("ruff check", ["-m", "ruff", "check", "."]),
    ("ruff format", ["-m", "ruff", "format", "--check", "."]),
    ("mypy", ["-m", "mypy"]),
    ("pytest", ["-m", "pytest", "-n", "auto"]),  # last, so that its summary closes the run
)

DOWNLOAD = re.compile(r"(?:Downloading|Using cached) (?:\S*/)?([^-/\s]+)-\S+(?<!\.metadata) \((.+?)\)")


class SetupError(Exception):
    """Set-up cannot go on; the text is the one line a person sees."""


def say(text: str) -> None:
    """One line of progress; on stderr, so that `--json` keeps stdout to itself."""
    print(text, file=sys.stderr, flush=True)


def fingerprint() -> str:
    """Digest of all that decides what has to be installed: pyproject.toml, the Python, and where the checkout lies."""
    parts = [(ROOT / "pyproject.toml").read_bytes(), repr(sys.version_info[:2]).encode(), str(ROOT).encode()]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def child_environment() -> "dict[str, str]":
    """The caller's environment without what would lead our Python to somebody else's packages."""
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONHOME", "PYTHONPATH", "__PYVENV_LAUNCHER__")}
    return {**env, "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_USER": "0"}


def answers(code: str) -> bool:
    """Whether the environment's Python starts and runs `code` without an error."""
    try:
        run = subprocess.run([str(PYTHON), "-c", code], env=child_environment(), capture_output=True, check=False)
    except OSError:
        return False
    return run.returncode == 0


def installed_extras() -> "set[str]":
    """Extras that the stamp vouches for and that are really there; empty when anything has changed."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
        if stamp["fingerprint"] != fingerprint():
            return set()
        extras = {str(extra) for extra in stamp["extras"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    names = sorted({name for extra in extras for name in NEEDED.get(extra, [])})
    return extras if answers(f"import importlib.metadata as m; [m.version(n) for n in {names!r}]") else set()


def make_environment() -> None:
    """Make .venv, or make it anew when it is half made, does not start, or belongs to another Python."""
    own_pip = importlib.util.find_spec("ensurepip") is not None
    if not own_pip and importlib.util.find_spec("pip") is None:
        raise SetupError(
            "expected Python's own `venv` and `ensurepip` modules, came a Python without them "
            f"({sys.executable}); on Debian and Ubuntu: sudo apt install python3-venv, then run this again"
        )
    if VENV.exists():
        same = f"import sys; assert sys.version_info[:2] == {sys.version_info[:2]}"
        if answers(f"{same}; import pip" if own_pip else same):
            return
        say(f"  {VENV.name} is half made or of another Python: making it anew")
        try:
            shutil.rmtree(VENV)
        except OSError as error:
            raise SetupError(
                f"expected to make {VENV} anew, came {error}; end what still runs from it, delete it by hand, "
                "then run this again"
            ) from error
    say(f"  making {VENV.name} with Python {sys.version.split()[0]}")
    venv.EnvBuilder(with_pip=own_pip, symlinks=os.name != "nt").create(VENV)


def pip_command() -> "list[str]":
    """The environment's own pip, or this Python's pip pointed at it where `ensurepip` is missing."""
    if importlib.util.find_spec("ensurepip") is not None:
        return [str(PYTHON), "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", str(PYTHON)]


def install(extra: str) -> None:
    """Install the checkout, editable, with `extra`; shows each package as it comes."""
    target = f".[{extra}]" if extra else "."
    command = [*pip_command(), "install", "--editable", target]
    lines = []
    with subprocess.Popen(
        command,
        cwd=ROOT,
        env=child_environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    ) as pip:
        assert pip.stdout is not None
        for line in pip.stdout:
            lines.append(line.rstrip())
            found = DOWNLOAD.search(line)
            if found:
                say(f"  {found[1].replace('_', '-')} ({found[2]})")
            elif line.startswith("Installing collected"):
                say("  unpacking")
    if pip.returncode:
        say("\n".join(lines[-12:]))
        raise SetupError(
            f"expected pip to install {target}, came exit code {pip.returncode} (its last lines stand above); "
            "check that the package index can be reached, then run this again"
        )


def set_up(extra: str) -> None:
    """Bring .venv to what `extra` needs; does nothing, in a fraction of a second, when it is there already."""
    have = installed_extras()
    if "" in have and extra in have:
        return
    began = time.monotonic()
    say("Setting up Wayrule inside this checkout (once; a minute or two on a common line)")
    make_environment()
    STAMP.unlink(missing_ok=True)
    install(extra)
    known = {"fingerprint": fingerprint(), "extras": sorted(have | {"", extra})}
    STAMP.write_text(json.dumps(known), encoding="utf-8")
    say(f"  ready after {time.monotonic() - began:.0f} s")


def run(arguments: "list[str]", cwd: "Path | None" = None) -> int:
    """Run the environment's Python; Ctrl-C goes to it, and its exit code comes back."""
    child = subprocess.Popen([str(PYTHON), *arguments], cwd=cwd, env=child_environment())
    while True:
        try:
            return child.wait()
        except KeyboardInterrupt:
            continue  # the child has had it too and ends by itself


def check_all() -> int:
    """Every check; pytest's summary comes last, then a line for whatever else fell."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the tests run on all cores already
    fallen = []
    for name, arguments in CHECKS:
        say(f"== {name}")
        if run(arguments, ROOT):
            fallen.append(name)
    if fallen:
        say(f"go.py: not all checks passed: {', '.join(fallen)}")
    return 1 if fallen else 0


def main(arguments: "list[str]") -> int:
    """Read the words, set up, run."""
    verb, rest = (arguments[0], arguments[1:]) if arguments else ("", [])
    if verb in ("", "-h", "--help", "help"):
        print(__doc__)
        return 0 if verb else 2
    if verb not in ("demo", "test", "wayrule", "benchmarks"):
        say(f"go.py: expected demo, test, wayrule or benchmarks, came {verb!r}; `go.py --help` shows how")
        return 2
    set_up({"test": "dev", "benchmarks": "bench"}.get(verb, ""))
    if verb == "test":
        return run(["-m", "pytest", *rest], ROOT) if rest else check_all()
    if verb == "benchmarks":
        return run(["-m", "benchmarks", *rest], ROOT)
    return run(["-m", "wayrule", *(["demo"] if verb == "demo" else []), *rest])


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except SetupError as error:
        sys.exit(f"go.py: {error}")
    except KeyboardInterrupt:
        say("\ngo.py: stopped; run it again to go on where it was")
        sys.exit(130)
