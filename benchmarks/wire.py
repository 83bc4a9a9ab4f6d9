"""The figures of the wire and the wagon's program. Without --quick it is the nightly run of 10 million frames."""

from collections.abc import Iterator

from benchmarks.row import Row, guarded
from benchmarks.wiring.fuzz import fuzz_rows
from benchmarks.wiring.micropython import heap_rows
from benchmarks.wiring.speed import replay_rows, speed_rows
from benchmarks.wiring.steady import steady_rows


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area."""
    yield from guarded("decoder's speed", ">= 1 million samples/s", lambda: speed_rows(quick))
    yield from guarded("replay", "bit-identical", lambda: replay_rows(quick))
    yield from guarded("heap", "<= 0 bytes", heap_rows)
    yield from guarded("steady", "200 Hz", lambda: steady_rows(quick))
    yield from guarded("fuzz", "no crash, no wrong sample", lambda: fuzz_rows(quick))
