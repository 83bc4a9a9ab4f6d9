"""The figures of the main job: from a recording to the map of the track."""

import io
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
import polars as pl

from benchmarks.row import Row, at_most, guarded
from benchmarks.surveying.cost import cost_rows
from benchmarks.surveying.drawn import LINES, QUICK_LINES, coverage_rows, draw, judge
from benchmarks.surveying.promised import EIGHT, OVAL, SEEDS, THINNED_HZ, Promise, measure, promised_rows, thinned_row
from benchmarks.surveying.real import real_rows
from wayrule.formats.recording import read_recording
from wayrule.formats.recordingwriter import write_recording
from wayrule.model import Recording


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area, in the order of the work."""
    yield from guarded("reading a recording", "<= 3 times bare parsing", lambda: reading(quick))
    seeds = SEEDS[:1] if quick else SEEDS
    for promise in (OVAL, EIGHT):
        yield from guarded(promise.name, "its figures", partial(of_promise, promise, seeds))
        for rate_hz in THINNED_HZ:
            what = f"{promise.name}: thinned to {rate_hz} Hz"
            yield from guarded(what, "none, to be stated", partial(thinned, promise, seeds, rate_hz))
    yield from guarded("coverage", "55 to 80 % inside one sigma", lambda: covered(QUICK_LINES if quick else LINES))
    yield from real_rows()
    yield from guarded("cost of a survey", "grows linearly", lambda: cost_rows(quick))


def of_promise(promise: Promise, seeds: Sequence[int]) -> Iterator[Row]:
    """The promised figures of one line."""
    yield from promised_rows(promise, [measure(promise, seed) for seed in seeds])


def thinned(promise: Promise, seeds: Sequence[int], rate_hz: int) -> Iterator[Row]:
    """What remains of them at a lower rate."""
    yield thinned_row(promise, [measure(promise, seed, rate_hz) for seed in seeds])


def covered(lines: int) -> Iterator[Row]:
    """Whether the claimed sigmas can be believed."""
    yield from coverage_rows([judge(draw(index)) for index in range(lines)])


def reading(quick: bool) -> Iterator[Row]:
    """Our reader, checks and repairs included, against the parsing library alone on the same bytes."""
    samples = 100_000 if quick else 720_000
    data = long_log(samples)
    ours, bare = interleaved(lambda: read_recording(data, "run"), lambda: pl.read_csv(io.BytesIO(data)), times=9)
    what = f"reading {samples} rows of 10 columns, ratio to the parsing library alone on the same bytes"
    yield at_most(what, ours / bare, 3.0, "times")


def long_log(samples: int) -> bytes:
    """A clean log at 200 Hz: turning field, gyro, accelerometer, with the noise of usual sensors."""
    rng = np.random.default_rng(1)
    phi = np.cumsum(np.full(samples, 0.25))
    field = np.column_stack([1.3 * np.cos(phi), np.full(samples, 0.1), 2.7 * np.sin(phi)])
    level = np.array([0.0, 0.0, 9806.65])
    run = Recording(
        "run",
        t_s=np.arange(samples) / 200.0,
        field_mt=field + 0.03 * rng.standard_normal((samples, 3)),
        gyro_rad_s=0.001 * rng.standard_normal((samples, 3)),
        acc_mm_s2=level + 9.0 * rng.standard_normal((samples, 3)),
    )
    return write_recording(run)


def interleaved(first: Callable[[], object], second: Callable[[], object], *, times: int) -> tuple[float, float]:
    """Shortest time of each [s], run in turn so that a busy machine disturbs both alike."""
    took: tuple[list[float], list[float]] = ([], [])
    for _ in range(times):
        for job, seconds in zip((first, second), took, strict=True):
            began = time.perf_counter()
            job()
            seconds.append(time.perf_counter() - began)
    return min(took[0]), min(took[1])
