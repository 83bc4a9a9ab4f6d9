"""The docs keep their word: examples run, every name has its line, every command and option its place."""

import dataclasses
import doctest
import importlib
import os
import pkgutil
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

import wayrule
import wayrule.model
from tests.report.sample import survey
from tests.world import World
from wayrule.cli import main as cli
from wayrule.desk.demonstration import write_scene
from wayrule.desk.scene import heather_vale
from wayrule.desk.surveying import survey as survey_runs
from wayrule.errors import WayruleError
from wayrule.formats.wagonfile import read_wagon
from wayrule.model.track import STATION_COLUMNS
from wayrule.store import write_survey

ROOT = Path(__file__).parents[1]
PAGES = [
    *sorted(ROOT.glob("*.md")),
    *(p for d in ("docs", "examples", "firmware") for p in sorted((ROOT / d).rglob("*.md"))),
]
WORDS = (ROOT / "docs" / "words.md").read_text(encoding="utf-8")
FENCE = re.compile(r"^```(\w+)[^\n]*\n(.*?)^```", re.MULTILINE | re.DOTALL)


def fenced(page: Path, language: str) -> list[str]:
    """The fenced blocks of one language on a page."""
    return [code for kind, code in FENCE.findall(page.read_text(encoding="utf-8")) if kind == language]


def module_names() -> list[str]:
    """Every module of the package."""
    return [
        "wayrule",
        *(m.name for m in pkgutil.walk_packages(wayrule.__path__, "wayrule.") if "__main__" not in m.name),
    ]


