"""Which discs, how deep the flats, and where the sensor: thousands of arrangements, the best by expected error."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import FreeSpace, Wagon
from wayrule.wagon.discs import (
    COMMON_DISCS,
    MOST_ARRANGEMENTS,
    STEPS,
    USUAL_GRADE,
    Mounted,
    free_space,
    mounted,
    places_in,
)
from wayrule.wagon.edges import magnetic
from wayrule.wagon.expected import Pull
from wayrule.wagon.keptout import UNREADABLE, skids, unreadable, weak_axle_known
from wayrule.wagon.moves import Moves, moves_of
from wayrule.wagon.needed import in_one_line
from wayrule.wagon.reckoning import Reckoned, reckoned

Triple = tuple[float, float, float]

KEEP: Final = 10
WORTH: Final = 0.02
"""Gain in the error, relative, from which deeper flats are worth the filing; our choice, no source."""

SKIDS: Final = "steel holds the wheel: it skids"


@dataclass(frozen=True, slots=True)
class Arrangement:
    """One that fits, and how well it reads.

    mounted      discs and flat
    place_mm     of the sensor from the axle's centre: forward, left, up
    signal_mt    smaller half axis of the field's ellipse
    most_mt      greatest component of the field over a turn
    noise_mm, shape_mm, earth_mm, motion_mm, foreign_mm   parts of the error: noise and steps of the sensor; what
                 calibration leaves of the field's shape; Earth's field as the heading turns; play, springs and a
                 bogie's swing; the file's disturbers at their worst
    error_mm     all of it: sd of the distance between two places, without what adds up along the way (the wheel's size)
    """

    mounted: Mounted
    place_mm: Triple
    signal_mt: float
    most_mt: float
    noise_mm: float
    shape_mm: float
    earth_mm: float
    motion_mm: float
    foreign_mm: float
    error_mm: float


@dataclass(frozen=True, slots=True)
class Choice:
    """What was found.

    best         the best place for each pair of discs and flat, least error first
    front        those whose deeper flats are worth the filing: better by 2 % than all with shallower ones
    now          the arrangement of the file, where it has one that can be built and read
    now_out      why it has none, or ""
    tried, fit   how many arrangements, and how many of them can be built and read
    fell_out     reason -> how many, most first
    assumptions  in sentences
    """

    best: tuple[Arrangement, ...]
    front: tuple[Arrangement, ...]
    now: Arrangement | None
    now_out: str
    tried: int
    fit: int
    fell_out: tuple[tuple[str, int], ...]
    assumptions: tuple[str, ...]


def choose(
    wagon: Wagon,
    *,
    space: FreeSpace | None = None,
    steps: tuple[int, int, int] = STEPS,
    discs: Sequence[tuple[float, float]] = COMMON_DISCS,
    keep: int = KEEP,
    pull: Pull | None = None,
    curve_mm: float | None = None,
) -> Choice:
    """The best arrangements of a wagon.

    Parameters
    ----------
    space : in which the sensor may sit; the file's where left out
    steps : places tried in it: forward, left, up
    discs : diameter, thickness [mm]
    keep : how many are listed
    curve_mm : radius of the sharpest curve, for bogies

    Raises
    ------
    UndeterminedError   what the file does not say; nothing fits, with the reasons
    UsageError          a space, a disc or a number that cannot be

    Notes
    -----
    Flats, clearances and strength are settled once for each pair, what lies between once for each height; fields and
    errors of all that is left are reckoned together (`turns`, `expected`). Plates with sizes are endless here where
    they lie between axle and sensor and not there elsewhere: the budget of one arrangement knows of their ends.

    Examples
    --------
    >>> from wayrule.model import Axle, FieldSensor, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), axle=Axle(2.0), sensor=FieldSensor(40.0, 12, 0.03))
    >>> found = choose(van, space=FreeSpace((0, 0, 9), (2, 2, 14)), steps=(2, 2, 3))
    >>> best = found.best[0]
    >>> best.mounted.diameter_mm, best.mounted.thickness_mm, best.place_mm, found.tried
    (7.0, 2.0, (2.0, 2.0, 9.0), 1680)
    """
    radius = _radius(wagon)
    pairs, places = mounted(wagon, discs), places_in(free_space(wagon, space), _counts(steps, keep))
    tried = len(pairs) * len(places)
    if tried > MOST_ARRANGEMENTS:
        raise UsageError(
            expected=f"up to {MOST_ARRANGEMENTS} arrangements",
            came=f"{tried} ({len(pairs)} pairs of discs and flats x {len(places)} places)",
            where="choose",
            next_step="try fewer places or fewer discs",
        )
    run, moves = pull or Pull(), moves_of(wagon, curve_mm)
    fell: Counter[str] = Counter()
    with in_one_line(wagon.name):
        rows = reckoned(wagon, radius, pairs, places, moves, run, fell)
    fit: list[Arrangement] = []
    if rows is not None:
        reasons = unreadable(wagon, rows.expected, rows.foreign_mt)
        fell.update({UNREADABLE[k]: int(np.sum(reasons == k)) for k in range(1, len(UNREADABLE))})
        fit = [_arrangement(rows, int(n), pairs, radius) for n in np.flatnonzero(reasons == 0)]
    fit = _that_turn(wagon, fit, keep, fell)
    fell_out = tuple((reason, count) for reason, count in fell.most_common() if count)
    if not fit:
        raise UndeterminedError(
            expected="an arrangement that can be built and read",
            came=f"none of {tried}: " + "; ".join(f"{reason} ({count})" for reason, count in fell_out),
            where=wagon.name,
            next_step="widen the free space, or change what stands in the way most often",
        )
    best = _best_places(fit)
    return Choice(
        tuple(best[:keep]),
        _front(best),
        *_now(wagon, radius, moves, run),
        tried,
        len(fit),
        fell_out,
        _assumptions(wagon, moves),
    )


def _arrangement(rows: Reckoned, n: int, pairs: Sequence[Mounted], radius: float) -> Arrangement:
    found, root = rows.expected, math.sqrt(2) * radius
    forward, left, up = (float(x) for x in rows.place_mm[n])
    motion, foreign = float(rows.motion_mm[n]), float(rows.foreign_mm[n])
    return Arrangement(
        pairs[int(rows.pair[n])],
        (forward, left, up),
        float(found.signal_mt[n, 1]),
        float(found.most_mt[n]),
        root * math.hypot(float(found.noise_rad[n]), float(found.steps_rad[n])),
        root * float(found.left_rad[n]),
        root * float(found.earth_rad[n]),
        motion,
        foreign,
        math.hypot(float(found.after_mm[n]), motion, foreign),
    )


def _that_turn(wagon: Wagon, fit: list[Arrangement], keep: int, fell: Counter[str]) -> list[Arrangement]:
    """Without the pairs that steel holds; judged from the best on, until enough are left and the front stands."""
    judged: dict[Mounted, bool] = {}
    while True:
        best = _best_places(fit)
        ask = {one.mounted for one in (*best[:keep], *_front(best))} - judged.keys()
        if not ask:
            return fit
        judged |= {pair: skids(wagon, pair) for pair in ask}
        held = [one for one in fit if judged.get(one.mounted, False)]
        fell[SKIDS] += len(held)
        fit = [one for one in fit if not judged.get(one.mounted, False)]


def _best_places(fit: Sequence[Arrangement]) -> list[Arrangement]:
    """The best place of each pair, least error first; of equals the shallower flat, then the smaller disc."""
    order = sorted(fit, key=lambda one: (one.error_mm, one.mounted.depth_mm, one.mounted.diameter_mm))
    found: dict[Mounted, Arrangement] = {}
    for one in order:
        found.setdefault(one.mounted, one)
    return list(found.values())


def _front(best: Sequence[Arrangement]) -> tuple[Arrangement, ...]:
    """Least depth first: the best of each depth that is better than all shallower ones by `WORTH`."""
    found: list[Arrangement] = []
    for one in sorted(best, key=lambda one: (one.mounted.depth_mm, one.error_mm)):
        if math.isfinite(one.mounted.depth_mm) and (not found or one.error_mm < (1 - WORTH) * found[-1].error_mm):
            found.append(one)
    return tuple(found)


def _now(wagon: Wagon, radius: float, moves: Moves, pull: Pull) -> tuple[Arrangement | None, str]:
    """The arrangement of the file by the same reckoning, or why there is none."""
    magnets, place = wagon.magnets, wagon.sensor.place_mm
    sizes = () if magnets is None else (magnets.diameter_mm, magnets.thickness_mm, magnets.flat_radius_mm)
    if magnets is None or magnets.kind != "disc_pair" or place is None or None in sizes:
        return None, "the file states no pair of discs with a place of the sensor"
    diameter, thickness, flat = (float(size or 0.0) for size in sizes)
    thick = math.nan if wagon.axle.diameter_mm is None else wagon.axle.diameter_mm
    pairs = (Mounted(diameter, thickness, flat, thick / 2 - flat),)
    fell: Counter[str] = Counter()
    rows = reckoned(wagon, radius, pairs, np.array([place]), moves, pull, fell)
    if rows is None:
        return None, next(reason for reason, count in fell.items() if count)
    reason = UNREADABLE[unreadable(wagon, rows.expected, rows.foreign_mt)[0]]
    if reason or skids(wagon, pairs[0]):
        return None, reason or SKIDS
    return _arrangement(rows, 0, pairs, radius), ""


def _radius(wagon: Wagon) -> float:
    if wagon.wheel.diameter_mm is None:
        raise UndeterminedError(
            expected="wheel.diameter_mm",
            came="nothing",
            where=wagon.name,
            next_step="measure the wheel and add it to the wagon file",
        )
    return wagon.wheel.diameter_mm / 2


def _counts(steps: tuple[int, int, int], keep: int) -> tuple[int, int, int]:
    if min(steps) < 1 or keep < 1:
        raise UsageError(
            expected="1 or more places along each axis, and 1 or more arrangements to list",
            came=f"{steps[0]} x {steps[1]} x {steps[2]} places, {keep} to list",
            where="choose",
            next_step="5 x 5 x 6 places are usual",
        )
    return steps


def _assumptions(wagon: Wagon, moves: Moves) -> tuple[str, ...]:
    found = [*moves.told]
    if wagon.magnets is None:
        found.append(f"No magnets are stated: discs of {USUAL_GRADE}.")
    if wagon.sensor.range_mt is None:
        found.append("sensor.range_mt is not stated: saturation was not judged.")
    if not weak_axle_known(wagon):
        found.append("The file does not say enough for the axle's strength with its flats ([axle], body.mass_g).")
    if any(layer.length_mm is not None or layer.width_mm is not None for layer in magnetic(wagon.floor)):
        found.append(
            "Steel plates that end are taken as endless where they are between axle and sensor, or over the axle (they "
            "hold the wheel less than is said)."
        )
    return tuple(found)
