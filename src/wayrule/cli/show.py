"""Results for a person: the report's own sentences and tables, on a terminal."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from wayrule.cli.progress import console
from wayrule.model import Problem, Survey
from wayrule.report.tables import Table

if TYPE_CHECKING:
    from rich.table import Table as Grid

HARD_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " "})
"""No-break spaces keep a number together on a page; a terminal breaks no lines there and may not have the signs."""

NARROW = 110
"""Columns of a terminal below which a table's words and numbers do not stand side by side; tried."""


def say(*lines: str) -> None:
    """Print sentences, one a line."""
    out = console()
    for line in lines:
        out.print(line.translate(HARD_SPACES), soft_wrap=True)


def say_problems(problems: Iterable[Problem]) -> None:
    """What was found wrong in the input, a sentence each."""
    texts = list(dict.fromkeys(problem.text for problem in problems))
    say(*([f"- {text}" for text in texts] or ["No problem was found in the input."]))


def say_survey(survey: Survey, report: Path) -> None:
    """What a survey found, in the words of its report, and where the rest lies."""
    from wayrule.report.healthwords import health_lines
    from wayrule.report.lengths import lengths_for
    from wayrule.report.pairs import pair_sentence
    from wayrule.report.readings import result_sentences
    from wayrule.report.repeats import repeat_sentence

    lengths = lengths_for(survey.stations.length_mm, survey.ratio)
    say(*result_sentences(survey, lengths), *(pair_sentence(pair, lengths) for pair in survey.pairs))
    say(f"Run against run: {repeat_sentence(survey.repeats)}")
    say(*(_decided(*decision) for decision in survey.decisions), *survey.assumptions)
    say_problems(survey.problems)
    for travel in survey.travels:
        say(*health_lines(travel.health))
    say(f"Written: {report.parent} (report: {report}).")


def _decided(what: str, answer: str, why: str, overrule: str) -> str:
    """A choice that was made, in one line; what a person stated needs no way to overrule it."""
    told = why.rstrip(".")
    return f"Decided: {what}: {answer} ({told})" + ("." if why.startswith("stated") else f"; to overrule: {overrule}.")


def show(tables: Iterable[Table], *, aside: bool = False) -> None:
    """Print tables; one without rows is its one sentence, or nothing where it has none.

    `aside`: on a narrow terminal the last column, of words, comes below, a line for each row, named by its first cell.
    """
    out = console()
    for table in tables:
        if not table.rows:
            if table.empty:
                say(table.empty)
            continue
        below = aside and out.width < NARROW
        out.print(grid(table, len(table.heads) - below))
        if below:
            say(f"{table.heads[-1]}:", *(f"- {row[0]}: {row[-1]}" for row in table.rows if row[-1]), "")
        if table.note:
            say(table.note)


def grid(table: Table, columns: int | None = None) -> "Grid":
    """A table for the terminal, or its first so many columns."""
    from rich import box
    from rich.table import Table as Grid
    from rich.text import Text

    columns = len(table.heads) if columns is None else columns
    made = Grid(title=Text(table.caption), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    for head, numeric in zip(table.heads[:columns], table.numeric[:columns], strict=True):
        named = columns < len(table.heads) and head == table.heads[0]  # a row's name stays on one line
        made.add_column(Text(head), justify="right" if numeric else "left", no_wrap=named)
    for row in table.rows:
        made.add_row(*(Text(cell.translate(HARD_SPACES)) for cell in row[:columns]))
    return made
