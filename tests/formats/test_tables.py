"""Tables of a survey folder: the contract's columns, digits, empty cells, speed; control points; JSON."""

import csv
import io
import json
import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.refusals import value_or_one_line
from wayrule.errors import WayruleError
from wayrule.formats.control import read_control
from wayrule.formats.digits import printed, significant
from wayrule.formats.jsonfile import read_json, write_json
from wayrule.formats.relations import RelationError, read_relations
from wayrule.formats.tables import read_stations, write_elements, write_faults, write_stations, write_travel
from wayrule.model import Element, Fault, State, Stations, Travel
from wayrule.model.track import STATION_COLUMNS


def stations(n=50, seed=1, **changed):
    rng = np.random.default_rng(seed)
    numbers = {name: rng.normal(0, 1000 if name[1:] == "_mm" else 1e-3, n) for name in STATION_COLUMNS}
    numbers["s_mm"] = np.arange(n) * 5.0
    numbers |= changed
    return Stations(**numbers, passes=rng.integers(1, 9, n), closed=True, length_mm=n * 5.0, gauge_mm=16.5,
                    wheelbase_mm=65.0)  # fmt: skip


def travel(n=4, **changed):
    zero = np.zeros(n)
    names = ("distance_mm", "distance_sd_mm", "speed_mm_s", "speed_sd_mm_s")
    fields = dict.fromkeys(names, zero) | {"chainage_mm": np.full(n, np.nan), "state": np.zeros(n, dtype=np.int8)}
    return Travel("monday", np.arange(n) / 10, scale_sd=0.004, scale_source="caliper", **(fields | changed))


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode())))  # the standard library as the second reader


def test_stations_have_the_contracts_columns_in_its_order():
    header = write_stations(stations()).split(b"\n")[0].decode()
    assert header == (
        "s_mm,x_mm,y_mm,z_mm,heading_rad,curvature_1_mm,gradient,cant_mm,x_sd_mm,y_sd_mm,z_sd_mm,heading_sd_rad,"
        "curvature_sd_1_mm,gradient_sd,cant_sd_mm,passes"
    )


def test_stations_read_back_to_the_printed_digits_and_stay_unchanged():
    before = stations(cant_mm=np.full(50, np.nan))
    copy = {name: getattr(before, name).copy() for name in STATION_COLUMNS}
    data = write_stations(before)
    again = read_stations(data, "stations.csv", closed=True, length_mm=250.0, gauge_mm=16.5, wheelbase_mm=65.0)
    for name in STATION_COLUMNS:
        # half of the last digit kept: 4 decimals of mm, 8 of rad, 9 significant (sigmas 5) of curvature and gradient
        if name.startswith(("curvature", "gradient")):
            tolerance = {"rtol": 5.1e-5 if "_sd" in name else 5.1e-9, "atol": 0}
        else:
            tolerance = {"rtol": 0, "atol": 5.1e-9 if name.endswith("_rad") else 5.1e-5}
        np.testing.assert_allclose(getattr(again, name), getattr(before, name), err_msg=name, **tolerance)
        np.testing.assert_array_equal(getattr(before, name), copy[name])
    assert (again.passes == before.passes).all()
    assert rows(data)[0]["cant_mm"] == ""
    assert b"nan" not in data.lower()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (write_stations(stations()).replace(b"cant_mm", b"kant_mm", 1), "no cant_mm; survey the line again"),
        (write_stations(stations()).replace(b"\n5.0,", b"\nfive,", 1), "expected a table of stations"),
        (b"", "expected a table of stations"),
        (write_stations(stations()).replace(b"\n5.0,", b"\n-5.0,", 1), "must rise strictly"),
    ],
)
def test_what_is_no_table_of_stations(data, words):
    with pytest.raises(WayruleError) as caught:
        read_stations(data, "stations.csv", closed=True, length_mm=250.0, gauge_mm=16.5, wheelbase_mm=65.0)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_travel_by_the_contract_with_scale_speeds_worked_by_hand():
    # 100 km/h over 1:87 is 100e6 / 3600 / 87 = 319.285 mm/s; 1 mile = 1.609344 km
    run = travel(speed_mm_s=np.array([319.2848, -319.2848, 0.0, np.nan]), state=np.array([0, 0, 1, 2], dtype=np.int8))
    found = rows(write_travel(run, 87.0))
    assert ",".join(found[0]) == (
        "t_s,chainage_mm,distance_mm,distance_sd_mm,speed_mm_s,speed_sd_mm_s,scale_km_h,scale_mph,state"
    )
    assert [row["state"] for row in found] == ["rolling", "rolling", "standing", "unsure"]
    assert float(found[0]["scale_km_h"]) == pytest.approx(100.0, abs=5e-4)
    assert float(found[1]["scale_mph"]) == pytest.approx(-62.137, abs=5e-4)
    assert found[3]["scale_km_h"] == found[0]["chainage_mm"] == ""
    assert {s.name.lower() for s in State} == {"rolling", "standing", "unsure"}


