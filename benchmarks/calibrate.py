"""The figures of calibration: what tapes, spins, rests and turns tell of a wagon, and how a later run is checked."""

import importlib
from collections.abc import Iterator
from functools import partial
from typing import Final

from benchmarks.row import Row, guarded

PARTS: Final = {
    "distance": "<= 0.03 %, >= 91 % inside two sigmas",
    "axle": "<= 1.3 sigmas, <= 1.15 noise floors, no turn lost",
    "inertial": "level 0.1 deg, gyro 0.1 %, accelerometer 2 mg and 0.2 %",
    "health": "recall 0.95, <= 1 false per km",
}
"""Part, a module of `benchmarks.calibrating` with `rows(quick)` -> what it is held against, if it fails half-way."""


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the area, part by part."""
    for part, limit in PARTS.items():
        yield from guarded(f"calibration: {part}", limit, partial(measured, part, quick=quick))


def measured(part: str, *, quick: bool) -> Iterator[Row]:
    """The rows of one part."""
    yield from importlib.import_module(f"benchmarks.calibrating.{part}").rows(quick)
