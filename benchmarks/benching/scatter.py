"""Whether the error budget says what then happens: random wagons, each simulated many times and decoded in full.

The simulator's wheel and sensor (`sim.wheel`) make each run: a new wheel from the caliper's error, new build errors, a
new iron, a pull with a hand's unevenness, Earth turning with the line, noise and steps. The recording goes through the
decoding that every run goes through (`run.chainage.rolled`). Its distance against the path that was rolled is what the
budget has to foretell.

In the simulator are: noise, steps, floor, shape, build, out-of-round wheel, Earth, size of the wheel. Not in it, and so
left out of the sum here: warm magnets, axle play, springs, swing in a curve, currents in the floor, warm wheel, slip,
foreign magnets.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchmarks.row import Row, at_most
from wayrule.errors import WayruleError
from wayrule.model import Budget, FieldSensor, FloorLayer, Magnets, Recording, Wagon, Wheel
from wayrule.model.arrays import Array
from wayrule.run.chainage import rolled
from wayrule.sim import body, wheel
from wayrule.sim.motion import Leg, RunPlan, drive
from wayrule.wagon.budget import Conditions, budget
from wayrule.wagon.disturbers import EARTH
from wayrule.wagon.sources import Build, as_drawn, sources_of

SIMULATED: Final = (
    "noise of the sensor",
    "steps of the sensor",
    "floor",
    "shape of the field",
    "build",
    "out-of-round wheel",
    "Earth's field",
    "size of the wheel",
)
SEED: Final = 20261127
SIZES: Final = {
    # scale: ratio, gauge, wheel, discs, sensor's height, all mm
    "G": (22.5, 45.0, (28.0, 34.0), (8.0, 12.0), (24.0, 38.0)),
    "HO": (87.0, 16.5, (9.0, 11.5), (3.0, 4.0), (8.5, 14.0)),
    "N": (160.0, 9.0, (5.2, 6.2), (2.0, 2.5), (5.5, 8.0)),
}


@dataclass(frozen=True, slots=True)
class Case:
    """A wagon and how it is run."""

    wagon: Wagon
    conditions: Conditions


def cases(count: int, rng: np.random.Generator) -> Iterator[Case]:
    """Random wagons in turn of the three scales; those whose field is too weak to be read at all are not wagons."""
    made = 0
    while made < count:
        scale = ("G", "HO", "N")[made % 3]
        case = _case(scale, made, rng)
        found = budget(case.wagon, case.conditions)
        if found.signal_to_noise > 12 and not found.saturates:
            made += 1
            yield case


def _case(scale: str, number: int, rng: np.random.Generator) -> Case:
    ratio, gauge, wheels, discs, heights = SIZES[scale]
    diameter, disc, height = (float(rng.uniform(*span)) for span in (wheels, discs, heights))
    thick, kind = disc / float(rng.uniform(2.5, 4.0)), str(rng.choice(["disc_pair", "disc_pair", "single"]))
    floor: tuple[FloorLayer, ...] = (FloorLayer("plastic", 1.0, 0.5 * height),)
    if rng.random() < 0.4:
        floor = (*floor, FloorLayer("steel", float(rng.uniform(0.2, 0.8)), 0.5 * height + 1.0))
    wagon = Wagon(
        name=f"Heather Vale trial wagon {number + 1}",
        scale=scale,
        ratio=ratio,
        gauge_mm=gauge,
        wheelbase_mm=4 * gauge,
        wheel=Wheel(diameter, float(rng.uniform(0.002, 0.006)) * diameter),
        magnets=Magnets(
            "single" if kind == "single" else "disc_pair",
            diameter_mm=disc,
            thickness_mm=thick,
            flat_radius_mm=0.2 * disc,
            grade="N42",
        ),
        floor=floor,
        sensor=FieldSensor(
            float(rng.choice([8.0, 20.0, 40.0])),
            int(rng.choice([10, 12, 16])),
            float(rng.uniform(0.01, 0.05)),
            float(rng.choice([100.0, 200.0, 400.0])),
            (float(rng.normal(0, 0.1)) * height, float(rng.normal(0, 0.2)) * height, height),
        ),
    )
    way = math.pi * diameter * float(rng.choice([6.0, 15.0, 40.0]))
    round_it = 2 * math.pi if rng.random() < 0.5 else 0.0
    speed = float(rng.uniform(100.0, 300.0)) * (diameter / 10.0) ** 0.5
    earth = replace(EARTH[2], level_mt=wheel.EARTH_MT[0], down_mt=wheel.EARTH_MT[1])
    return Case(wagon, Conditions(way, speed, round_it, place=earth, out_of_round_mm=wheel.OUT_OF_ROUND_MM))


def one_sd(wagon: Wagon) -> Build:
    """The build errors that `sim.wheel.draw_wheel` draws, one sd of one of them in each row."""
    if wagon.magnets is None:
        raise ValueError(f"{wagon.name}: expected magnets")
    count, size = len(sources_of(wagon.magnets)), wagon.magnets.diameter_mm or 4.0
    shift, tilt, strength = np.zeros((6, count, 3)), np.zeros((6, 2)), np.zeros((6, count))
    for row, share in enumerate((0.01, 0.02, 0.01)):
        shift[row, :, row] = share * size
    tilt[3, 0] = tilt[4, 1] = 0.01
    strength[5] = 0.01 * np.array([1.0, -1.0][:count])
    return replace(as_drawn(6, count), shift_mm=shift, axle_rad=tilt, strength=strength)


def pulled(case: Case, rng: np.random.Generator) -> tuple[float, float]:
    """One run of a new specimen: error of its distance, and the same without the wheel's size [mm]."""
    wagon, run = case.wagon, case.conditions
    specimen = wheel.draw_wheel(wagon, rng, field=True)
    rate = wagon.sensor.rate_hz or 200.0
    # where the way ends in a turn of the wheel is anybody's guess: half a turn more or less
    way = run.way_mm + float(rng.uniform(-0.5, 0.5)) * specimen.circumference_mm
    plan = RunPlan(0.0, (Leg(way, run.speed_mm_s),), rate_hz=rate, still_s=(0.5, 1.0))
    path = drive(plan, 1 / rate, rng)
    t = np.arange(len(path)) / rate
    phi = np.interp(t - specimen.delay_s, t, wheel.axle_angle_rad(specimen, path))
    turn = body.axes(run.heading_rad * path / run.way_mm, np.zeros_like(t), np.zeros_like(t))
    field = wheel.field_reading(wagon, specimen, phi, turn, rng)
    found = rolled(
        Recording("pull", t, field_mt=field),
        wagon.wheel,
        place_mm=wagon.sensor.place_mm,
        noise_mt=wagon.sensor.noise_mt,
    )
    told = float(found.distance_mm[-1])
    true_share = specimen.circumference_mm / (math.pi * (wagon.wheel.diameter_mm or math.nan))
    return told - float(path[-1]), told * true_share - float(path[-1])


