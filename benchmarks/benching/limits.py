"""Limits of physics and common practice on drawn wagons."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.constants import mu_0

from benchmarks.benching.bodies import worst
from benchmarks.row import Row, at_least, at_most
from wayrule.maths.sheets import Sheet
from wayrule.model import FloorLayer, Magnets
from wayrule.model.arrays import Array
from wayrule.wagon.motion import bogie_swing, motion_errors, two_axle_swing
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import Source, sources_of
from wayrule.wagon.turning import against_plane
from wayrule.wagon.turns import fields_over_turn


def limit_rows(quick: bool) -> Iterator[Row]:
    """The figures of limits and practice that fields alone decide."""
    count = 60 if quick else 300
    lowered, air, beside, gone = _steel_and_brass(count)
    wagons = f"{count} drawn wagons"
    yield Row(f"a steel layer lowers the field, {wagons}", f"{lowered} of {count}", "all", lowered == count)
    yield at_most(f"brass, aluminium, lead, zinc at rest in place of air, {wagons}, relative change", air, 0.0, "")
    yield at_most(f"the same beside steel, {wagons}, relative change", beside, 1e-6, "")
    yield at_most(f"steel that shrinks to nothing against none, {wagons}, relative", gone, 2e-4, "")
    yield at_most(
        "cogging over thick soft iron at 100 mm against a dipole's, torque and pull, relative", _cogging(), 2e-3, ""
    )
    yield at_most("torque over (field squared times distance cubed), 40 against 80 mm, relative", _falls(), 0.02, "")
    yield at_least(
        "360 mm curve, HO: error of a bogie wagon's axle angle over a two-axle wagon's", _curve(), 2.0, "times"
    )


def drawn(rng: np.random.Generator) -> tuple[tuple[Source, ...], tuple[float, float, float]]:
    """Magnets of a drawn kind and size, and a sensor's place above them."""
    d = float(rng.uniform(1.0, 12.0))
    flat = 0.2 * d
    kinds = (
        Magnets("disc_pair", diameter_mm=d, thickness_mm=0.3 * d, flat_radius_mm=flat, grade="N42"),
        Magnets("single", diameter_mm=d, thickness_mm=0.3 * d, flat_radius_mm=flat, grade="N35"),
        Magnets("ring", diameter_mm=d, hole_mm=0.4 * d, thickness_mm=0.5 * d, grade="N45"),
        Magnets("block", length_mm=d, width_mm=0.5 * d, thickness_mm=0.3 * d, flat_radius_mm=flat, grade="N52"),
    )
    sources = sources_of(kinds[rng.integers(4)])
    x, y = rng.uniform(-d, d, 2)
    return sources, (float(x), float(y), float(d * rng.uniform(2.0, 4.0)))


def _steel_and_brass(count: int) -> tuple[int, float, float, float]:
    """How often steel lowers; what brass and its like change in air and beside steel; of steel as thin as nothing."""
    rng = np.random.default_rng(11)
    lowered, air, beside, gone = 0, 0.0, 0.0, 0.0
    for _ in range(count):
        sources, place = drawn(rng)
        under, t = 0.45 * place[2], 0.3 * place[2] * float(rng.uniform(0.02, 1.0))
        steel, top = FloorLayer("steel", t, under), under + t
        others = [FloorLayer(m, t / 8, top + i * t / 8) for i, m in enumerate(("brass", "aluminium", "lead", "zinc"))]

        def field(*floor: FloorLayer) -> Array:
            return np.asarray(fields_over_turn(sources, place, floor=passage(floor, place[2]))[0])  # noqa: B023

        free, behind = field(), field(steel)
        lowered += bool(np.linalg.norm(behind) < np.linalg.norm(free))
        air = max(air, worst(field(*others), free))
        beside = max(beside, worst(field(steel, *others), behind))
        gone = max(gone, worst(field(replace(steel, thickness_mm=1e-7)), free))
    return lowered, air, beside, gone


def _pair() -> tuple[Source, ...]:
    return sources_of(
        Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300.0, 1300.0))
    )


def _cogging() -> float:
    """U = -mu0 m2 (1 + cos2)/(64 pi h3), textbook."""
    found = against_plane(_pair(), 100.0, (Sheet(1e4, 1e7),))
    m2, h = (1.3 * 8 * math.pi * 1e-9 / mu_0) ** 2, 0.1
    torque, pull = 1e3 * mu_0 * m2 / (64 * math.pi * h**3), 6 * mu_0 * m2 / (64 * math.pi * h**4)
    return max(abs(found.torque_n_mm / torque - 1), abs(found.pull_max_n / pull - 1))


def _falls() -> float:
    scaled = []
    for h in (40.0, 80.0):
        field = float(np.max(np.abs(fields_over_turn(_pair(), (0.0, 0.0, h)))))
        scaled.append(against_plane(_pair(), h, (Sheet(1e4, 1e7),)).torque_n_mm / (field**2 * h**3))
    return abs(scaled[1] / scaled[0] - 1)


def _curve() -> float:
    """Common practice, no source: a two-axle wagon beats a bogie wagon in sharp curves."""
    bogie = bogie_swing(radius_mm=360.0, pivots_mm=118.0, bogie_wheelbase_mm=29.0, leading_axle=True)
    short = two_axle_swing(radius_mm=360.0, wheelbase_mm=65.0, play_mm=0.22)
    errors = motion_errors(_pair(), (0.8, 1.2, 12.5), (bogie, short))
    return errors[0].worst_rad / errors[1].worst_rad
