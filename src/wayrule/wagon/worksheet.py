"""All that a sheet to work from has to say of a wagon, in one value that a drawing can be made of."""

from collections.abc import Callable

from wayrule.errors import UndeterminedError
from wayrule.model import Wagon, Worksheet
from wayrule.wagon.axle import strength
from wayrule.wagon.cautions import cautions
from wayrule.wagon.clearance import clash_lines, clearances
from wayrule.wagon.flats import PAPER_MM, flat_of, strips_of
from wayrule.wagon.hours import running_time
from wayrule.wagon.mass import mass_sum, mass_verdicts, no_verdict
from wayrule.wagon.room import room


def worksheet(wagon: Wagon, paper_mm: float = PAPER_MM) -> Worksheet:
    """Strips, flats, remarks and cautions; what the file does not say enough for stands under `missing`.

    Parameters
    ----------
    paper_mm   thickness of the paper that the strips are printed on [mm]

    Raises
    ------
    UsageError   a flat outside the axle, an unknown material

    Examples
    --------
    >>> from wayrule.model import Axle, Wheel
    >>> sheet = worksheet(Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), axle=Axle(2.0)))
    >>> [strip.what for strip in sheet.strips], sheet.flat
    (['wheel, on its tread', 'axle'], None)
    """
    remarks: list[str] = []
    missing: list[str] = []
    flats = flat_of(wagon)
    if flats is None and not _unfiled(wagon):
        missing.append("flats: axle.diameter_mm and magnets.flat_radius_mm")
    summed = mass_sum(wagon)
    if flats is not None:
        _say(lambda: strength(wagon, summed.total_g if summed else 0.0).text, remarks, missing)
    remarks += [*clash_lines(wagon), *(gap.text for gap in clearances(wagon) if gap.ok)]
    if summed is None:
        missing.append("mass: body.mass_g")
    else:
        remarks.append(_mass(summed.total_g, summed.missing))
        remarks += [verdict.text for verdict in mass_verdicts(wagon)] or [no_verdict(wagon)]
    found = room(wagon)
    if found is not None:
        remarks.append(found.text)
    _say(lambda: running_time(wagon).text, remarks, missing)
    return Worksheet(wagon, strips_of(wagon, paper_mm), flats, tuple(remarks), cautions(wagon), tuple(missing))


def _unfiled(wagon: Wagon) -> bool:
    """Whether the file says that nothing is filed: a ring, or discs glued on the round axle."""
    magnets, thick = wagon.magnets, wagon.axle.diameter_mm
    if magnets is None:
        return False
    return magnets.kind == "ring" or (thick is not None and magnets.flat_radius_mm == thick / 2)


def _mass(total_g: float, missing: tuple[str, ...]) -> str:
    rest = f", without {' and '.join(missing)}, not stated" if missing else ""
    return f"Finished mass {total_g:.1f} g{rest}."


def _say(sentence: Callable[[], str], remarks: list[str], missing: list[str]) -> None:
    """The sentence among the remarks, or what it needs among what is missing."""
    try:
        remarks.append(sentence())
    except UndeterminedError as error:
        missing.append(f"{error.where}: {error.expected} (came {error.came})")
