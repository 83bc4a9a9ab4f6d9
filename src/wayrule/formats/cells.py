"""Rows of text to columns of numbers, by a fast reader; what is no number becomes NaN, counted and placed."""

from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.columns import Use
from wayrule.formats.dialect import Dialect
from wayrule.formats.lines import Rows
from wayrule.formats.problems import many, place, problem
from wayrule.model import Problem
from wayrule.model.arrays import Array

EMPTY: Final = ("", "nan", "na", "n/a", "null", "none", "-")
"""How loggers write a reading they do not have, in lower case."""

MAX_TEXT_SHARE: Final = 0.5
"""A column with more texts than this share is not a column of numbers."""


def read_cells(
    rows: Rows, dialect: Dialect, uses: tuple[Use, ...], name: str
) -> tuple[dict[int, Array], list[str | None] | None, list[Problem]]:
    """Parse the used columns.

    Returns
    -------
    numbers   index of the column -> (n,) values as written, NaN where there is none
    marks     (n,) texts, or None without a mark column
    problems  texts among numbers, and empty cells

    Raises
    ------
    RecordingError   for a column of texts
    """
    wanted = {u.index: u.meaning.kind for u in uses if u.meaning}
    frame = _parse(rows.text, dialect, {i: pl.String if kind == "mark" else pl.Float64 for i, kind in wanted.items()})
    numbers: dict[int, Array] = {}
    marks: list[str | None] | None = None
    doubtful = []
    for index, kind in wanted.items():
        column = frame.get_column(str(index))
        if kind == "mark":
            marks = column.to_list()
            continue
        values = column.to_numpy()  # a view where nothing is missing
        known = np.isfinite(values)
        if not known.all():
            values = np.where(known, values, np.nan)
            doubtful.append(index)
        numbers[index] = values
    return numbers, marks, _missing(rows, dialect, {u.index: u.theirs for u in uses}, doubtful, numbers, name)


def _parse(text: bytes, dialect: Dialect, types: dict[int, type[pl.DataType]]) -> pl.DataFrame:
    schema = {str(k): types.get(k, pl.String) for k in range(len(dialect.header))}
    return pl.read_csv(
        text,
        has_header=False,
        schema=schema,
        columns=sorted(types),
        separator=dialect.separator,
        decimal_comma=dialect.decimal_comma,
        ignore_errors=True,
    )


def _missing(
    rows: Rows, dialect: Dialect, theirs: dict[int, str], doubtful: list[int], numbers: dict[int, Array], name: str
) -> list[Problem]:
    """Tell empty cells from texts by reading the doubtful columns once more, as text."""
    if not doubtful:
        return []
    frame = _parse(rows.text, dialect, dict.fromkeys(doubtful, pl.String))
    problems = []
    for k in doubtful:
        missing = np.isnan(numbers[k])
        words = frame.get_column(str(k)).fill_null("").str.strip_chars().str.to_lowercase()
        empty = missing & words.is_in(list(EMPTY)).to_numpy()
        texts = missing & ~empty
        count = int(texts.sum())
        if count > MAX_TEXT_SHARE * len(texts):
            first = int(np.flatnonzero(texts)[0])
            raise RecordingError(
                expected=f"numbers in column {theirs[k]}",
                came=f"{frame.get_column(str(k))[first]!r}, and {count} of {len(texts)} cells so",
                where=f"{name} line {rows.lines[first]}",
                next_step=_advice(str(frame.get_column(str(k))[first])),
            )
        if count:
            what = f"{many(count, 'cell')} of {theirs[k]} without a number"
            problems.append(problem("not a number", what, place(rows.lines[texts]), "marked missing", count=count))
        count = int(empty.sum())
        if count:
            what = f"{many(count, 'empty cell')} in {theirs[k]}"
            problems.append(problem("empty cells", what, place(rows.lines[empty]), "marked missing", count=count))
    return problems


def _advice(cell: str) -> str:
    if "," in cell:
        return 'if the comma is a decimal comma, state decimal = "," in the [columns] table'
    if ":" in cell:
        return "write the time as seconds, or as a sample number with rate_hz in the [columns] table"
    return "leave the column out, or map another one in the [columns] table"


def texts_at(marks: list[str | None], keep: NDArray[np.int64]) -> list[str | None]:
    """The marks of some rows."""
    return [marks[k] for k in keep]