def foretold(found: Budget) -> tuple[float, float]:
    """Sd of the distance, and the same without the wheel's size, from the lines that the simulator has [mm]."""
    lines = [line for line in found.lines if line.cause in SIMULATED]
    repeats = math.sqrt(sum(line.distance_mm**2 for line in lines))
    return math.sqrt(sum(line.on_mm(found.way_mm) ** 2 for line in lines)), repeats


def scatter(case: Case, runs: int, rng: np.random.Generator) -> Array:
    """Rms error of many runs: all, and without the wheel's size [mm]; nan where a run was not decoded."""
    try:
        errors = np.array([pulled(case, rng) for _ in range(runs)])
    except WayruleError:
        return np.full(2, math.nan)
    return np.asarray(np.sqrt(np.mean(errors**2, axis=0)))


def scatter_rows(quick: bool) -> Iterator[Row]:
    """Predicted over found for each wagon, all together and without the wheel's size."""
    count, runs = (3, 60) if quick else (20, 200)
    rng = np.random.default_rng(SEED)
    ratios = []
    wagons, pulls = rng.spawn(2)
    for case in cases(count, wagons):
        predicted = foretold(budget(case.wagon, case.conditions, one_sd=one_sd(case.wagon)))
        ratios.append(np.array(predicted) / scatter(case, runs, pulls))
    off = np.abs(np.array(ratios) - 1)
    what = (
        f"{count} random wagons in G, HO and N, {runs} decoded runs each: predicted distance sigma off the scatter by"
    )
    yield at_most(f"{what}, worst wagon", 100 * float(np.max(off[:, 0])), 25.0, "%")
    yield at_most(f"{what}, without the wheel's size, worst wagon", 100 * float(np.max(off[:, 1])), 25.0, "%")
