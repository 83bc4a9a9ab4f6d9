"""A range of a line as CSV, and what lies between two places: against plain geometry."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wayrule.desk.lookingalong import lies_between, range_of
from wayrule.errors import UsageError
from wayrule.formats.tables import read_stations, write_stations
from wayrule.model import Stations, Surveyed
from wayrule.model.track import STATION_COLUMNS

RADIUS_MM = 500.0


def stations(s_mm: np.ndarray, length_mm: float, closed: bool, **columns: np.ndarray) -> Stations:
    n = len(s_mm)
    filled = {name: np.zeros(n) for name in STATION_COLUMNS} | {"s_mm": s_mm} | columns
    about = {"closed": closed, "length_mm": length_mm, "gauge_mm": 16.5, "wheelbase_mm": 65.0}
    return Stations(**filled, passes=np.ones(n, dtype=np.int64), **about)


def surveyed(line: Stations) -> Surveyed:
    return Surveyed("line", line, (), (), (), (), (), (), "van", "HO", 87.0, "0")


def ramp() -> Surveyed:
    """A straight of 2 m to the east that climbs 1 in 50."""
    s = np.arange(0.0, 2001.0, 5.0)
    return surveyed(stations(s, 2000.0, closed=False, x_mm=s, z_mm=s / 50))


def circle() -> Surveyed:
    """Once round to the left."""
    length = 2 * math.pi * RADIUS_MM
    s = np.linspace(0.0, length, 1000, endpoint=False)
    turn = s / RADIUS_MM
    places = {"x_mm": RADIUS_MM * np.sin(turn), "y_mm": RADIUS_MM * (1 - np.cos(turn)), "heading_rad": turn}
    return surveyed(stations(s, length, closed=True, **places))


def test_a_ramp_of_one_in_fifty() -> None:
    found = lies_between(ramp(), 250.0, 1252.5)
    assert not found.sure
    assert found.gradient == pytest.approx(1 / 50)
    assert found.between.rise_mm == pytest.approx(1002.5 / 50)
    assert found.between.distance_mm == pytest.approx(1002.5)
    assert math.isnan(found.gradient_sd)
    back = lies_between(ramp(), 1252.5, 250.0)
    assert (back.between.along_mm, back.gradient) == (pytest.approx(-1002.5), pytest.approx(1 / 50))


def test_across_a_circle_and_past_its_seam() -> None:
    half = math.pi * RADIUS_MM
    found = lies_between(circle(), 0.0, half).between
    assert found.distance_mm == pytest.approx(2 * RADIUS_MM, abs=0.01)  # its diameter
    assert found.turned_rad == pytest.approx(math.pi)
    past = lies_between(circle(), 1.5 * half, 0.5 * half).between
    assert past.along_mm == pytest.approx(half)
    assert past.turned_rad == pytest.approx(math.pi)
    near = lies_between(circle(), 2 * half - 1.0, 1.0).between
    assert (near.along_mm, near.distance_mm) == (pytest.approx(2.0), pytest.approx(2.0, abs=0.01))


@pytest.mark.parametrize(("a", "b"), [(-1.0, 5.0), (5.0, 2000.5), (float("nan"), 5.0)])
def test_a_place_off_the_line_is_one_clear_line(a: float, b: float) -> None:
    with pytest.raises(UsageError, match="expected a place on the line, which reaches from 0 to 2000 mm"):
        lies_between(ramp(), a, b)


def test_one_place_twice_is_one_clear_line() -> None:
    for line, a, b in ((ramp(), 5.0, 5.0), (circle(), 0.0, circle().stations.length_mm)):
        with pytest.raises(UsageError, match="expected two different places"):
            lies_between(line, a, b)


def test_a_range_is_the_rows_of_the_table_and_no_more() -> None:
    line = ramp().stations
    part = range_of(line, 500.0, 1003.0).splitlines()
    whole = write_stations(line).splitlines()
    assert part[0] == whole[0]
    assert part[1:] == whole[1 + 100 : 1 + 201]  # a station each 5 mm, 500 to 1000
    back = read_stations(b"\n".join(part), "part", closed=False, length_mm=500.0, gauge_mm=16.5, wheelbase_mm=65.0)
    assert back.s_mm[[0, -1]].tolist() == [500.0, 1000.0]
    with pytest.raises(UsageError, match="expected a range of chainage with stations, from 0 to 2000 mm, came 1 to 4"):
        range_of(line, 1.0, 4.0)


def test_what_is_not_known_stays_not_known() -> None:
    line = ramp()
    flat = replace(line, stations=replace(line.stations, z_mm=np.full(401, np.nan)))
    assert math.isnan(lies_between(flat, 0.0, 100.0).gradient)
