"""`--relation FILE`: where one place of the line lies as seen from another, as CSV."""

import math
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.placetable import PlaceRow, PlaceTable, read_places
from wayrule.model import Relation


class RelationError(WayruleError):
    """A file of relations that cannot be used."""


TABLE: Final = PlaceTable(
    of="relation",
    places=("at", "to"),
    numbers=("dx_mm", "dy_mm", "dz_mm", "dheading_rad", "sd_mm", "z_sd_mm", "heading_sd_rad"),
    most=500,  # each is up to four equations along the whole line
    example="under,over,0,0",
    error=RelationError,
)


def read_relations(data: bytes, name: str) -> tuple[Relation, ...]:
    """Relations between places, in the order of the file; a blank cell is unknown.

    Parameters
    ----------
    data : bytes   columns `at` and `to` (start, end or a mark's name), dx_mm (ahead), dy_mm (to the left), dz_mm (up),
                   dheading_rad, sd_mm, z_sd_mm, heading_sd_rad, in any order; those that nobody
                   measured may be left out

    Raises
    ------
    RelationError   naming line, column and value
    WayruleError    for a file that is no text table

    Examples
    --------
    >>> read_relations(b"at,to,dx_mm,dy_mm,sd_mm\\nunder,over,0,0,1\\n", "crossing.csv")[0].to
    'over'
    """
    return tuple(_relation(row) for row in read_places(data, name, TABLE))


def _relation(row: PlaceRow) -> Relation:
    at, to = row.places
    if all(math.isnan(row.numbers[key]) for key in ("dx_mm", "dy_mm", "dz_mm", "dheading_rad")):
        raise RelationError(
            expected="at least one of dx_mm and dy_mm, dz_mm, dheading_rad",
            came=f"none for {at!r} to {to!r}",
            where=row.where,
            next_step="0 says that they are one place; give a value, or leave the row out",
        )
    try:
        return Relation(at, to, **row.numbers)
    except ValueError as error:
        raise RelationError(
            expected="two places and what lies between them, with the sd of each value",
            came=str(error),
            where=row.where,
            next_step="say how well it is known: sd_mm for dx and dy, z_sd_mm, heading_sd_rad",
        ) from None
