"""The line that `demo` measures: a figure-eight of the made-up Heather Vale Light Railway, and three runs on it."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import Recording, Wagon
from wayrule.sim import GOOD, HO_VAN, Railway, RunPlan, RunTruth, figure_eight, laps, simulate

SPEED_MM_S: Final = 260.0
"""81 km/h at scale: brisk enough that the gyro's noise counts little, slow enough for a hand."""

TAPE_SD_MM: Final = 5.0
"""How well a tape laid along the rails of one lap is read."""

MARKS: Final = ((1500.0, "Vale bridge"), (9000.0, "Signal box"))
"""What the person pulling the wagon marked: path since the start of the first run [mm], name."""


@dataclass(frozen=True, slots=True)
class Scene:
    """A railway, a wagon, its runs with their truth, and what a person would state beside them.

    runs     name -> (recording, truth); laps: name -> whole laps; turned: names
    tape_mm  one lap as taped
    """

    railway: Railway
    wagon: Wagon
    runs: dict[str, tuple[Recording, RunTruth]]
    laps: dict[str, int]
    turned: tuple[str, ...]
    tape_mm: float


def heather_vale(seed: int, rate_hz: float = 200.0) -> Scene:
    """Build the line and run the wagon on it, recorded at `rate_hz`; the same seed gives the same scene to the bit.

    Monday: three laps. Tuesday: two laps with the wagon turned end for end. Wednesday: two laps the other way round.
    """
    rng = np.random.default_rng(seed)
    line = figure_eight(rng, defects=3, size=0.6)
    length = line.length_mm
    tape_mm = round(length + TAPE_SD_MM * rng.standard_normal())
    plans = {
        "monday": (3, RunPlan(*laps(length, 3, SPEED_MM_S), rate_hz=rate_hz, marks=MARKS)),
        "tuesday": (2, RunPlan(*laps(length, 2, SPEED_MM_S), rate_hz=rate_hz, turned=True)),
        "wednesday": (2, RunPlan(*laps(length, 2, SPEED_MM_S, backwards=True), rate_hz=rate_hz)),
    }
    runs: dict[str, tuple[Recording, RunTruth]] = {}
    specimen = None
    for name, (_, plan) in plans.items():
        runs[name] = simulate(line, HO_VAN, plan, GOOD, rng, specimen=specimen, name=name)
        specimen = runs[name][1].specimen
    return Scene(
        railway=line,
        wagon=HO_VAN,
        runs=runs,
        laps={name: count for name, (count, _) in plans.items()},
        turned=("tuesday",),
        tape_mm=tape_mm,
    )
