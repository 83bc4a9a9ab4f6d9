"""A survey folder is read back as it was written; what is not as written is refused in one line."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from tests.report.sample import ODD, survey
from wayrule import store
from wayrule.errors import WayruleError
from wayrule.formats.surveyfolder import read_survey_folder
from wayrule.model import Element, Survey
from wayrule.model.track import STATION_COLUMNS

WHAT = {"hand made": survey} | {name: made for name, (made, _) in ODD.items()}


@pytest.mark.parametrize("made", WHAT.values(), ids=WHAT)
def test_a_folder_holds_the_survey_to_its_written_digits(made: "type[Survey]", tmp_path: Path) -> None:
    original = made()
    store.write_survey(tmp_path / "Vale loop", original, "<html>")
    back = store.read_survey(tmp_path / "Vale loop")
    assert back.name == "Vale loop"
    for name in STATION_COLUMNS:  # 4 decimals of mm, 8 of rad; 9 digits of curvature and gradient, 5 of their sigmas
        digits = 1e-5 if "_sd" in name else 1e-8
        np.testing.assert_allclose(
            getattr(back.stations, name),
            getattr(original.stations, name),
            rtol=digits,
            atol=6e-5 * ("_mm" in name[-3:] and "1_mm" not in name) + 6e-9,
        )
    assert (back.stations.closed, back.stations.gauge_mm) == (original.stations.closed, original.stations.gauge_mm)
    assert back.stations.length_mm == original.stations.length_mm
    assert back.faults == original.faults
    assert [(s, m.name) for s, m in back.marks] == [(s, m.name) for s, m in original.marks]
    assert [e.name for e in back.estimates] == [e.name for e in original.estimates]
    assert (back.ratio, back.scale, back.wagon_name) == (original.ratio, original.scale, original.wagon_name)
    assert back.inputs == original.inputs
    wanted = sorted(original.elements, key=lambda e: (e.plane, e.s0_mm))
    for one, other in zip(back.elements, wanted, strict=True):
        for field in dataclasses.fields(Element):
            a, b = getattr(one, field.name), getattr(other, field.name)
            same = (
                a == b if isinstance(a, str) else math.isclose(a, b, rel_tol=1e-5, abs_tol=1e-4) or (a != a and b != b)
            )
            assert same, (field.name, a, b)


def files() -> dict[str, bytes]:
    return store.survey_files(survey(), "<html>")


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("faults.csv", b"kink", b"kunk", "vale/faults.csv line 2: expected kind one of kink, dip"),
        ("faults.csv", b"1.24", b"much", "vale/faults.csv line 2: expected a number or nothing in size"),
        ("faults.csv", b"rail", b"side", "came no rail"),
        ("elements.csv", b"plan,arc", b"plan,bow", "vale/elements.csv line"),
        ("survey.json", b'"wagon"', b'"waggon"', "expected an entry 'wagon'"),
        ("survey.json", b'"gauge_mm": 16.5', b'"gauge_mm": "wide"', "expected a number 'gauge_mm'"),
        ("survey.json", b'"role"', b'"roll"', "came no 'role'"),
        ("stations.csv", b"x_mm", b"y_mm", "vale/stations.csv"),
    ],
)
def test_what_is_not_as_written_is_named(file: str, old: bytes, new: bytes, said: str) -> None:
    broken = files()
    assert old in broken[file]
    broken[file] = broken[file].replace(old, new)
    with pytest.raises(WayruleError) as caught:
        read_survey_folder(broken, "vale")
    assert said in str(caught.value)


def test_a_missing_table_is_named() -> None:
    few = files()
    del few["elements.csv"]
    with pytest.raises(WayruleError, match=r"expected elements\.csv as `wayrule survey` writes it, came no such file"):
        read_survey_folder(few, "vale")


@pytest.mark.parametrize(
    ("made", "came"), [("none", "came nothing"), ("empty", "a folder without survey.json"), ("file", "came a file")]
)
def test_what_is_no_survey_folder_is_refused(made: str, came: str, tmp_path: Path) -> None:
    place = tmp_path / "place"
    if made == "empty":
        place.mkdir()
    if made == "file":
        place.write_text("x")
    with pytest.raises(WayruleError, match=came):
        store.read_survey(place)
