"""A `Recording` as text by the contract; reading it back gives the same recording to the printed digits."""

from typing import Final

import numpy as np
import polars as pl

from wayrule.formats.digits import printed
from wayrule.model import Recording
from wayrule.model.arrays import Array

DECIMALS: Final = {"t_s": 9, "mT": 6, "count": 3, "mm_s": 4, "mm": 5, "rad_s": 9, "m_s2": 7, "C": 3, "V": 4}
"""Unit in the column's name -> decimals: a thousandth of the noise of a good sensor, so that printing adds none."""


def write_recording(recording: Recording) -> bytes:
    """The recording as CSV: one header line, `quantity_unit` columns, an empty cell for a missing sample.

    >>> import numpy as np
    >>> run = Recording("monday", np.array([0.0, 0.1]), wheel_mm_s=np.array([100.0, np.nan]))
    >>> print(write_recording(run).decode())
    t_s,wheel_mm_s
    0.0,100.0
    0.1,
    <BLANKLINE>
    """
    columns: dict[str, pl.Series] = {"t_s": _rounded(recording.t_s, "t_s")}
    for values, names in (
        (recording.field_mt, ("bx_mT", "by_mT", "bz_mT")),
        (recording.gyro_rad_s, ("gx_rad_s", "gy_rad_s", "gz_rad_s")),
        (None if recording.acc_mm_s2 is None else recording.acc_mm_s2 / 1e3, ("ax_m_s2", "ay_m_s2", "az_m_s2")),
    ):
        if values is not None:
            for axis, name in enumerate(names):
                columns[name] = _rounded(values[:, axis], name.partition("_")[2])
    for value, name in (
        (recording.ticks_count, "ticks_count"),
        (recording.wheel_mm_s, "wheel_mm_s"),
        (recording.wheel_mm, "wheel_mm"),
        (recording.temp_c, "temp_C"),
        (recording.battery_v, "battery_V"),
    ):
        if value is not None:
            columns[name] = _rounded(value, name.partition("_")[2])
    if recording.marks:
        columns["mark"] = pl.Series(_mark_cells(recording))
    return pl.DataFrame(columns).write_csv().encode()


def _rounded(values: Array, unit: str) -> pl.Series:
    whole = printed(values, DECIMALS[unit])
    return pl.Series(whole, nan_to_null=True) if np.isnan(whole).any() else pl.Series(whole)


def _mark_cells(recording: Recording) -> list[str | None]:
    """Each mark in the row of its time, or the next one that is free; one line, no blanks around."""
    cells: list[str | None] = [None] * recording.n
    for mark in recording.marks:
        row = min(int(np.searchsorted(recording.t_s, mark.t_s)), recording.n - 1)
        free = next((k for k in range(row, recording.n) if cells[k] is None), None)
        word = " ".join(mark.name.split())
        if free is not None and word:
            cells[free] = word
    return cells
