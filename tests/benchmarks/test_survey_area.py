"""The survey area's own tools: what is timed is what is claimed."""

import pytest

from benchmarks.survey import interleaved, long_log
from wayrule.formats.recording import read_recording


def test_the_log_that_is_timed_is_clean_and_complete() -> None:
    run = read_recording(long_log(2000), "run")
    assert run.n == 2000
    assert run.problems == ()
    assert run.rate_hz == pytest.approx(200.0)
    assert run.field_mt is not None
    assert run.gyro_rad_s is not None
    assert run.acc_mm_s2 is not None


def test_jobs_run_in_turn_and_the_shortest_counts() -> None:
    calls: list[str] = []
    first, second = interleaved(lambda: calls.append("a"), lambda: calls.append("b"), times=3)
    assert calls == ["a", "b"] * 3
    assert first >= 0 <= second
