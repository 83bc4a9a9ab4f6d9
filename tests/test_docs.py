"""The docs keep their word: examples run, every name has its line, every command and option its place."""

import dataclasses
import doctest
import importlib
import os
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

import wayrule
import wayrule.model
from wayrule.cli import main as cli
from wayrule.model.track import STATION_COLUMNS

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").rglob("*.md"))]
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


def test_a_wrong_example_would_be_seen() -> None:
    module = type(sys)("planted")
    module.__doc__ = ">>> 1 + 1\n3\n"
    assert doctest.testmod(module, report=False, verbose=False).failed == 1


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_python_on_a_page_runs(page: Path, tmp_path: Path) -> None:
    blocks = fenced(page, "python")
    if blocks:
        env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
        code = "\n".join(blocks)  # one reader, one session: later blocks may use earlier names
        run = subprocess.run(
            [sys.executable, "-c", code], cwd=tmp_path, env=env, capture_output=True, text=True, check=False
        )
        assert run.returncode == 0, run.stderr


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