def test_elements_and_faults():
    elements = (
        Element("profile", "grade", 0.0, 500.0, gradient0=0.02, gradient1=0.02, rise_sd_mm=0.25),
        Element(
            "plan",
            "arc",
            300.0,
            700.0,
            curvature0_1_mm=1 / 438,
            curvature1_1_mm=1 / 438,
            curvature_sd_1_mm=1e-6,
            length_sd_mm=2.5,
            turned_sd_rad=0.004,
        ),
        Element("plan", "straight", 0.0, 300.0, curvature0_1_mm=0.0, curvature1_1_mm=0.0),
    )
    found = rows(write_elements(elements))
    assert ",".join(list(found[0])[:8]) == "plane,kind,s0_mm,s1_mm,curvature0_1_mm,curvature1_1_mm,gradient0,gradient1"
    assert [row["kind"] for row in found] == ["straight", "arc", "grade"]
    assert (found[1]["curvature0_1_mm"], found[1]["radius_mm"]) == ("0.00228310502", "438.0")
    assert (found[0]["radius_mm"], found[0]["gradient0"]) == ("", "")
    # 438^2 x 1e-6 = 0.1918 mm; a climb of 2 % over 500 mm
    assert (found[1]["length_sd_mm"], found[1]["radius_sd_mm"], found[1]["turned_sd_rad"]) == ("2.5", "0.1918", "0.004")
    assert (found[2]["rise_mm"], found[2]["rise_sd_mm"], found[1]["rise_mm"]) == ("10.0", "0.25", "")
    faults = (Fault("one_rail_dip", 900.0, 0.41234567, "mm", 0.05, "left"), Fault("kink", 100.0, -1.5, "deg", 0.1))
    found = rows(write_faults(faults))
    assert ",".join(found[0]) == "kind,s_mm,size,unit,sd,rail"
    assert [row["kind"] for row in found] == ["kink", "one_rail_dip"]
    assert (found[0]["rail"], found[1]["rail"], found[1]["size"]) == ("", "left", "0.4123")
    assert write_faults(()) == b"kind,s_mm,size,unit,sd,rail\n"
    assert write_elements(()).startswith(b"plane,kind,s0_mm,")


def test_a_table_of_twelve_thousand_rows_is_no_wait():
    table = stations(12_000)
    best = math.inf
    for _ in range(3):
        start = time.perf_counter()
        write_stations(table)
        best = min(best, time.perf_counter() - start)
    assert best < 0.3  # measured 0.02 s alone; room for a busy machine


@given(st.floats(-1e12, 1e12, allow_nan=False), st.integers(0, 9))
def test_printed_is_within_half_of_its_last_digit(value, decimals):
    # two ulp besides: rounding in binary
    limit = 0.5 * 10.0**-decimals + 4e-16 * abs(value)
    assert abs(printed(np.array([value]), decimals)[0] - value) <= limit


