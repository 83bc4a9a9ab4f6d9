"""`findings.csv`: every finding of a judgement."""

import math
from collections.abc import Sequence
from typing import Any

import polars as pl

from wayrule.errors import WayruleError
from wayrule.model import Finding
from wayrule.model.finding import FINDING_COLUMNS

DECIMALS = {"s_mm": 1, "s0_mm": 1, "s1_mm": 1, "x_mm": 1, "y_mm": 1, "mark_mm": 1}
DIGITS = 6
NUMBERS = ("s_mm", "s0_mm", "s1_mm", "x_mm", "y_mm", "size", "sd", "limit", "mark_mm")


def write_findings(findings: Sequence[Finding]) -> bytes:
    """`findings.csv`, the columns of `FINDING_COLUMNS`; an empty cell where a number is not known."""
    columns = {name: [_cell(name, getattr(f, name)) for f in findings] for name in FINDING_COLUMNS}
    return pl.DataFrame(columns, schema=dict.fromkeys(FINDING_COLUMNS, pl.String)).write_csv().encode()


def read_findings(data: bytes, name: str) -> tuple[Finding, ...]:
    """Findings of a `findings.csv`.

    Raises
    ------
    WayruleError   for a missing column, or a cell that is not as `wayrule judge` writes it, with its line
    """
    try:
        frame = pl.read_csv(data, infer_schema=False).fill_null("")
    except pl.exceptions.PolarsError as error:
        raise _refused(str(error).splitlines()[0], name) from None
    missing = [column for column in FINDING_COLUMNS if column not in frame.columns]
    if missing:
        raise _refused(f"no {', '.join(missing)}", name)
    out = []
    for number, row in enumerate(frame.iter_rows(named=True), 2):
        try:
            cells: dict[str, Any] = {c: row[c] for c in FINDING_COLUMNS}
            out.append(Finding(**cells | {c: float(row[c]) if row[c] else math.nan for c in NUMBERS}))
        except ValueError as error:
            raise _refused(str(error), f"{name} line {number}") from None
    return tuple(out)


def _refused(came: str, where: str) -> WayruleError:
    return WayruleError(
        expected="findings as `wayrule judge` writes them", came=came, where=where, next_step="judge the survey again"
    )


def _cell(name: str, value: float | str) -> str | None:
    if isinstance(value, str):
        return value or None
    if math.isnan(value):
        return None
    return f"{value:.{DECIMALS[name]}f}" if name in DECIMALS else f"{value:.{DIGITS}g}"
