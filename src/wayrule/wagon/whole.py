"""The wagon as a whole: what it weighs when it is built, whether board and cell go in, for how long, and its axle."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from wayrule.errors import UndeterminedError
from wayrule.model import Wagon
from wayrule.wagon.axle import Strength, strength
from wayrule.wagon.flats import flat_of
from wayrule.wagon.hours import RunningTime, running_time
from wayrule.wagon.mass import MassSum, MassVerdict, mass_sum, mass_verdicts, no_verdict
from wayrule.wagon.room import Room, room

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Whole:
    """What could be reckoned; None, or nothing, where the wagon file does not say enough.

    mass        after the ballast is out and board, cell and load are in
    published   that mass against NEM 302 and NMRA RP-20.1
    compared    why neither speaks of it; "" where one does or there is no mass
    room        for board and cell
    hours       on the cell
    axle        its strength with the flats
    missing     what was not reckoned, and the keys that it needs, one line each
    """

    mass: MassSum | None
    published: tuple[MassVerdict, ...]
    compared: str
    room: Room | None
    hours: RunningTime | None
    axle: Strength | None
    missing: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """What was reckoned, in sentences: mass, room, running time, axle."""
        return tuple(_sentences(self))


def whole(wagon: Wagon) -> Whole:
    """Mass, room, running time and strength, each where the file has the keys for it.

    Raises
    ------
    UsageError   a flat outside the axle, an unknown material of the axle

    Examples
    --------
    >>> from wayrule.model import Body, Wheel
    >>> found = whole(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), body=Body(over_buffers_mm=110.0, mass_g=50.0)))
    >>> found.lines[0]
    'Finished mass 50.0 g, without board.mass_g and cell.mass_g, not stated.'
    >>> [line.split(":")[0] for line in found.missing]
    ['flats', 'room', 'running time']
    """
    missing: list[str] = []
    mass = mass_sum(wagon)
    axle = None
    if flat_of(wagon) is not None:
        axle = _or_missing(lambda: strength(wagon, mass.total_g if mass else 0.0), missing)
    elif not unfiled(wagon):
        missing.append("flats: axle.diameter_mm and magnets.flat_radius_mm")
    if mass is None:
        missing.append("mass: body.mass_g")
    published = mass_verdicts(wagon)
    inside = room(wagon)
    if inside is None:
        needs = (("body.inside_mm", wagon.body.inside_mm), ("board.size_mm", wagon.board.size_mm),
                 ("cell.size_mm", wagon.cell.size_mm))  # fmt: skip
        missing.append(f"room: {', '.join(key for key, value in needs if value is None)}")
    hours = _or_missing(lambda: running_time(wagon), missing)
    compared = no_verdict(wagon) if mass is not None and not published else ""
    return Whole(mass, published, compared, inside, hours, axle, tuple(missing))


def unfiled(wagon: Wagon) -> bool:
    """Whether the file says that nothing is filed: a ring, or discs glued on the round axle."""
    magnets, thick = wagon.magnets, wagon.axle.diameter_mm
    if magnets is None:
        return False
    return magnets.kind == "ring" or (thick is not None and magnets.flat_radius_mm == thick / 2)


def _or_missing(reckoned: Callable[[], T], missing: list[str]) -> T | None:
    """What was reckoned; or None, and what it needs among what is missing."""
    try:
        return reckoned()
    except UndeterminedError as error:
        missing.append(f"{error.where}: {error.expected} (came {error.came})")
        return None


def _sentences(found: Whole) -> Iterator[str]:
    if found.mass is not None:
        lacks = found.mass.missing
        rest = f", without {' and '.join(lacks)}, not stated" if lacks else ""
        yield f"Finished mass {found.mass.total_g:.1f} g{rest}."
    yield from (verdict.text for verdict in found.published)
    yield from (part for part in (found.compared,) if part)
    yield from (part.text for part in (found.room, found.hours, found.axle) if part is not None)
