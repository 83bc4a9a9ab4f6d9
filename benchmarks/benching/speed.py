"""Fields of thousands of wagons against the bare time of the field library's own core."""

import math
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from magpylib.core import magnet_cylinder_axial_Bfield

from benchmarks.row import Row, at_most
from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import Build, as_drawn, sources_of
from wayrule.wagon.turns import fields_over_turn

PLACE = (0.8, 1.2, 12.5)
PIECE = 14_400
"""Points in one call of the bare core: its quickest, 2.4 times as quick as all at once (measured)."""


def speed_rows(quick: bool) -> Iterator[Row]:
    """The ratios, all in one run, the jobs taking turns."""
    wagons = 2000 if quick else 10_000
    build = errors(wagons)
    pair = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
    floor = [FloorLayer("steel", 0.5, 3.0)]
    took = in_turn(
        (
            bare(wagons, PIECE),
            lambda: fields_over_turn(pair, PLACE, build=build),
            lambda: fields_over_turn(pair, PLACE, build=build, floor=passage(floor, PLACE[2])),
        ),
        times=3 if quick else 5,
    )
    name = f"fields of {wagons} wagons with build errors x 72 angles"
    against = f"over the bare core on the two discs in air, {PIECE} points a call ({took[0]:.2f} s)"
    yield at_most(f"{name}, {against}", took[1] / took[0], 1.5, "times")
    yield at_most(f"{name}, behind a steel plate, {against}", took[2] / took[0], 4.0, "times")


def errors(wagons: int) -> Build:
    """Build errors of usual size, all kinds at once."""
    rng = np.random.default_rng(5)
    return replace(
        as_drawn(wagons, 2),
        strength=rng.normal(0, 0.02, (wagons, 2)),
        turned_rad=rng.normal(0, 0.02, (wagons, 2)),
        shift_mm=rng.normal(0, 0.05, (wagons, 2, 3)),
        axle_rad=rng.normal(0, 0.01, (wagons, 2)),
        sensor_mm=rng.normal(0, 0.1, (wagons, 3)),
        sensor_rad=rng.normal(0, 0.01, (wagons, 3)),
    )


def bare(wagons: int, piece: int) -> Callable[[], None]:
    """The core alone, on points that are ready: those of two discs seen by one sensor over a turn, wagon by wagon."""
    phi = np.linspace(0.0, 2 * math.pi, 72, endpoint=False)
    c, s = np.cos(phi), np.sin(phi)
    x, y, z = c * PLACE[0] - s * PLACE[2], PLACE[1], s * PLACE[0] + c * PLACE[2]
    r = np.tile(np.hypot(x, y) / 2, 2 * wagons)
    up = np.tile(np.concatenate([(z - 1.2) / 2, (z + 1.2) / 2]), wagons)
    half = np.full(len(r), 0.25)

    def core() -> None:
        for begin in range(0, len(r), piece):
            part = slice(begin, begin + piece)
            magnet_cylinder_axial_Bfield(half[part], r[part], up[part])

    return core


def in_turn(jobs: tuple[Callable[[], object], ...], *, times: int) -> list[float]:
    """Shortest time of each [s], run in turn so that a busy machine disturbs all alike."""
    took: list[list[float]] = [[] for _ in jobs]
    for _ in range(times):
        for job, seconds in zip(jobs, took, strict=True):
            began = time.perf_counter()
            job()
            seconds.append(time.perf_counter() - began)
    return [min(seconds) for seconds in took]
