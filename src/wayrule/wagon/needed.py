"""What a wagon file must say before its field can be reckoned: magnets, the sensor's place, the wheel, the floor."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from wayrule.errors import UndeterminedError, UsageError
from wayrule.maths.continuation import Continuation
from wayrule.model import Magnets, Wagon
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import Source, sources_of

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Needed:
    """Everything that the field at the sensor rests on.

    radius_mm   of the wheel
    floor       what lies between, at rest
    """

    magnets: Magnets
    sources: tuple[Source, ...]
    place_mm: Triple
    radius_mm: float
    floor: Continuation | None


def needed(wagon: Wagon) -> Needed:
    """From the wagon file.

    Raises
    ------
    UndeterminedError   naming what is not stated
    UsageError          magnets or a floor that cannot be

    >>> from wayrule.model import FieldSensor, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), magnets=discs,
    ...             sensor=FieldSensor(place_mm=(0.8, 1.2, 12.5)))
    >>> needed(van).radius_mm, needed(van).floor is None
    (5.25, True)
    """
    magnets, place, wheel = wagon.magnets, wagon.sensor.place_mm, wagon.wheel.diameter_mm
    missing = [
        key
        for key, value in (("[magnets]", magnets), ("sensor.place_mm", place), ("wheel.diameter_mm", wheel))
        if value is None
    ]
    if magnets is None or place is None or wheel is None:
        raise UndeterminedError(
            expected="[magnets], sensor.place_mm and wheel.diameter_mm",
            came=f"{' and '.join(missing)} missing",
            where=wagon.name,
            next_step="add what is missing to the wagon file",
        )
    return Needed(magnets, bodies(magnets, wagon.name), place, wheel / 2, layers_between(wagon, place))


def layers_between(wagon: Wagon, place_mm: Triple) -> Continuation | None:
    """What the floor makes of the field at a place of the sensor, at rest.

    Raises
    ------
    UsageError   layers that overlap, or lie at the axle or the sensor
    """
    try:
        return passage(wagon.floor, place_mm[2], over_mm=place_mm[:2])
    except ValueError as error:
        raise _wrong(error, wagon.name, "correct the floor's layers or sensor.place_mm in the wagon file") from None


def bodies(magnets: Magnets, where: str) -> tuple[Source, ...]:
    """The bodies that `[magnets]` stands for.

    Raises
    ------
    UsageError   sizes or a grade that are missing or unknown
    """
    try:
        return sources_of(magnets)
    except ValueError as error:
        raise _wrong(error, where, "correct [magnets] in the wagon file") from None


@contextmanager
def in_one_line(where: str) -> Iterator[None]:
    """What the parts below refuse ("PART: expected X, came Y"), as an error of the user's."""
    try:
        yield
    except ValueError as error:
        part, _, rest = str(error).partition(": ")
        expected, _, came = rest.removeprefix("expected ").rpartition(", came ")
        raise UsageError(
            expected=f"{part}: {expected or rest}",
            came=came or "otherwise",
            where=where,
            next_step="correct the wagon file, or leave the clashing part out",
        ) from None


def _wrong(error: ValueError, where: str, next_step: str) -> UsageError:
    """The same as an error of the user's: those lower down say "PART: expected X, came Y"."""
    part, _, rest = str(error).partition(": expected ")
    expected, _, came = rest.rpartition(", came ")
    return UsageError(expected=expected, came=came, where=f"{where}, {part}", next_step=next_step)
