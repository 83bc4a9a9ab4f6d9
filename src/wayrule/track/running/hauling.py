"""Pull: what the grade, the curves and the rolling of the cars ask of the engine, place by place.

Force over weight: the gradient itself, a curve's equivalent grade (coefficient / R), and the rolling resistance.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import Met, Stations, Train
from wayrule.model.arrays import Array
from wayrule.track.rules.practice import compensation_mm
from wayrule.units import G_MM_S2

ROLLING: Final = 0.015
"""Rolling resistance over weight of model cars with pinpoint axles; from memory. A coast-down tells yours."""

ROLLING_SD: Final = 0.005

ADHESION: Final = 0.2
"""Pull over the weight on driven wheels, metal tyres on clean rail; from memory. A spring balance tells yours."""

ADHESION_SD: Final = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Hauling:
    """Pull needed and given.

    pull_n     (n, 2) at the coupler of the engines with the train's middle at each station, towards growing and
               falling chainage; NaN where a mass is not known
    met        the hardest place, and how many cars could be hauled over it
    assumed    what was taken
    """

    pull_n: Array
    met: tuple[Met, ...]
    assumed: tuple[str, ...]


def along_train(stations: Stations, values: Array, length_mm: float) -> Array:
    """Mean of a quantity under a train with its middle at each station; at open ends of what there is."""
    s = stations.s_mm
    clean = np.nan_to_num(values)
    if stations.closed:
        s, clean = np.concatenate([s - stations.length_mm, s, s + stations.length_mm]), np.tile(clean, 3)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (clean[1:] + clean[:-1]) * np.diff(s))])
    a = np.maximum(stations.s_mm - 0.5 * length_mm, s[0])
    b = np.minimum(stations.s_mm + 0.5 * length_mm, s[-1])
    return np.asarray((np.interp(b, s, total) - np.interp(a, s, total)) / np.maximum(b - a, 1e-9))


def hauling(stations: Stations, train: Train, ratio: float) -> Hauling:
    """What a train's engines have to pull on this line, both ways.

    Parameters
    ----------
    ratio : of the scale, for the curve's resistance
    """
    cars, engines = train.cars, train.engines
    mass = sum(car.mass_g for car in cars) if cars else math.nan
    blank = np.full((len(stations.s_mm), 2), np.nan)
    if not (engines and cars and math.isfinite(mass)):
        why = "no engine" if not engines else "no cars" if not cars else "cars whose mass is not known"
        return Hauling(blank, (), (f"The pull is not reckoned: the train has {why}.",))
    known = [car.rolling for car in cars if math.isfinite(car.rolling)]
    rolling = float(np.mean(known)) if known else ROLLING
    rolling_sd = 0.1 * rolling if known else ROLLING_SD
    grade = along_train(stations, stations.gradient, train.length_mm)
    curve = along_train(stations, np.abs(stations.curvature_1_mm), train.length_mm) * compensation_mm(ratio) / 100.0
    share = np.stack([grade + curve + rolling, -grade + curve + rolling], axis=-1)
    newton = mass * G_MM_S2 * 1e-6  # g mm/s2 to N
    assumed = (
        [] if known else [f"Rolling resistance {100 * ROLLING:g} % of the weight: from memory; coast-down tells yours."]
    )
    given, given_sd, said = _given(train)
    own = sum(e.mass_g for e in engines) * G_MM_S2 * 1e-6
    i, way = np.unravel_index(int(np.nanargmax(share)), share.shape)
    need = float(share[i, way]) * newton
    need_sd = newton * math.hypot(rolling_sd, float(np.nan_to_num(stations.gradient_sd[i])))
    s_mm = float(stations.s_mm[i])
    direction = "towards growing chainage" if way == 0 else "towards falling chainage"
    met = [
        Met("pull", need, need_sd, "N", s_mm,
            f"{len(cars)} cars of {mass:.0f} g together ask for {need:.2g} N at {s_mm / 1000:.2f} m, {direction}: "
            f"grade {100 * (grade[i] if way == 0 else -grade[i]):.2g} %, curve {100 * curve[i]:.2g} %, "
            f"rolling {100 * rolling:.2g} %.")
    ]  # fmt: skip
    if math.isfinite(given):
        steep = float(grade[i] if way == 0 else -grade[i]) + float(curve[i])
        left = given - (own * steep if math.isfinite(own) else 0.0)
        each = newton / len(cars) * float(share[i, way])
        most = max(0, math.floor(left / each)) if each > 0 else len(cars)
        sd = most * math.hypot(given_sd / max(left, 1e-9), need_sd / max(need, 1e-9)) if left > 0 else math.nan
        met.append(
            Met("cars hauled", float(most), sd, "1", s_mm,
                f"The engine hauls {most} such cars over its hardest place, at {s_mm / 1000:.2f} m.")
        )  # fmt: skip
    return Hauling(share * newton, tuple(met), (*assumed, *said))


def _given(train: Train) -> tuple[float, float, list[str]]:
    """Pull of all engines on the level, its sigma, and what was assumed [N]."""
    pulls, sds, said = [], [], []
    for engine in train.engines:
        if math.isfinite(engine.pull_n):
            pulls.append(engine.pull_n)
            sds.append(0.05 * engine.pull_n)
            continue
        weight = (engine.mass_g if math.isnan(engine.adhesive_g) else engine.adhesive_g) * G_MM_S2 * 1e-6
        pulls.append(ADHESION * weight)
        sds.append(ADHESION_SD * weight)
        if math.isfinite(weight):
            said.append(f"Pull of {engine.name}: {ADHESION:g} of the weight on its driven wheels, from memory.")
        else:
            said.append(f"Pull of {engine.name} is not known: give pull_n, or its mass.")
    return float(np.sum(pulls)), float(np.hypot.reduce(sds)), said
