"""`findings.csv`: every finding of a judgement."""

import math
from collections.abc import Sequence

import polars as pl

from wayrule.model import Finding
from wayrule.model.finding import FINDING_COLUMNS

DECIMALS = {"s_mm": 1, "s0_mm": 1, "s1_mm": 1, "x_mm": 1, "y_mm": 1, "mark_mm": 1}
DIGITS = 6


def write_findings(findings: Sequence[Finding]) -> bytes:
    """`findings.csv`, the columns of `FINDING_COLUMNS`; an empty cell where a number is not known."""
    columns = {name: [_cell(name, getattr(f, name)) for f in findings] for name in FINDING_COLUMNS}
    return pl.DataFrame(columns, schema=dict.fromkeys(FINDING_COLUMNS, pl.String)).write_csv().encode()


def _cell(name: str, value: float | str) -> str | None:
    if isinstance(value, str):
        return value or None
    if math.isnan(value):
        return None
    return f"{value:.{DECIMALS[name]}f}" if name in DECIMALS else f"{value:.{DIGITS}g}"
