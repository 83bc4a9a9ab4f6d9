"""The command as a whole: known errors are one line and exit code 2, a defect keeps its trace."""

import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from wayrule import __version__
from wayrule.cli import main as cli
from wayrule.errors import RecordingError

MADE_UP = {"roll": f"{__name__}:roll"}


@click.command()
@click.argument("run")
@click.option("--wagon", required=True)
@click.option("--laps", type=click.IntRange(min=1))
@click.option("--step", type=float)
def roll(run: str, wagon: str, laps: int | None, step: float | None) -> None:  # noqa: ARG001
    if run == "defect":
        raise ZeroDivisionError
    if run == "stop":
        raise KeyboardInterrupt
    if run == "full":
        raise OSError(28, "No space left on device", "out.csv")
    if run == "bare":
        raise OSError(5, "Input/output error")
    if run == "bad":
        raise RecordingError(expected="a time column", came="none", where=run, next_step="name it")
    click.echo("rolled")


@pytest.fixture(autouse=True)
def verbs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "VERBS", MADE_UP)
    monkeypatch.setitem(sys.modules, __name__, sys.modules[roll.callback.__module__])  # type: ignore[union-attr]


def test_a_good_command_ends_with_zero(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["roll", "good", "--wagon", "w"]) == 0
    assert capsys.readouterr().out == "rolled\n"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["roll", "bad", "--wagon", "w"], "bad: expected a time column, came none; name it"),
        (
            ["rol"],
            "wayrule: expected one of roll, came 'rol'; did you mean roll? `wayrule --help` shows what each does",
        ),
        (
            ["roll", "x", "--wagn", "w"],
            "wayrule roll: expected one of its options, came --wagn; did you mean --wagon? "
            "`wayrule roll --help` shows an example",
        ),
        (["roll", "x"], "wayrule roll: expected --wagon, came nothing; `wayrule roll --help` shows an example"),
        (
            ["roll", "--wagon", "w"],
            "wayrule roll: expected RUN, came nothing; `wayrule roll --help` shows an example",
        ),
        (
            ["roll", "x", "--wagon", "w", "--step", "five"],
            "wayrule roll --step: expected a number, came this: 'five' is not a valid float; "
            "`wayrule roll --help` shows an example",
        ),
        (
            ["roll", "x", "--wagon", "w", "--laps", "0"],
            "wayrule roll --laps: expected a whole number, came this: 0 is not in the range x>=1; "
            "`wayrule roll --help` shows an example",
        ),
        (
            ["roll", "x", "y", "--wagon", "w"],
            "wayrule roll: expected words that fit, came this: got unexpected extra argument (y); "
            "`wayrule roll --help` shows an example",
        ),
        (
            ["roll", "full", "--wagon", "w"],
            "out.csv: expected to be able to use it, came No space left on device; "
            "look at its permissions and at the space left on the disk",
        ),
    ],
)
def test_a_known_error_is_one_line_and_exit_code_2(
    words: list[str], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(words) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == line.replace("wayrule", "wayrule", 1) + "\n"


def test_ctrl_c_ends_with_130(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["roll", "stop", "--wagon", "w"]) == 130
    assert capsys.readouterr().err.strip() == "wayrule: stopped"


@pytest.mark.parametrize(("run", "kind"), [("defect", ZeroDivisionError), ("bare", OSError)])
def test_a_defect_keeps_its_trace(run: str, kind: type[Exception]) -> None:
    with pytest.raises(kind):
        cli.run(["roll", run, "--wagon", "w"])


def test_no_words_show_the_help_and_are_an_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run([]) == 2
    assert "Usage: wayrule" in capsys.readouterr().err


def test_version_is_quick_because_nothing_heavy_is_imported() -> None:
    heavy = "{'numpy', 'scipy', 'polars', 'matplotlib', 'rich'}"
    code = f"import sys, wayrule.cli.main; print(sorted({heavy} & set(sys.modules)))"
    env = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2] / "src")}
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
    assert run.stdout.strip() == "[]"


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out == f"wayrule {__version__}\n"
