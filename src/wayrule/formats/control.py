"""`--control FILE`: places whose coordinates or heading are known, as CSV."""

import math
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.placetable import PlaceRow, PlaceTable, read_places
from wayrule.model import Control


class ControlError(WayruleError):
    """A file of control points that cannot be used."""


TABLE: Final = PlaceTable(
    of="control point",
    places=("at",),
    numbers=("x_mm", "y_mm", "z_mm", "heading_rad", "sd_mm", "z_sd_mm", "heading_sd_rad"),
    most=10_000,  # nobody tapes more points than that
    example="start,0,0",
    error=ControlError,
)


def read_control(data: bytes, name: str) -> tuple[Control, ...]:
    """Control points, in the order of the file; a blank cell is unknown.

    Parameters
    ----------
    data : bytes   columns `at` (start, end or a mark's name), x_mm, y_mm, z_mm, heading_rad, sd_mm, z_sd_mm,
                   heading_sd_rad, in any order; those that nobody measured may be left out

    Raises
    ------
    ControlError   naming line, column and value
    WayruleError   for a file that is no text table

    Examples
    --------
    >>> read_control(b"at,x_mm,y_mm,sd_mm\\nstart,0,0,1\\nbridge,1200,350,2\\n", "taped.csv")[1].x_mm
    1200.0
    """
    return tuple(_control(row) for row in read_places(data, name, TABLE))


def _control(row: PlaceRow) -> Control:
    (at,) = row.places
    if all(math.isnan(row.numbers[key]) for key in ("x_mm", "y_mm", "z_mm", "heading_rad")):
        raise ControlError(
            expected="at least one of x_mm and y_mm, z_mm, heading_rad",
            came=f"none for {at!r}",
            where=row.where,
            next_step="give a value, or leave the row out",
        )
    try:
        return Control(at, **row.numbers)
    except ValueError as error:
        raise ControlError(
            expected="a control point with the sd of each value",
            came=str(error),
            where=row.where,
            next_step="say how well it is known: sd_mm for x and y, z_sd_mm, heading_sd_rad",
        ) from None
