"""Looking along a surveyed line: the stations of a range, and what lies between two places of it."""

import math
from dataclasses import dataclass, replace

import numpy as np

from wayrule.errors import UsageError
from wayrule.formats.tables import write_stations
from wayrule.model import Between, Stations, Survey, Surveyed
from wayrule.model.track import STATION_COLUMNS

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Lies:
    """What lies between two places, and the average gradient from one to the other.

    gradient, gradient_sd   rise over way along the track, climbing with chainage > 0; its sd from those of both, taken
                            as independent (the way's counts little: by gradient times its share)
    sure                    whether the sigmas are known: a survey read back from its folder has none between places
    """

    between: Between
    gradient: float
    gradient_sd: float
    sure: bool


def range_of(line: Stations, from_mm: float, to_mm: float) -> bytes:
    """The stations of a range as CSV, in the columns of `stations.csv`.

    Raises
    ------
    UsageError   for a range without a station
    """
    inside = (line.s_mm >= from_mm) & (line.s_mm <= to_mm)
    if not inside.any():
        raise UsageError(
            expected=f"a range of chainage with stations, from {line.s_mm[0]:.0f} to {line.s_mm[-1]:.0f} mm",
            came=f"{from_mm:g} to {to_mm:g} mm",
            where="the shown range",
            next_step="show more of the line",
        )
    kept = {name: getattr(line, name)[inside] for name in (*STATION_COLUMNS, "passes")}
    return write_stations(replace(line, **kept))


def lies_between(line: Surveyed, a_mm: float, b_mm: float, survey: Survey | None = None) -> Lies:
    """What lies between two places by their chainages.

    Parameters
    ----------
    line : as its folder holds it
    survey : the same line while its equations are still at hand: then every sigma is exact

    Raises
    ------
    UsageError   for a place off the line, or one place twice
    """
    if survey is not None and survey.joint is not None:
        found, sure = survey.between(a_mm, b_mm), True
    else:
        found, sure = _without_sigma(line.stations, a_mm, b_mm), False
    along, rise = found.along_mm, found.rise_mm
    sd = math.hypot(found.rise_sd_mm / along, rise * found.along_sd_mm / along**2)
    return Lies(found, rise / along, sd, sure)


def _without_sigma(line: Stations, a_mm: float, b_mm: float) -> Between:
    """Between two places of the stations alone, straight from station to station."""
    low, high = (0.0, line.length_mm) if line.closed else (float(line.s_mm[0]), float(line.s_mm[-1]))
    for place in (a_mm, b_mm):
        if not low <= place <= high:
            raise UsageError(
                expected=f"a place on the line, which reaches from {low:.0f} to {high:.0f} mm",
                came=f"{place:g}",
                where=f"between {a_mm:g} and {b_mm:g}",
                next_step="choose a place on the line",
            )
    if a_mm == b_mm or (line.closed and abs(a_mm - b_mm) == line.length_mm):
        raise UsageError(
            expected="two different places",
            came=f"{a_mm:.0f} mm of chainage twice",
            where=f"between {a_mm:g} and {b_mm:g}",
            next_step="choose two places",
        )
    (xa, ya, za, ha), (xb, yb, zb, hb) = _at(line, a_mm), _at(line, b_mm)
    along, turned = b_mm - a_mm, hb - ha
    if line.closed and along < 0:  # the way chainage grows, past the seam
        along += line.length_mm
        turned += 2 * math.pi * round((line.heading_rad[-1] - line.heading_rad[0]) / (2 * math.pi))
    return Between(
        f"{a_mm:g}", f"{b_mm:g}", a_mm, b_mm,
        distance_mm=math.hypot(xb - xa, yb - ya), distance_sd_mm=NAN, along_mm=along, along_sd_mm=NAN,
        rise_mm=zb - za, rise_sd_mm=NAN, turned_rad=turned, turned_sd_rad=NAN, gap_mm=NAN, gap_sd_mm=NAN, foot_mm=NAN,
    )  # fmt: skip


def _at(line: Stations, s_mm: float) -> tuple[float, float, float, float]:
    """Place, height and heading at a chainage; past the last station of a closed line on towards the first."""
    s, columns = line.s_mm, [line.x_mm, line.y_mm, line.z_mm, line.heading_rad]
    if line.closed:
        turns = 2 * math.pi * round((line.heading_rad[-1] - line.heading_rad[0]) / (2 * math.pi))
        s = np.append(s, line.length_mm + s[0])
        columns = [*(np.append(c, c[0]) for c in columns[:3]), np.append(columns[3], columns[3][0] + turns)]
    x, y, z, heading = (float(np.interp(s_mm, s, c)) for c in columns)
    return x, y, z, heading
