"""The axle's entry in a calibration file: comes back to the last bit, and what is wrong in it is one clear line."""

import copy
import json
import math
from typing import Any

import numpy as np
import pytest

from tests.axles import axle_reference
from wayrule.formats.axlereference import axle_content, read_axle
from wayrule.formats.entries import CalibrationError, Entry
from wayrule.formats.jsonfile import write_json
from wayrule.model import AxleReference

ARRAYS = ("basis", "centre_mt", "semi_axes_mt", "curve_mt", "curve_sd_mt", "angle_rad", "angle_sd_rad")
PLAIN = ("tilt_rad", "forward", "forward_source", "noise_mt", "residual_mt", "turns", "runs")


def back(content: dict[str, Any]) -> AxleReference:
    return read_axle(Entry(content, "c.json: axle"))


def written(reference: AxleReference) -> dict[str, Any]:
    return dict(json.loads(write_json(axle_content(reference))))


def two_axes() -> AxleReference:
    curve = axle_reference().curve_mt.copy()
    curve[:, 1] = np.nan
    return axle_reference(curve_mt=curve, centre_mt=np.array([0.02, np.nan, 0.05]), temperature_c=math.nan)


@pytest.mark.parametrize("one", [axle_reference(), two_axes(), axle_reference(forward_source="", runs=())])
def test_it_comes_back_to_the_last_bit(one: AxleReference) -> None:
    again = back(written(one))
    assert all(np.array_equal(getattr(again, k), getattr(one, k), equal_nan=True) for k in ARRAYS)
    assert all(getattr(again, k) == getattr(one, k) for k in PLAIN)
    assert np.array_equal(again.temperature_c, one.temperature_c, equal_nan=True)


def test_the_axes_that_were_recorded_are_told() -> None:
    assert two_axes().axes.tolist() == [True, False, True]
    assert written(two_axes())["centre_mt"][1] is None


def wrong(*path: str | int, to: object) -> dict[str, Any]:
    content = copy.deepcopy(written(axle_reference()))
    at: Any = content
    for key in path[:-1]:
        at = at[key]
    if to is ...:
        del at[path[-1]]
    else:
        at[path[-1]] = to
    return content


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (wrong("basis", to=[[1, 0, 0]]), "axle: basis: expected 2 rows of 3 numbers"),
        (wrong("basis", 0, to=[2.0, 0, 0]), "two unit vectors at right angles"),
        (wrong("basis", 0, to=[None, 0, 1]), "axle: basis: expected a finite number, came None"),
        (wrong("centre_mt", to=[1.0, 2.0]), "axle: centre_mt: expected 3 numbers"),
        (wrong("centre_mt", 2, to=None), "numbers in two axes at least, and in those of the basis"),
        (wrong("curve_mt", 3, 1, to=None), "numbers in the axes of the centre, in no others"),
        (wrong("semi_axes_mt", to=[1.3, 2.7]), "expected two above 0"),
        (wrong("forward", to=0), "expected 1 or -1, came 0"),
        (wrong("forward_source", to=...), "expected an entry forward_source, came none"),
        (wrong("harmonics", 5, to=...), "axle: harmonics: expected orders 1 to 6, came [1, 2, 3, 4, 5]"),
        (wrong("harmonics", 2, "sd_rad", to=-1.0), "no sd below 0"),
        (wrong("noise_mt", to=-0.1), "AxleReference.noise_mt: expected 0 or more, came -0.1"),
        (wrong("temperature_c", to="warm"), "axle: temperature_c: expected a finite number, came 'warm'"),
        (wrong("curve_sd_mt", 0, to="x"), "axle: curve_sd_mt: expected a finite number, came 'x'"),
        (wrong("runs", 0, "name", to=5), "axle: runs[0]: name: expected a text of one line, came 5"),
    ],
)
def test_what_is_wrong_is_one_line_with_its_place(content: dict[str, Any], says: str) -> None:
    with pytest.raises(CalibrationError) as caught:
        back(content)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
