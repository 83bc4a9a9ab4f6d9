"""The figures of recording: what is safe, what comes back over a bad link, how much one core takes."""

from collections.abc import Iterator

from benchmarks.living.many import many_rows
from benchmarks.living.trials import trial_rows
from benchmarks.living.weathered import weathered_rows
from benchmarks.row import Row, guarded


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area."""
    yield from guarded("killed, torn, full and damaged recordings", "nothing lost", lambda: trial_rows(quick))
    yield from guarded("fifty wagons", "all of it", lambda: many_rows(quick))
    yield from guarded("bad radio link", "back-filled or told", lambda: weathered_rows(quick))