@given(st.floats(1e-250, 1e250), st.integers(1, 12))
def test_significant_is_within_half_of_its_last_digit(value, digits):
    assert significant(np.array([value, -value]), digits) == pytest.approx(
        [value, -value], rel=0.51 * 10.0 ** (1 - digits)
    )


# ------------------------------------------------------------------------------------------------ control


def test_control_points_with_blanks():
    data = (
        b"\xef\xbb\xbfat;x_mm;y_mm;z_mm;heading_rad;sd_mm;z_sd_mm;heading_sd_rad\r\n"
        b"Start;0;0;;0,5;1;;0,01\r\n# taped\r\nbox;;;12,5;;;2;\r\n"
    )
    start, box = read_control(data, "c.csv")
    assert (start.at, start.x_mm, start.y_mm, start.heading_rad) == ("start", 0.0, 0.0, 0.5)
    assert (start.sd_mm, start.heading_sd_rad, start.has_height) == (1.0, 0.01, False)
    assert (box.at, box.has_plan, box.z_mm, box.z_sd_mm) == ("box", False, 12.5, 2.0)


HEAD = b"at,x_mm,y_mm,sd_mm\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "c.csv: expected a header line and rows of numbers, came an empty file"),
        (b"at,x,y_mm\nstart,0,0\n", "came unknown x; name the columns so"),
        (b"x_mm,y_mm,sd_mm\n0,0,1\n", "each once and at among them, came x_mm, y_mm, sd_mm"),
        (b"at,at\na,b\n", "each once and at among them"),
        (HEAD, "expected a row for each control point, came none"),
        (HEAD + b"start,0,0\n", "c.csv line 2: expected 4 columns as in the header, came 3"),
        (HEAD + b"start,zero,0,1\n", "c.csv line 2: expected a number or a blank in x_mm, came 'zero'"),
        (HEAD + b"start,0,inf,1\n", "expected a number or a blank in y_mm, came 'inf'"),
        (HEAD + b"start,,,1\n", "at least one of x_mm and y_mm, z_mm, heading_rad, came none for 'start'"),
        (HEAD + b"start,5,,1\n", "x_mm and y_mm are known together or not at all"),
        (HEAD + b"start,5,5,\n", "x_mm is given, so sd_mm must be > 0, came nan; say how well it is known"),
        (HEAD + b",5,5,1\n", "expected start, end or the name of a mark, came nothing"),
        (HEAD + b"a,5,5,1\n\na,6,6,1\n", "expected each place once, came a in lines 2 and 4"),
        (
            HEAD + b"".join(b"m%d,1,1,1\n" % k for k in range(10_001)),
            "expected at most 10000 control points, came more",
        ),
    ],
)
def test_each_slip_in_a_control_file_is_one_line(data, words):
    with pytest.raises(WayruleError) as caught:
        read_control(data, "c.csv")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 60), st.binary(max_size=5), st.integers(0, 4))
def test_damaged_control_files_give_points_or_one_line(at, put, cut):
    data = HEAD + b"start,0,0,1\nbridge,120.5,-33,2\n"
    found = value_or_one_line(lambda: read_control(data[:at] + put + data[at + cut :], "c.csv"), WayruleError) or ()
    assert len({point.at for point in found}) == len(found)
    assert all(math.isfinite(point.x_mm) and point.sd_mm > 0 for point in found if point.has_plan)


# ------------------------------------------------------------------------------------------------ relations


