"""The figures of recording: what is safe, what comes back over a bad link, how much one core takes; and of watching:
what is said meanwhile, how soon, how right, and whether a wagon finds its place."""

from collections.abc import Iterator

from benchmarks.living.guided import guided_rows
from benchmarks.living.many import many_rows
from benchmarks.living.trials import trial_rows
from benchmarks.living.watched import agreeing_rows, latency_rows
from benchmarks.living.weathered import weathered_rows
from benchmarks.row import Row, guarded


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area."""
    yield from guarded("killed, torn, full and damaged recordings", "nothing lost", lambda: trial_rows(quick))
    yield from guarded("fifty wagons", "all of it", lambda: many_rows(quick))
    yield from guarded("live against offline", "alike", lambda: agreeing_rows(quick))
    yield from guarded("latency", "below 100 ms", lambda: latency_rows(quick))
    yield from guarded("guide", "found, and never falsely", lambda: guided_rows(quick))
    yield from guarded("bad radio link", "back-filled or told", lambda: weathered_rows(quick))
