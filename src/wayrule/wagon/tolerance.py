"""Thousands of wagons with build errors: how far the distance errs before and after calibration, and what matters."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.errors import UsageError
from wayrule.maths.continuation import Continuation
from wayrule.maths.shares import Expansion, Shares, expansion, shares_of, terms_of
from wayrule.maths.turnfit import angle_errors, calibrated, rings_of
from wayrule.model import Wagon
from wayrule.model.arrays import Array
from wayrule.wagon.needed import needed
from wayrule.wagon.sources import Source, as_drawn
from wayrule.wagon.tolerances import Tolerance, build_of, columns_of, tolerances_of
from wayrule.wagon.turns import fields_over_turn

USUAL_WAGONS: Final = 10_000
MOST_WAGONS: Final = 200_000
"""More take gigabytes and tell nothing new."""

EVERY: Final = 3
"""Of the angles, each third goes into the shares: 24 hold harmonics up to 11, all that there is."""

LEFT_OUT: Final = 1e-5
"""Harmonics of the field below this are left out: at most 1e-5 rad, 0.05 um on a 10 mm wheel."""

PERCENTILES: Final = (50.0, 90.0, 99.0)


@dataclass(frozen=True, slots=True)
class Percentile:
    """So many per cent of the wagons have at most this; sd from the number of wagons."""

    percent: float
    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class Stage:
    """The error of the distance with one way of reading the field.

    name      "drawn": by the drawing's centre and ellipse · "ellipse": by each wagon's own · "harmonics": with those
              of its angle taken out as well
    words     the same, for a person
    rms_mm    of the distance over a turn, percentiles over the wagons
    worst_mm  greatest at any angle of the turn
    shares    what causes it (of its mean square over all wagons and angles)
    """

    name: str
    words: str
    rms_mm: tuple[Percentile, ...]
    worst_mm: tuple[Percentile, ...]
    shares: Shares


@dataclass(frozen=True, slots=True)
class ToleranceStudy:
    """What build errors do to a wagon's distance.

    wagons       how many were drawn
    radius_mm    of the wheel: error of the distance = radius times error of the angle, and does not add up over turns
    drawn_mt     smaller half axis of the field's ellipse, as drawn
    signal_mt    the same over the wagons: percentiles 1, 50, 99
    tolerances   with their sizes
    stages       before calibration, after centre and ellipse, after harmonics
    """

    wagons: int
    radius_mm: float
    drawn_mt: float
    signal_mt: tuple[Percentile, ...]
    tolerances: tuple[Tolerance, ...]
    stages: tuple[Stage, Stage, Stage]


def tolerance_study(
    wagon: Wagon,
    rng: np.random.Generator,
    *,
    wagons: int = USUAL_WAGONS,
    stated: dict[str, float] | None = None,
) -> ToleranceStudy:
    """The study of a wagon file.

    Parameters
    ----------
    stated : name -> sd, in the unit of `tolerances.USUAL`

    Raises
    ------
    UndeterminedError, UsageError   what the file does not say or says wrongly; too few wagons; a tolerance's name
    """
    have = needed(wagon)
    return study(
        have.sources,
        have.place_mm,
        tolerances_of(have.magnets, stated),
        rng,
        wagons=wagons,
        radius_mm=have.radius_mm,
        floor=have.floor,
    )


def study(
    sources: tuple[Source, ...],
    place_mm: tuple[float, float, float],
    tolerances: Sequence[Tolerance],
    rng: np.random.Generator,
    *,
    wagons: int = USUAL_WAGONS,
    radius_mm: float,
    floor: Continuation | None = None,
) -> ToleranceStudy:
    """Wagons drawn at random, their fields over a turn, three readings of each, and what causes their errors.

    Notes
    -----
    Everything at once for all wagons. A constant error of the angle is no error of the distance: means over the turn
    are taken off. Harmonics 1 to 6 are taken out, as the run's own calibration does: eccentric discs give the first,
    (e/d)(21/8 cos + 3/8 cos 3) straight above, which no centre or ellipse takes away.

    Sd of a percentile p of n: half the step from p - s to p + s with s = sqrt(p (1 - p)/n) (order statistics).

    Examples
    --------
    >>> from wayrule.model import Magnets
    >>> from wayrule.wagon.sources import sources_of
    >>> discs = Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42")
    >>> found = study(sources_of(discs), (0, 0, 12.5), tolerances_of(discs), np.random.default_rng(1), wagons=2000,
    ...               radius_mm=5.25)
    >>> [f"{stage.name} {stage.rms_mm[0].value:.3f}" for stage in found.stages]
    ['drawn 0.110', 'ellipse 0.079', 'harmonics 0.000']
    """
    columns = columns_of(len(sources))
    width = max(part.stop for part in columns.values())
    least = 4 * terms_of(width)
    if not least <= wagons <= MOST_WAGONS:
        raise UsageError(
            expected=f"from {least} to {MOST_WAGONS} wagons (fewer do not tell the tolerances apart)",
            came=str(wagons),
            where="tolerance study",
            next_step=f"{USUAL_WAGONS} take a fraction of a second",
        )
    normal = rng.standard_normal((wagons, width))
    build = build_of(normal, sources, tolerances)
    fields = fields_over_turn(sources, place_mm, build=build, floor=floor, truncated=LEFT_OUT)
    drawn = rings_of(fields_over_turn(sources, place_mm, build=as_drawn(1, len(sources)), floor=floor))
    rings = rings_of(fields)
    before = angle_errors(fields, drawn.centre, drawn.to_circle)
    errors = [before - _circular_mean(before[:, ::EVERY]), *calibrated(fields, rings)]
    errors[0] = np.remainder(errors[0] + math.pi, 2 * math.pi) - math.pi
    inputs = expansion(normal, {str(name): part for name, part in columns.items()})
    words = (
        ("drawn", "before calibration, read by the drawing"),
        ("ellipse", "after centre and ellipse"),
        ("harmonics", "after harmonics 1 to 6 as well"),
    )
    first, second, third = (
        _stage(name, told, error, radius_mm, inputs) for (name, told), error in zip(words, errors, strict=True)
    )
    signal = rings.half_axes[:, 1]
    return ToleranceStudy(
        wagons,
        radius_mm,
        float(drawn.half_axes[0, 1]),
        _percentiles(signal, (1.0, 50.0, 99.0)),
        tuple(tolerances),
        (first, second, third),
    )


def _stage(name: str, words: str, error_rad: Array, radius_mm: float, inputs: Expansion) -> Stage:
    rms = radius_mm * np.sqrt(np.mean(error_rad**2, axis=1))
    worst = radius_mm * np.maximum(error_rad.max(axis=1), -error_rad.min(axis=1))
    shares = shares_of(inputs, error_rad[:, ::EVERY])
    return Stage(name, words, _percentiles(rms, PERCENTILES), _percentiles(worst, PERCENTILES), shares)


def _percentiles(values: Array, percents: tuple[float, ...]) -> tuple[Percentile, ...]:
    share = np.array(percents) / 100
    step = np.sqrt(share * (1 - share) / len(values))
    low, middle, high = np.quantile(values, [np.maximum(share - step, 0), share, np.minimum(share + step, 1)])
    return tuple(
        Percentile(percent, float(value), float(sd))
        for percent, value, sd in zip(percents, middle, (high - low) / 2, strict=True)
    )


def _circular_mean(angle: Array) -> Array:
    """Direction of the mean of unit vectors: (n, 1)."""
    return np.asarray(np.arctan2(np.sin(angle).mean(axis=1), np.cos(angle).mean(axis=1))[:, None])
