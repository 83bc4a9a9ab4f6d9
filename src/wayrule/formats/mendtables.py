"""What is to be done to a line, as tables: work sheet, mends, boards, string-lining, and what would be found after."""

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import polars as pl

from wayrule.model import MendPlan

WORK_COLUMNS: Final = (
    "s_mm", "label", "left_mm", "right_mm", "slew_mm", "left_sd_mm", "right_sd_mm", "slew_sd_mm", "board_left_mm",
    "board_right_mm",
)  # fmt: skip
"""Columns of worksheet.csv; amounts that are not known are empty, 0 is "leave alone"."""

MEND_COLUMNS: Final = (
    "kind", "s_mm", "size", "unit", "sd", "rail", "from_mm", "to_mm", "left_mm", "right_mm", "slew_mm", "before",
    "after", "after_size", "after_sd", "words",
)  # fmt: skip
"""Columns of mends.csv."""

BOARD_COLUMNS: Final = ("board", "s0_mm", "s1_mm", "start_mm", "end_mm", "left_mm", "sd_mm", "words")
"""Columns of boards.csv."""

STRING_COLUMNS: Final = ("s_mm", "versine_mm", "versine_sd_mm", "proposed_mm", "throw_mm")
"""Columns of versines.csv."""


def mend_tables(plan: MendPlan) -> dict[str, bytes]:
    """File name -> bytes."""
    sheet = plan.sheet
    work = {name: sheet.label if name == "label" else getattr(sheet, name) for name in WORK_COLUMNS}
    singles = [
        {
            **{n: getattr(m.fault, n) for n in ("kind", "s_mm", "size", "unit", "sd", "rail")},
            **{n: getattr(m, n) for n in MEND_COLUMNS[6:]},
        }
        for m in plan.singles
    ]
    boards = [
        {"board": m.board.name, "s0_mm": m.board.s0_mm, "s1_mm": m.board.s1_mm}
        | {n: getattr(m, n) for n in BOARD_COLUMNS[3:]}
        for m in plan.boards
    ]
    strings = [{n: getattr(row, n) for n in STRING_COLUMNS} for row in plan.strings]
    return {
        "worksheet.csv": _csv(work),
        "mends.csv": _csv(_columns(MEND_COLUMNS, singles)),
        "boards.csv": _csv(_columns(BOARD_COLUMNS, boards)),
        "versines.csv": _csv(_columns(STRING_COLUMNS, strings)),
    }


def _columns(names: Sequence[str], rows: Iterable[dict[str, Any]]) -> dict[str, Any]:
    listed = list(rows)
    return {name: [row[name] for row in listed] for name in names}


def _csv(columns: dict[str, Any]) -> bytes:
    """Numbers to a hundredth of the finest that is asked for (0.001 mm), text as it is."""
    series: dict[str, pl.Series] = {}
    for name, values in columns.items():
        if len(values) and isinstance(values[0], str):
            series[name] = pl.Series(list(values), dtype=pl.String)
        else:
            numbers = np.round(np.array(values, dtype=float), 3) + 0.0
            series[name] = pl.Series(np.where(np.isfinite(numbers), numbers, np.nan), nan_to_null=True)
    return pl.DataFrame(series).write_csv().replace('""', "").encode()
