"""What builders know from practice must come out of the budget (common practice, no source), and the verdict's time."""

import time
from collections.abc import Iterator
from dataclasses import replace

from benchmarks.row import Row, at_least, at_most
from wayrule.model import BudgetLine, FloorLayer, Magnets, Wagon
from wayrule.sim.wagons import G_WAGON, HO_COACH, HO_VAN, N_VAN
from wayrule.wagon.budget import Conditions, budget
from wayrule.wagon.verdict import bench

SHARP = Conditions(radius_mm=360.0)
STILL = Conditions(speed_mm_s=1e-6)
BALLAST = FloorLayer("steel", 0.5, 3.6)


def practice_rows() -> Iterator[Row]:
    """Garden, HO and N as builders find them; curves; floors; how long an answer takes."""
    garden = replace(
        _at(G_WAGON, 35.0),
        magnets=Magnets("disc_pair", diameter_mm=12.0, thickness_mm=3.0, grade="N42", flat_radius_mm=2.4),
    )
    yield at_most(
        "garden, 6 mm axle, two 12 x 3 mm discs read from 35 mm above: distance sigma", _error(garden), 0.5, "mm"
    )
    yield from _ho()
    yield from _n()
    bogie, two = (_line(budget(wagon, SHARP).lines, "swing in a curve") for wagon in (HO_COACH, HO_VAN))
    yield at_least(
        "360 mm curve, HO: what a bogie wagon's swing costs beyond a two-axle wagon's", bogie - two, 0.1, "mm"
    )
    yield at_most(
        "brass, aluminium, lead, zinc floors at a stand: greatest relative change of the sigma", _metals(), 1e-9, ""
    )
    yield at_most("verdict with all changes tried, van with a steel plate that ends, time", _took(), 1.0, "s")


def _ho() -> Iterator[Row]:
    small = Magnets("disc_pair", diameter_mm=3.0, thickness_mm=1.0, grade="N42", flat_radius_mm=0.7)
    floor = (FloorLayer("plastic", 1.0, 3.2),)
    for height, limit in ((8.0, 0.1), (16.0, 1.0)):
        van = replace(_at(HO_VAN, height), magnets=small, floor=floor)
        what = f"HO, two 3 x 1 mm discs through a plastic floor at {height:g} mm"
        yield at_most(f"{what}: distance sigma", _error(van), limit, "mm")
        word = bench(van).word
        yield Row(f"{what}: verdict", word, "works", word == "works")


def _n() -> Iterator[Row]:
    tiny = Magnets("disc_pair", diameter_mm=2.0, thickness_mm=1.0, grade="N45", flat_radius_mm=0.4)
    plated, bare = (replace(N_VAN, magnets=tiny, floor=floor) for floor in ((BALLAST,), ()))
    what = "N, two 2 x 1 mm discs through a 0.5 mm steel ballast plate"
    answer = bench(plated)
    yield Row(f"{what}: verdict", answer.word, "works or poor", answer.word != "fails")
    yield at_most(f"{what}: distance sigma", _error(plated), 1.0, "mm")
    yield at_least(f"{what}: over that with the plate taken out", _error(plated) / _error(bare), 1.5, "times")
    first = answer.options[0].change if answer.options else "nothing"
    yield Row(f"{what}: first change told", first, "take the plate out", first.startswith("take the steel"))


def _at(wagon: Wagon, height_mm: float) -> Wagon:
    return replace(wagon, sensor=replace(wagon.sensor, place_mm=(0.0, 0.0, height_mm)), floor=())


def _error(wagon: Wagon) -> float:
    return budget(wagon).repeats_mm


def _line(lines: tuple[BudgetLine, ...], cause: str) -> float:
    return next(line.distance_mm for line in lines if line.cause == cause)


def _metals() -> float:
    free = budget(replace(HO_VAN, floor=()), STILL).repeats_mm
    found = (
        budget(replace(HO_VAN, floor=(FloorLayer(name, 1.0, 4.0),)), STILL).repeats_mm
        for name in ("brass", "aluminium", "lead", "zinc")
    )
    return max(abs(one / free - 1) for one in found)


def _took() -> float:
    plate = FloorLayer("steel", 0.8, 4.4, length_mm=60.0, width_mm=14.0, centre_mm=(20.0, 0.0))
    van = replace(HO_VAN, floor=(FloorLayer("plastic", 1.2, 3.2), plate))
    bench(van)
    began = time.perf_counter()
    bench(van)
    return time.perf_counter() - began