def test_relations_with_blanks():
    data = (
        b"\xef\xbb\xbfat;to;dx_mm;dy_mm;dz_mm;dheading_rad;sd_mm;z_sd_mm;heading_sd_rad\r\n"
        b"under;over;0;0;62,5;;1;0,5;\r\n# taped\r\nStart;END;;;;-1,57;;;0,01;\r\n"
    )
    bridge, shelf = read_relations(data, "r.csv")
    assert (bridge.at, bridge.to, bridge.dx_mm, bridge.dy_mm, bridge.dz_mm) == ("under", "over", 0.0, 0.0, 62.5)
    assert (bridge.sd_mm, bridge.z_sd_mm, bridge.has_heading) == (1.0, 0.5, False)
    assert (shelf.at, shelf.to, shelf.has_plan, shelf.has_height) == ("start", "end", False, False)
    assert (shelf.dheading_rad, shelf.heading_sd_rad) == (-1.57, 0.01)


PAIR = b"at,to,dx_mm,dy_mm,sd_mm\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"at,dx_mm\nstart,0\n", "each once and at and to among them, came at, dx_mm"),
        (b"at,to,x_mm\na,b,0\n", "came unknown x_mm; name the columns so"),
        (PAIR, "r.csv: expected a row for each relation, came none; under,over,0,0 is a first one"),
        (PAIR + b"a,b,0,0\n", "r.csv line 2: expected 5 columns as in the header, came 4"),
        (PAIR + b"a,b,0,left,1\n", "r.csv line 2: expected a number or a blank in dy_mm, came 'left'"),
        (PAIR + b"a,b,,,1\n", "at least one of dx_mm and dy_mm, dz_mm, dheading_rad, came none for 'a' to 'b'"),
        (PAIR + b"a,b,0,,1\n", "dx_mm and dy_mm are known together or not at all"),
        (PAIR + b"a,b,0,0,\n", "dx_mm is given, so sd_mm must be > 0, came nan; say how well it is known"),
        (PAIR + b"a,a,0,0,1\n", "expected two different places, came 'a' and 'a'"),
        (PAIR + b"a,b,0,0,1\n\nb,a,0,0,1\n", "expected each pair of places once, came b and a in lines 2 and 4"),
        (PAIR + b"".join(b"m%d,n,1,1,1\n" % k for k in range(501)), "expected at most 500 relations, came more"),
    ],
)
def test_each_slip_in_a_file_of_relations_is_one_line(data, words):
    with pytest.raises(RelationError) as caught:
        read_relations(data, "r.csv")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 70), st.binary(max_size=5), st.integers(0, 4))
def test_damaged_files_of_relations_give_relations_or_one_line(at, put, cut):
    data = PAIR + b"under,over,0,0,1\nstart,end,120.5,-33,2\n"
    found = value_or_one_line(lambda: read_relations(data[:at] + put + data[at + cut :], "r.csv"), WayruleError) or ()
    assert len({frozenset((one.at, one.to)) for one in found}) == len(found)
    assert all(math.isfinite(one.dx_mm) and one.sd_mm > 0 for one in found if one.has_plan)


# ------------------------------------------------------------------------------------------------ json


def test_json_is_what_strict_readers_take():
    content = {"a": math.nan, "b": np.array([1.0, np.inf]), "c": np.int64(3), "d": ("x", None, True), "e": {"ü": 0.1}}

    def refuse(name):
        raise AssertionError(f"{name} is no JSON (RFC 8259)")

    again = json.loads(write_json(content), parse_constant=refuse)
    assert again == {"a": None, "b": [1.0, None], "c": 3, "d": ["x", None, True], "e": {"ü": 0.1}}
    with pytest.raises(TypeError, match="expected what JSON can hold, came object"):
        write_json({"a": object()})


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"{", "expected a JSON file as Wayrule writes it"),
        (b"\xff\xfe", "expected a JSON file as Wayrule writes it"),
        (b"[1]", "expected a JSON object, came list"),
        (b"[" * 200_000, "c.json: expected a JSON file as Wayrule writes it"),
    ],
)
def test_what_is_no_json_object(data, words):
    with pytest.raises(WayruleError) as caught:
        read_json(data, "c.json")
    assert words in str(caught.value)
