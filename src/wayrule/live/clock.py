"""The recorder's clocks: one that never steps, and runs on in the machine's sleep where it can; and the wall's."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final


def _host_ns() -> Callable[[], int]:
    """The steadiest clock of the system, in ns since some moment.

    Linux: CLOCK_BOOTTIME counts sleep, CLOCK_MONOTONIC does not. macOS: CLOCK_MONOTONIC_RAW counts sleep, Python's
    monotonic (mach_absolute_time) does not. Windows: the performance counter, as monotonic ticks only every 16 ms in
    older Pythons.
    """
    name = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC_RAW"}.get(sys.platform, "")
    number = getattr(time, name, None) if name else None
    if number is not None:
        return lambda: time.clock_gettime_ns(number)
    return time.perf_counter_ns


@dataclass(frozen=True, slots=True)
class Clock:
    """Two clocks.

    host_ns   steady [ns since some moment]
    wall_s    seconds since 1970, UTC; may be set at any time
    """

    host_ns: Callable[[], int]
    wall_s: Callable[[], float]


CLOCK: Final = Clock(_host_ns(), time.time)
"""The machine's own."""
