"""A make-believe wagon on the Heather Vale Light Railway, for whoever has none yet."""

import heapq
import math
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from wayrule.formats.wire import Frame, encode
from wayrule.live.links.link import WAIT_S, LinkEndedError, Sink
from wayrule.sim import GOOD, HO_VAN, Railway, RunPlan, figure_eight, laps, simulate
from wayrule.sim.onwire import in_time, on_wire

SPEED_MM_S: Final = 260.0
"""81 km/h at scale."""

RATE_HZ: Final = 200.0

MARKS: Final = ((1500.0, "Vale bridge"), (9000.0, "Signal box"))

Sent = tuple[float, int, list[Frame]]


class SimLink:
    """One or more wagons on a figure-eight, each a quarter of a lap behind the other.

    seed    of line, wagons and noise; laps: how far they run; speed: how many times as fast as real
    """

    def __init__(self, spelling: str, *, seed: int = 7, wagons: int = 1, laps: int = 3, speed: float = 1.0) -> None:
        self.spelling, self._seed, self._wagons, self._laps, self._speed = spelling, seed, wagons, laps, speed

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """Until the runs are over."""
        rng = np.random.default_rng(self._seed)
        line = figure_eight(rng, defects=3, size=0.6)
        names = [f"make-believe {number + 1}" for number in range(self._wagons)]
        streams = [self._stream(number, line, rng) for number in range(self._wagons)]
        for name in names:
            sink.up(name, lambda _: None)
        begin = time.monotonic()
        for t_s, number, frames in heapq.merge(*streams, key=lambda sent: sent[:2]):
            if math.isfinite(self._speed):
                while not stop.is_set() and (left := begin + t_s / self._speed - time.monotonic()) > 0:
                    stop.wait(min(left, WAIT_S))
            if stop.is_set():
                return
            sink.came(names[number], b"".join(map(encode, frames)))
        for name in names:
            sink.down(name, "the run is over")
        raise LinkEndedError("the make-believe runs are over")

    def _stream(self, number: int, line: Railway, rng: np.random.Generator) -> Iterator[Sent]:
        """What one wagon sends: when [s], which wagon, frames."""
        wagon = replace(HO_VAN, name=f"Heather Vale inspection van {7 + number}")
        start, legs = laps(line.length_mm, self._laps, SPEED_MM_S)
        behind = (start - number * line.length_mm / 4) % line.length_mm
        recording, _ = simulate(line, wagon, RunPlan(behind, legs, rate_hz=RATE_HZ, marks=MARKS), GOOD, rng)
        identity = f"{0x5EED0000 + (self._seed % 256 << 8) + number:08x}"
        return ((t_s, number, frames) for t_s, frames in in_time(*on_wire(recording, wagon, identity=identity)))
