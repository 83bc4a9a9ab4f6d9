"""The figures of the bench: whether a wagon will measure, before metal is cut."""

from collections.abc import Iterator

from benchmarks.benching.bodies import body_rows
from benchmarks.benching.choosing import choose_rows
from benchmarks.benching.floors import floor_rows
from benchmarks.benching.limits import limit_rows
from benchmarks.benching.practice import practice_rows
from benchmarks.benching.scatter import scatter_rows
from benchmarks.benching.speed import speed_rows
from benchmarks.benching.tolerances import tolerance_rows
from benchmarks.benching.towork import towork_rows
from benchmarks.row import Row, guarded


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area."""
    yield from guarded("fields of magnets", "<= 1e-6", body_rows)
    yield from guarded("floors", "<= 1e-4 and 1e-3", lambda: floor_rows(quick))
    yield from guarded("limits of physics", "all of them", lambda: limit_rows(quick))
    yield from guarded("to work from", "true, closed", lambda: towork_rows(quick))
    yield from guarded("practice", "as builders find it", practice_rows)
    yield from guarded("budget against scatter", "<= 25 %", lambda: scatter_rows(quick))
    yield from guarded("speed of fields", "<= 1.5 and 4 times", lambda: speed_rows(quick))
    yield from guarded("tolerance study", "<= 1.5 and 4 times", lambda: tolerance_rows(quick))
    yield from guarded("choose", "<= 10 times", lambda: choose_rows(quick))
