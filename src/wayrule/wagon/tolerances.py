"""How far a build is off its drawing: kinds of error with their usual sizes, and wagons drawn at random from them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Magnets
from wayrule.model.arrays import Array
from wayrule.units import DEG
from wayrule.wagon.clearance import ASSEMBLY_SD_MM
from wayrule.wagon.grades import remanence_mt
from wayrule.wagon.sources import Build, Source, as_drawn

Name = Literal["remanence", "opposite", "depth", "eccentric", "sensor-place", "sensor-tilt"]

PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One kind of build error.

    name    by which it is stated: `NAME:SD`
    words   what it is
    sd      of each magnet, or of the sensor along or about each axis, in `unit`
    unit    "%", "°" or "mm"
    source  of its size
    """

    name: Name
    words: str
    sd: float
    unit: Literal["%", "°", "mm"]
    source: str


USUAL: Final[tuple[Tolerance, ...]] = (
    Tolerance("remanence", "strength of one disc against the next", 1.0, "%", PRACTICE),
    Tolerance("opposite", "flats not opposite: each turned about the axle", 1.0, "°", PRACTICE),
    Tolerance("depth", "depth of a flat, and glue under the disc", ASSEMBLY_SD_MM, "mm", PRACTICE),
    Tolerance("eccentric", "disc off the middle of its flat, across and along the axle", 0.1, "mm", PRACTICE),
    Tolerance("sensor-place", "sensor off its place: forward, left, up", 0.3, "mm", PRACTICE),
    Tolerance("sensor-tilt", "sensor turned about each axis", 1.5, "°", PRACTICE),
)
"""By hand, with a file, a strip of paper and glue. The printed jig does better on `opposite` and `depth`."""

LARGEST: Final[dict[str, float]] = {"%": 30.0, "°": 20.0, "mm": 10.0}
"""Beyond these a unit is wrong: nobody builds so badly on purpose."""


def tolerances_of(magnets: Magnets, stated: Mapping[str, float] | None = None) -> tuple[Tolerance, ...]:
    """The usual tolerances, with what is stated in their place; the strength's from the grade's own range.

    Notes
    -----
    A remanence anywhere in its range [low, high] alike has the sd (high - low) / sqrt 12 (GUM, JCGM 100:2008, 4.3.7).

    Raises
    ------
    UsageError   a name that is none, a size below 0 or absurd

    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> [(one.name, round(one.sd, 2)) for one in tolerances_of(discs, {"depth": 0.02})][:3]
    [('remanence', 0.89), ('opposite', 1.0), ('depth', 0.02)]
    """
    stated = stated or {}
    names = [one.name for one in USUAL]
    for name in stated:
        if name not in names:
            raise UsageError(
                expected=f"a tolerance named {', '.join(names)}",
                came=repr(name),
                where="tolerances",
                next_step="write NAME:SD, such as depth:0.05",
            )
    low, high = remanence_mt(magnets)
    found = []
    for one in USUAL:
        if one.name in stated:
            found.append(replace(one, sd=_sane(one, stated[one.name]), source="stated"))
        elif one.name == "remanence" and high > low:
            spread = 100 * (high - low) / math.sqrt(12) / ((high + low) / 2)
            found.append(replace(one, sd=spread, source=f"range of the grade, {low:g} to {high:g} mT"))
        else:
            found.append(one)
    return tuple(found)


def _sane(one: Tolerance, sd: float) -> float:
    if not 0 <= sd <= LARGEST[one.unit]:
        raise UsageError(
            expected=f"an sd of {one.name} from 0 to {LARGEST[one.unit]:g} {one.unit}",
            came=f"{sd:g}",
            where="tolerances",
            next_step=f"state the standard deviation of one, in {one.unit}; the usual one is {one.sd:g}",
        )
    return sd


def columns_of(magnets: int) -> dict[Name, slice]:
    """Which columns of the normal numbers each tolerance takes.

    >>> columns_of(2)["sensor-tilt"]
    slice(13, 16, None)
    """
    widths: dict[Name, int] = {
        "remanence": magnets,
        "opposite": magnets,
        "depth": magnets,
        "eccentric": 2 * magnets,
        "sensor-place": 3,
        "sensor-tilt": 3,
    }
    ends = np.cumsum([0, *widths.values()])
    return {name: slice(int(a), int(b)) for name, a, b in zip(widths, ends[:-1], ends[1:], strict=True)}


def build_of(normal: Array, sources: Sequence[Source], tolerances: Sequence[Tolerance]) -> Build:
    """Wagons with build errors.

    Parameters
    ----------
    normal : (n, p) independent standard normal numbers, p columns as `columns_of` has them

    Notes
    -----
    Depth is along the line from the axle to the magnet (up, for a ring on the axle); eccentric is across that line and
    along the axle.

    >>> from wayrule.wagon.sources import sources_of
    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
    >>> build = build_of(np.ones((3, 16)), pair, USUAL)
    >>> build.shift_mm[0].round(2).tolist(), build.sensor_mm[0].tolist()
    ([[0.1, 0.1, 0.05], [-0.1, 0.1, -0.05]], [0.3, 0.3, 0.3])
    """
    count, m = len(normal), len(sources)
    drawn, columns = as_drawn(count, m), columns_of(m)
    sd = {one.name: one.sd * {"%": 0.01, "°": DEG, "mm": 1.0}[one.unit] for one in tolerances}

    def off(name: Name) -> Array:
        return normal[:, columns[name]] * sd.get(name, 0.0)

    outwards = np.array([_outwards(source) for source in sources])
    onwards = np.stack([outwards[:, 2], np.zeros(m), -outwards[:, 0]], axis=1)
    across, along = np.split(off("eccentric"), 2, axis=1)
    shift = off("depth")[:, :, None] * outwards + across[:, :, None] * onwards
    shift += along[:, :, None] * [0.0, 1.0, 0.0]
    return replace(
        drawn,
        strength=off("remanence"),
        turned_rad=off("opposite"),
        shift_mm=shift,
        sensor_mm=off("sensor-place"),
        sensor_rad=off("sensor-tilt"),
    )


def _outwards(source: Source) -> Array:
    """Unit vector from the axle's line to a magnet; up where it sits round the axle."""
    way = source.place_mm * [1.0, 0.0, 1.0]
    size = np.linalg.norm(way)
    return np.asarray(way / size) if size else np.array([0.0, 0.0, 1.0])
