"""`--control FILE`: places whose coordinates or heading are known, as CSV."""

import math
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.dialect import find_dialect, plain_text, split_line
from wayrule.model import ColumnMap, Control

COLUMNS: Final = ("at", "x_mm", "y_mm", "z_mm", "heading_rad", "sd_mm", "z_sd_mm", "heading_sd_rad")

MAX_ROWS: Final = 10_000
"""Nobody tapes more points than that; a longer file is something else."""


class ControlError(WayruleError):
    """A file of control points that cannot be used."""


def read_control(data: bytes, name: str) -> tuple[Control, ...]:
    """Control points, in the order of the file; a blank cell is unknown.

    Parameters
    ----------
    data : bytes   columns `at` (start, end or a mark's name), x_mm, y_mm, z_mm, heading_rad, sd_mm, z_sd_mm,
                   heading_sd_rad, in any order; those that nobody measured may be left out

    Raises
    ------
    ControlError   naming line, column and value
    WayruleError   for a file that is no text table

    Examples
    --------
    >>> read_control(b"at,x_mm,y_mm,sd_mm\\nstart,0,0,1\\nbridge,1200,350,2\\n", "taped.csv")[1].x_mm
    1200.0
    """
    text = plain_text(data, name)
    dialect = find_dialect(text, ColumnMap(), name)
    header = [column.strip().lower() for column in dialect.header]
    _check_header(header, name)
    body = text[dialect.body_at :].decode("utf-8", errors="replace")
    found: list[Control] = []
    lines: dict[str, int] = {}
    for line, row in enumerate(body.split("\n"), start=dialect.header_line + 1):
        if not row.strip() or row.lstrip().encode().startswith(dialect.comments):
            continue
        if len(found) >= MAX_ROWS:
            raise ControlError(
                expected=f"at most {MAX_ROWS} control points", came="more", where=name, next_step="is this the file?"
            )
        control = _control(row.encode(), header, dialect.separator, dialect.decimal_comma, f"{name} line {line}")
        if control.at in lines:
            raise ControlError(
                expected="each place once",
                came=f"{control.at} in lines {lines[control.at]} and {line}",
                where=name,
                next_step="leave one of them off, or give their mean",
            )
        lines[control.at] = line
        found.append(control)
    if not found:
        raise ControlError(
            expected="a row for each control point", came="none", where=name, next_step="start,0,0 is a first one"
        )
    return tuple(found)


def _check_header(header: list[str], name: str) -> None:
    unknown = [column for column in header if column not in COLUMNS]
    if unknown or "at" not in header or len(set(header)) < len(header):
        came = f"unknown {', '.join(unknown)}" if unknown else f"{', '.join(header)}"
        raise ControlError(
            expected=f"the columns {', '.join(COLUMNS)}, each once and at among them",
            came=came,
            where=f"{name} header",
            next_step="name the columns so; those that nobody measured may be left out",
        )


def _control(row: bytes, header: list[str], separator: str, decimal_comma: bool, where: str) -> Control:
    cells = split_line(row, separator)
    if len(cells) > len(header) and not any(cells[len(header) :]):
        cells = cells[: len(header)]
    if len(cells) != len(header):
        raise ControlError(
            expected=f"{len(header)} columns as in the header",
            came=str(len(cells)),
            where=where,
            next_step="leave a cell blank, with its separator, where a value is unknown",
        )
    values = dict(zip(header, cells, strict=True))
    at = values.pop("at")
    word = at.lower() if at.lower() in ("start", "end") else at
    numbers = {k: _number(v.replace(",", ".") if decimal_comma else v, k, where) for k, v in values.items()}
    if all(math.isnan(numbers.get(key, math.nan)) for key in ("x_mm", "y_mm", "z_mm", "heading_rad")):
        raise ControlError(
            expected="at least one of x_mm and y_mm, z_mm, heading_rad",
            came=f"none for {at!r}",
            where=where,
            next_step="give a value, or leave the row out",
        )
    try:
        return Control(word, **numbers)
    except ValueError as error:
        raise ControlError(
            expected="a control point with the sd of each value",
            came=str(error),
            where=where,
            next_step="say how well it is known: sd_mm for x and y, z_sd_mm, heading_sd_rad",
        ) from None


def _number(cell: str, column: str, where: str) -> float:
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise ControlError(
            expected=f"a number or a blank in {column}",
            came=repr(cell),
            where=where,
            next_step="write mm and rad as plain numbers",
        )
    return value
