"""What a survey costs in time and memory, by the length of the recording."""

import time
import tracemalloc
from collections.abc import Iterator
from typing import Final

import numpy as np

from benchmarks.row import Row, at_most
from wayrule.model import Facts, Recording
from wayrule.pipeline import survey
from wayrule.sim import GOOD, HO_VAN, RunPlan, figure_eight, laps, oval, simulate

SHORT_LAPS: Final = 2
TIMES_LONGER: Final = 12
SHORT_S: Final = 300.0
QUICK_TIMES_LONGER: Final = 10
QUICK_SHORT_S: Final = 60.0
MEMORY_TIMES: Final = 6.0


def lapping(count: int, seconds: float, *, quick: bool) -> Recording:
    """`count` laps of one line at 200 Hz that take about `seconds`; the same line and speed for every count."""
    railway = oval(np.random.default_rng(5), length_mm=6000.0) if quick else figure_eight(np.random.default_rng(5))
    speed = count * railway.length_mm / seconds
    plan = RunPlan(*laps(railway.length_mm, count, speed))
    return simulate(railway, HO_VAN, plan, GOOD, np.random.default_rng(6), name="run")[0]


def cost_rows(quick: bool) -> Iterator[Row]:
    """Time of a long recording over that of a short one of the same line, and the most memory in use meanwhile."""
    times = QUICK_TIMES_LONGER if quick else TIMES_LONGER
    seconds = QUICK_SHORT_S if quick else SHORT_S
    short = lapping(SHORT_LAPS, seconds, quick=quick)
    long = lapping(SHORT_LAPS * times, seconds * times, quick=quick)
    ratio = seconds_of(long, SHORT_LAPS * times) / seconds_of(short, SHORT_LAPS)
    what = f"survey of {long.t_s[-1] / 60:.0f} min at 200 Hz over that of {short.t_s[-1] / 60:.1f} min, processor time"
    yield at_most(what, ratio, float(times), "times")
    most = most_bytes(long, SHORT_LAPS * times) / raw_bytes(long)
    what = f"most memory while surveying {long.t_s[-1] / 60:.0f} min, raw arrays included, over the raw arrays"
    yield at_most(what, most, MEMORY_TIMES, "times")


def seconds_of(recording: Recording, count: int) -> float:
    """Processor time of a survey [s]: a machine busy with other work does not lengthen it much."""
    began = time.process_time()
    survey([recording], HO_VAN, Facts(laps={"run": count}))
    return time.process_time() - began


def most_bytes(recording: Recording, count: int) -> int:
    """Most memory held at once by the raw arrays and whatever the survey allocates."""
    tracemalloc.start()
    try:
        survey([recording], HO_VAN, Facts(laps={"run": count}))
        return tracemalloc.get_traced_memory()[1] + raw_bytes(recording)
    finally:
        tracemalloc.stop()


def raw_bytes(recording: Recording) -> int:
    """Size of the recording's arrays."""
    groups = ("t_s", "field_mt", "ticks_count", "wheel_mm_s", "wheel_mm", "gyro_rad_s", "acc_mm_s2", "temp_c")
    return sum(values.nbytes for g in groups if (values := getattr(recording, g)) is not None)
