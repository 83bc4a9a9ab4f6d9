"""The figures of judging, mending, comparing and handing over."""

from collections.abc import Iterator

from benchmarks.judging.alarms import alarm_rows
from benchmarks.judging.comparing import comparing_rows
from benchmarks.judging.handover import handover_rows
from benchmarks.judging.mending import mending_rows
from benchmarks.judging.sheets import sheet_rows
from benchmarks.row import Row, guarded


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area."""
    yield from guarded("rules against their published tables", "all", sheet_rows)
    yield from guarded("false alarms on clean lines", "<= 1 per 100 m", lambda: alarm_rows(quick=quick))
    yield from guarded("a line measured twice", ">= 17 of 20", lambda: comparing_rows(quick))
    yield from guarded("hand-over", "0.001 mm, 1e-4 m, 1 mm", lambda: handover_rows(quick))
    yield from guarded("mending carried out", ">= 90 % gone, none new", lambda: mending_rows(quick))
