"""All that a sheet to work from has to say of a wagon, in one value that a drawing can be made of."""

from wayrule.model import Wagon, Worksheet
from wayrule.wagon.cautions import cautions
from wayrule.wagon.clearance import clash_lines, clearances
from wayrule.wagon.flats import PAPER_MM, flat_of, strips_of
from wayrule.wagon.whole import whole


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
    found = whole(wagon)
    strong = (found.axle.text,) if found.axle else ()
    clear = (*clash_lines(wagon), *(gap.text for gap in clearances(wagon) if gap.ok))
    rest = tuple(line for line in found.lines if line not in strong)
    remarks = (*strong, *clear, *rest)
    return Worksheet(wagon, strips_of(wagon, paper_mm), flat_of(wagon), remarks, cautions(wagon), found.missing)
