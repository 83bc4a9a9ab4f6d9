"""The root script: what it decides without a network; what it installs is seen by running it on a fresh clone."""

import importlib.util
import json
import subprocess
import sys
import types
import venv
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[1] / "go.py"


@pytest.fixture
def go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> types.ModuleType:
    """The script as a module whose checkout is an empty folder with a space in its path."""
    spec = importlib.util.spec_from_file_location("go", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    root = tmp_path / "a checkout"
    root.mkdir()
    (root / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    python = root / ".venv" / module.PYTHON.relative_to(module.VENV)
    for name, value in {"ROOT": root, "VENV": root / ".venv", "PYTHON": python}.items():
        monkeypatch.setattr(module, name, value)
    monkeypatch.setattr(module, "STAMP", root / ".venv" / module.STAMP.name)
    monkeypatch.setattr(module, "NEEDED", {"": [], "dev": ["no-such-distribution"]})
    return module


@pytest.fixture
def bare(go: types.ModuleType) -> types.ModuleType:
    """The same with an environment that has a Python but no pip: quick to make."""
    venv.EnvBuilder(with_pip=False, symlinks=sys.platform != "win32").create(go.VENV)
    return go


def stamp(go: types.ModuleType, *extras: str, fingerprint: str | None = None) -> None:
    known = {"fingerprint": fingerprint or go.fingerprint(), "extras": list(extras)}
    go.STAMP.write_text(json.dumps(known), encoding="utf-8")


def test_an_old_python_gets_one_clear_line() -> None:
    # the gate is run with a version that is too old; nothing below it may run
    code = (
        "import sys, collections; V = collections.namedtuple('V', 'major minor micro'); sys.version_info = V(3, 9, 2);"
        f"exec(compile(open({str(SCRIPT)!r}, encoding='utf-8').read(), 'go.py', 'exec'))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 1
    assert run.stderr.startswith("go.py: expected Python 3.11 or newer, came 3.9 (")
    assert run.stderr.count("\n") == 1


def test_an_older_parser_can_read_the_script() -> None:
    import ast

    assert ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 7)).body
    with pytest.raises(SyntaxError):  # such a parser does refuse what came later
        ast.parse("match 1:\n    case 1: pass", feature_version=(3, 7))


def test_nothing_is_installed_without_a_stamp(bare: types.ModuleType) -> None:
    assert bare.installed_extras() == set()


def test_a_stamp_is_believed_while_nothing_has_changed(bare: types.ModuleType) -> None:
    stamp(bare, "")
    assert bare.installed_extras() == {""}
    (bare.ROOT / "pyproject.toml").write_text("[project]\ndependencies = ['x']\n", encoding="utf-8")
    assert bare.installed_extras() == set()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"fingerprint": "x"}', "\x00"])
def test_a_damaged_stamp_is_not_believed(bare: types.ModuleType, text: str) -> None:
    bare.STAMP.write_text(text, encoding="utf-8")
    assert bare.installed_extras() == set()


def test_a_stamp_is_not_believed_when_a_package_has_gone(bare: types.ModuleType) -> None:
    stamp(bare, "", "dev")
    assert bare.installed_extras() == set()


def test_a_stamp_is_not_believed_when_the_python_has_gone(bare: types.ModuleType) -> None:
    stamp(bare, "")
    bare.PYTHON.unlink()
    assert bare.installed_extras() == set()


def test_the_second_time_does_nothing(bare: types.ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    stamp(bare, "")
    done: list[str] = []
    monkeypatch.setattr(bare, "make_environment", lambda: done.append("made"))
    monkeypatch.setattr(bare, "install", lambda extra: done.append(f"installed {extra}"))
    bare.set_up("")
    assert done == []
    bare.STAMP.unlink()
    bare.set_up("")
    assert done, "without its stamp it does work"


def test_a_half_made_environment_is_made_anew(go: types.ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    go.VENV.mkdir()
    (go.VENV / "pyvenv.cfg").write_text("half", encoding="utf-8")
    go.make_environment()
    assert go.answers("import pip")
    assert "making it anew" in capsys.readouterr().err


def test_a_python_without_venv_and_pip_gets_one_clear_line(
    go: types.ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)  # noqa: ARG005
    with pytest.raises(go.SetupError, match="sudo apt install python3-venv"):
        go.make_environment()


def test_without_ensurepip_this_pythons_pip_installs_into_the_environment(
    go: types.ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "ensurepip" else object())
    go.make_environment()
    assert go.answers("import sys; assert sys.prefix != sys.base_prefix")
    assert go.pip_command() == [sys.executable, "-m", "pip", "--python", str(go.PYTHON)]


def test_a_failing_install_leaves_no_stamp_and_says_what_to_do(
    bare: types.ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(bare, "make_environment", lambda: None)
    fails = [sys.executable, "-c", "print('no route to the index'); raise SystemExit(1)"]
    monkeypatch.setattr(bare, "pip_command", lambda: fails)
    with pytest.raises(bare.SetupError, match="check that the package index can be reached"):
        bare.set_up("")
    assert "no route to the index" in capsys.readouterr().err
    assert not bare.STAMP.exists()


def test_progress_names_each_package_with_its_size(
    bare: types.ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = [
        "Collecting numpy>=2.0",
        "  Downloading numpy-2.3.1-cp311-cp311-win_amd64.whl.metadata (60 kB)",
        "Downloading numpy-2.3.1-cp311-cp311-win_amd64.whl (13.0 MB)",
        "Using cached https://index.example/scipy_stubs-1.16.0-py3-none-any.whl (550 kB)",
        "Installing collected packages: numpy",
    ]
    monkeypatch.setattr(bare, "pip_command", lambda: [sys.executable, "-c", f"print({chr(10).join(lines)!r})"])
    bare.install("")
    assert capsys.readouterr().err.splitlines() == ["  numpy (13.0 MB)", "  scipy-stubs (550 kB)", "  unpacking"]


@pytest.mark.parametrize(
    ("words", "ran"),
    [
        (["demo", "--seed", "2"], ["-m", "wayrule", "demo", "--seed", "2"]),
        (["wayrule", "survey", "a b.csv"], ["-m", "wayrule", "survey", "a b.csv"]),
        (["benchmarks", "survey", "--quick"], ["-m", "benchmarks", "survey", "--quick"]),
        (["test", "tests/run", "-k", "x"], ["-m", "pytest", "tests/run", "-k", "x"]),
    ],
)
def test_words_are_handed_on(
    go: types.ModuleType, monkeypatch: pytest.MonkeyPatch, words: list[str], ran: list[str]
) -> None:
    seen = []
    monkeypatch.setattr(go, "set_up", lambda extra: None)  # noqa: ARG005
    monkeypatch.setattr(go, "run", lambda arguments, cwd=None: seen.append(arguments) or 7)  # noqa: ARG005
    assert go.main(words) == 7
    assert seen == [ran]


def test_all_checks_run_and_pytest_closes(go: types.ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    monkeypatch.setattr(go, "set_up", lambda extra: seen.append(extra))
    monkeypatch.setattr(go, "run", lambda arguments, cwd=None: seen.append(arguments[1]) or arguments[1] == "mypy")  # noqa: ARG005
    assert go.main(["test"]) == 1, "a fallen check must not be hidden by those after it"
    assert seen == ["dev", "ruff", "ruff", "mypy", "pytest"]


def test_an_unknown_word_is_one_line_and_exit_code_2(go: types.ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert go.main(["tset"]) == 2
    assert capsys.readouterr().err == (
        "go.py: expected demo, test, wayrule or benchmarks, came 'tset'; `go.py --help` shows how\n"
    )