@pytest.mark.parametrize("name", [*module_names(), "benchmarks.row"])
def test_examples_in_docstrings_run(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.failed == 0


@pytest.mark.parametrize("path", sorted((ROOT / "firmware/wagon").glob("*.py")), ids=lambda path: path.stem)
def test_examples_in_the_firmware_run(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(ROOT / "firmware"))
    assert doctest.testmod(importlib.import_module(f"wagon.{path.stem}")).failed == 0


def test_a_wrong_example_would_be_seen() -> None:
    module = type(sys)("planted")
    module.__doc__ = ">>> 1 + 1\n3\n"
    assert doctest.testmod(module, report=False, verbose=False).failed == 1


@pytest.mark.parametrize(
    "page", [p for p in PAGES if fenced(p, "python")], ids=lambda page: str(page.relative_to(ROOT))
)
def test_python_on_a_page_runs(page: Path, reader: Path) -> None:
    blocks = fenced(page, "python")
    if blocks:
        env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
        code = "\n".join(blocks)  # one reader, one session: later blocks may use earlier names
        run = subprocess.run(
            [sys.executable, "-c", code], cwd=reader, env=env, capture_output=True, text=True, check=False
        )
        assert run.returncode == 0, run.stderr


def commands(page: Path) -> list[list[str]]:
    """The `wayrule` commands in the shell blocks of a page, as words."""
    lines = "\n".join(fenced(page, "sh")).replace("\\\n", " ").splitlines()
    return [shlex.split(line)[1:] for line in lines if line.startswith("wayrule ")]


def distinct_commands() -> list[str]:
    """Each command of the pages once; its answer does not depend on the page."""
    return list(dict.fromkeys(shlex.join(words) for page in PAGES for words in commands(page)))


@pytest.mark.parametrize("command", distinct_commands())
def test_commands_on_the_pages_run(command: str, reader: Path, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ARG001
    assert cli.run(shlex.split(command)) == 0, capsys.readouterr().err


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What `wayrule demo` writes before it surveys, at a quarter of its rate to save time."""
    folder = tmp_path_factory.mktemp("demo")
    write_scene(heather_vale(7, 50.0), folder)
    return folder


@pytest.fixture(scope="session")
def survey_folders(tmp_path_factory: pytest.TempPathFactory, world: World) -> Path:
    """Three surveys of one line, as folders, and what `survey` makes of the reader's own monday."""
    folder = tmp_path_factory.mktemp("surveys")
    for name in ("spring", "summer", "autumn"):
        write_survey(folder / name, survey(), "")
    survey_runs(f"{world.run('monday')}@laps=4", world.wagon, out=folder / "survey")
    return folder


@pytest.fixture
def reader(
    tmp_path: Path, world: World, demo_folder: Path, survey_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """The folder of a reader who follows a page: own recordings and surveys, the examples, and what `demo` writes."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    shutil.copytree(world.folder, tmp_path, dirs_exist_ok=True)
    shutil.copytree(demo_folder, tmp_path / "heather-vale")
    shutil.copytree(survey_folders, tmp_path, dirs_exist_ok=True)
    monkeypatch.setattr("wayrule.desk.demonstration.heather_vale", lambda seed: heather_vale(seed, 50.0))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_wagon_files_on_a_page_are_valid(page: Path) -> None:
    for block in fenced(page, "toml"):
        assert read_wagon(block.encode(), page.name).gauge_mm > 0


def test_pages_show_wagon_files_and_a_broken_one_would_be_seen() -> None:
    blocks = [block for page in PAGES for block in fenced(page, "toml")]
    assert len(blocks) >= 1
    with pytest.raises(WayruleError):
        read_wagon(blocks[0].replace("gauge_mm", "guage_mm").encode(), "page")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8")):
        if not re.match(r"[a-z]+:", target):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def field_names() -> list[str]:
    """Every field of the shared types, once."""
    types = [getattr(wayrule.model, name) for name in wayrule.model.__all__]
    return sorted({f.name for kind in types if dataclasses.is_dataclass(kind) for f in dataclasses.fields(kind)})


@pytest.mark.parametrize("name", [*field_names(), *STATION_COLUMNS, "scale_km_h", "scale_mph"])
def test_every_field_and_column_stands_in_the_glossary(name: str) -> None:
    assert f"`{name}`" in WORDS, f"docs/words.md says nothing about {name}"


def test_every_decision_stands_in_the_list() -> None:
    listed = set(re.findall(r"\((\d{4}-[\w-]+\.md)\)", (ROOT / "docs/decisions/README.md").read_text(encoding="utf-8")))
    assert listed == {page.name for page in (ROOT / "docs/decisions").glob("0*.md")}


def test_every_folder_stands_on_the_architecture_page() -> None:
    page = (ROOT / "docs/ARCHITECTURE.md").read_text(encoding="utf-8")
    names = {path.stem for path in (ROOT / "src/wayrule").iterdir() if not path.name.startswith(("_", "py.typed"))}
    assert [name for name in sorted(names) if f"`{name}`" not in page] == []


def options() -> list[tuple[str, str]]:
    """(verb, option or argument) of the whole command line."""
    context = click.Context(cli.wayrule)
    return [
        (verb, spelling)
        for verb in cli.VERBS
        for parameter in cli.wayrule.get_command(context, verb).params
        for spelling in (parameter.opts if isinstance(parameter, click.Option) else [parameter.human_readable_name])
    ]


def section(verb: str) -> str:
    """What docs/commands.md says about a verb."""
    page = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    found = re.search(rf"^## {verb}$(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


@pytest.mark.parametrize(("verb", "option"), options())
def test_every_option_stands_in_the_manual(verb: str, option: str) -> None:
    assert f"`{option}" in section(verb), f"docs/commands.md, section {verb}, says nothing about {option}"


@pytest.mark.parametrize("verb", list(cli.VERBS))
def test_every_help_text_holds_an_example(verb: str) -> None:
    help_text = cli.wayrule.get_command(click.Context(cli.wayrule), verb).help or ""
    assert f"wayrule {verb}" in help_text


def test_the_manual_has_no_verb_or_option_that_is_gone() -> None:
    page = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^## (\w+)$", page, re.MULTILINE)) == set(cli.VERBS)
    known = {option for _, option in options()} | {"--help", "--version"}
    assert set(re.findall(r"`(--[\w-]+)", page)) <= known
