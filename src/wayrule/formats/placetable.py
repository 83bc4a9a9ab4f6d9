"""Tables of what is known of places: words that name places, numbers beside them; a blank cell is unknown."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from wayrule.errors import WayruleError
from wayrule.formats.dialect import find_dialect, plain_text, split_line
from wayrule.model import ColumnMap


@dataclass(frozen=True, slots=True)
class PlaceTable:
    """What such a table holds.

    of        what a row is ("control point"), for people
    places    columns that name places, all of them needed; numbers: the others, any of which may be left out
    most      more rows are something else
    example   a first row, for people
    error     what is raised
    """

    of: str
    places: tuple[str, ...]
    numbers: tuple[str, ...]
    most: int
    example: str
    error: type[WayruleError]

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns."""
        return self.places + self.numbers


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One row: the places' names (`start` and `end` in small letters), the numbers (NaN = unknown), where it stood."""

    places: tuple[str, ...]
    numbers: dict[str, float]
    where: str


def read_places(data: bytes, name: str, table: PlaceTable) -> Iterator[PlaceRow]:
    """The rows of a file, in its order; each set of places once.

    Raises
    ------
    table.error    naming line, column and value
    WayruleError   for a file that is no text table
    """
    text = plain_text(data, name)
    dialect = find_dialect(text, ColumnMap(), name)
    header = [column.strip().lower() for column in dialect.header]
    _check_header(header, name, table)
    body = text[dialect.body_at :].decode("utf-8", errors="replace")
    lines: dict[frozenset[str], int] = {}
    for line, row in enumerate(body.split("\n"), start=dialect.header_line + 1):
        if not row.strip() or row.lstrip().encode().startswith(dialect.comments):
            continue
        if len(lines) >= table.most:
            raise table.error(
                expected=f"at most {table.most} {table.of}s", came="more", where=name, next_step="is this the file?"
            )
        cells = _cells(split_line(row.encode(), dialect.separator), len(header), f"{name} line {line}", table)
        one = _row(cells, header, dialect.decimal_comma, f"{name} line {line}", table)
        which = frozenset(one.places)
        if which in lines:
            raise table.error(
                expected=f"each {'place' if len(table.places) == 1 else 'pair of places'} once",
                came=f"{' and '.join(one.places)} in lines {lines[which]} and {line}",
                where=name,
                next_step="leave one of them off, or give their mean",
            )
        lines[which] = line
        yield one
    if not lines:
        raise table.error(
            expected=f"a row for each {table.of}",
            came="none",
            where=name,
            next_step=f"{table.example} is a first one",
        )


def _check_header(header: list[str], name: str, table: PlaceTable) -> None:
    unknown = [column for column in header if column not in table.columns]
    if unknown or not set(table.places) <= set(header) or len(set(header)) < len(header):
        came = f"unknown {', '.join(unknown)}" if unknown else f"{', '.join(header)}"
        raise table.error(
            expected=f"the columns {', '.join(table.columns)}, each once and {' and '.join(table.places)} among them",
            came=came,
            where=f"{name} header",
            next_step="name the columns so; those that nobody measured may be left out",
        )


def _cells(cells: list[str], count: int, where: str, table: PlaceTable) -> list[str]:
    """A row's cells, empty ones beyond the header dropped."""
    if len(cells) > count and not any(cells[count:]):
        cells = cells[:count]
    if len(cells) != count:
        raise table.error(
            expected=f"{count} columns as in the header",
            came=str(len(cells)),
            where=where,
            next_step="leave a cell blank, with its separator, where a value is unknown",
        )
    return cells


def _row(cells: list[str], header: list[str], decimal_comma: bool, where: str, table: PlaceTable) -> PlaceRow:
    values = dict(zip(header, cells, strict=True))
    places = tuple(_place(values.pop(column)) for column in table.places)
    numbers = dict.fromkeys(table.numbers, math.nan)
    for column, cell in values.items():
        numbers[column] = _number(cell.replace(",", ".") if decimal_comma else cell, column, where, table)
    return PlaceRow(places, numbers, where)


def _place(word: str) -> str:
    return word.lower() if word.lower() in ("start", "end") else word


def _number(cell: str, column: str, where: str, table: PlaceTable) -> float:
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise table.error(
            expected=f"a number or a blank in {column}",
            came=repr(cell),
            where=where,
            next_step="write mm and rad as plain numbers",
        )
    return value
