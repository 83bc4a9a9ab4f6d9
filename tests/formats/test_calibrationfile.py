"""`calibration.json`: comes back as it was written, and every wrong thing in it is one clear line."""

import copy
import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.axles import axle_reference
from tests.calibrations import calibration, step
from wayrule.errors import WayruleError
from wayrule.formats.calibrationfile import KIND, CalibrationError, calibration_content, read_calibration
from wayrule.formats.jsonfile import write_json
from wayrule.model import Calibration
from wayrule.model.calibration import CONSTANTS

PLAIN = json.loads(write_json(calibration_content(calibration())))
WHOLE = calibration(made="2026-08-02T09:00:00Z", steps=(step(), step(scale=0.0021)), axle=axle_reference())
CONTENT = json.loads(write_json(calibration_content(WHOLE)))


def written(one: Calibration) -> bytes:
    return write_json(calibration_content(one))


def same(a: Calibration, b: Calibration) -> bool:
    arrays = ("values", "covariance", "rotation", "sway_rad", "sway_length_mm")
    plain = ("wagon_name", "wagon_sha256", "diameter_mm", "names", "sway_passes", "bias_rad_s", "bias_runs", "runs")
    more = ("version", "made")
    return (
        all(equal(getattr(a, k), getattr(b, k)) for k in arrays)
        and all(getattr(a, k) == getattr(b, k) for k in (*plain, *more))
        and repr(a.steps) == repr(b.steps)  # NaN is not itself
        and repr(a.axle) == repr(b.axle)
    )


def equal(one: np.ndarray | None, other: np.ndarray | None) -> bool:
    if one is None or other is None:
        return one is other
    return np.array_equal(one, other, equal_nan=True)


@pytest.mark.parametrize(
    "one",
    [
        calibration(),
        calibration(diameter_mm=None, runs=()),
        calibration(rotation=None, bias_rad_s=0.0, bias_runs=0),
        WHOLE,
        calibration(sway_rad=np.full(3, np.nan), sway_length_mm=np.full(3, np.nan), sway_passes=0.0),
        calibration(names=tuple(CONSTANTS), values=np.arange(17.0), covariance=np.diag(np.arange(1.0, 18.0) ** 2)),
    ],
)
def test_a_calibration_comes_back_to_the_last_bit(one: Calibration) -> None:
    before = written(one)
    back = read_calibration(before, "calibration.json")
    assert same(back, one)
    assert written(back) == before
    assert len(back.sha256) == 64


def test_a_file_without_the_later_entries_is_read_as_ever() -> None:
    assert not {"made", "axle", "steps"} & set(PLAIN)
    old = read_calibration(json.dumps(PLAIN).encode(), "c.json")
    assert (old.made, old.axle, old.steps) == ("", None, ())


def test_a_person_can_read_it() -> None:
    scale = CONTENT["constants"][0]
    assert list(scale) == ["name", "value", "sd", "unit", "meaning"]
    assert scale["name"] == "wheel_scale"
    assert "diameter_mm" in scale["meaning"]
    assert scale["sd"] ** 2 == pytest.approx(CONTENT["covariance"][0][0])
    assert CONTENT["wagon"] == {"name": "Clerestory van 7", "sha256": "cd" * 32, "diameter_mm": 10.5}


def changed(*path: str | int, to: object) -> dict[str, object]:
    """The content with one entry replaced; the one that is there taken out where `to` is ...."""
    content = copy.deepcopy(CONTENT)
    at = content
    for key in path[:-1]:
        at = at[key]  # type: ignore[index]
    if to is ...:
        del at[path[-1]]  # type: ignore[attr-defined]
    else:
        at[path[-1]] = to  # type: ignore[index]
    return content


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (changed("kind", to=...), f'kind: expected "{KIND}", came None'),
        (changed("kind", to="wayrule calibration 9"), f"expected \"{KIND}\", came 'wayrule calibration 9'"),
        (changed("wagon", to=...), "expected an entry wagon, came none"),
        (changed("wagon", to=[]), "c.json: wagon: expected a table, came []"),
        (changed("wagon", "name", to=7), "c.json: wagon: name: expected a text of one line, came 7"),
        (changed("wagon", "name", to="a\nb"), "expected a text of one line"),
        (changed("wagon", "diameter_mm", to="10"), "diameter_mm: expected a finite number, came '10'"),
        (changed("wagon", "diameter_mm", to=-1.0), "Calibration.diameter_mm: expected mm above 0, came -1.0"),
        (changed("wagon", "diameter_mm", to=...), "expected an entry diameter_mm, came none"),
        (changed("constants", to={}), "constants: expected a list, came {}"),
        (changed("constants", 0, to=3), "constants[0]: expected a table, came 3"),
        (changed("constants", 0, to=...), "covariance: expected 15 rows of 15 numbers"),
        (changed("constants", 3, "name", to="gyro_scale_w"), "Calibration.names: expected wheel_scale, slip_mm"),
        (changed("constants", 3, "value", to=None), "constants[3]: value: expected a finite number, came None"),
        (changed("constants", 3, "value", to=True), "constants[3]: value: expected a finite number, came True"),
        (changed("constants", 3, "value", to=1e40), "constants[3]: value: expected a finite number, came 1e+40"),
        (changed("constants", 3, "sd", to=0.5), "constants[3]: sd: expected the root of its variance"),
        (changed("constants", 3, "unit", to="%"), "constants[3]: unit: expected \"1\" for gyro_scale_y, came '%'"),
        (changed("covariance", 2, to=[1.0]), "covariance: expected 16 rows of 16 numbers"),
        (changed("covariance", 2, 3, to="x"), "covariance: expected a finite number, came 'x'"),
        (changed("covariance", 2, 3, to=1.0), "expected a symmetric positive definite matrix"),
        (changed("covariance", 2, 2, to=-1.0), "expected a symmetric positive definite matrix"),
        (changed("rotation", 0, 0, to=0.5), "Calibration.rotation: expected a rotation"),
        (changed("sway", "passes", to=-1), "Calibration.sway"),
        (changed("sway", "passes", to=0), "Calibration.sway: expected three sizes and lengths above 0, or none"),
        (changed("sway", "angles", to=[]), "Calibration.sway: expected three sizes and lengths above 0, or none"),
        (
            changed("sway", "angles", 0, "angle", to="yaw"),
            "angles: expected none, or heading, climb, roll, came ['yaw'",
        ),
        (changed("sway", "angles", 1, "sd_rad", to=0), "Calibration.sway: expected three sizes and lengths above 0"),
        (changed("gyro_bias", "runs", to=1.5), "gyro_bias: runs: expected a whole number, 0 or more, came 1.5"),
        (changed("gyro_bias", "runs", to=-1), "expected a whole number, 0 or more, came -1"),
        (changed("gyro_bias", "rms_rad_s", to=-1), "Calibration.bias: expected a size"),
        (changed("runs", 1, "sha256", to=None), "runs[1]: sha256: expected a text of one line, came None"),
        (changed("version", to=1), "version: expected a text of one line, came 1"),
        (changed("made", to="yesterday"), "Calibration.made: expected a time such as 2026-08-01T14:05:00Z, came 'yest"),
        (changed("steps", to={}), "steps: expected a list, came {}"),
        (changed("steps", 0, "made", to=5), "steps[0]: made: expected a text of one line, came 5"),
        (changed("steps", 0, "circles", to=[]), "DistanceStep.circles: expected one or more, each of another way"),
        (changed("steps", 0, "circles", 1, "way", to="straight"), "each of another way, came straight, straight"),
        (changed("steps", 0, "circles", 1, "way", to="sideways"), "way: expected one of straight, forward, backward, "),
        (changed("steps", 0, "circles", 0, "scale_sd", to=0), "RollingCircle straight: expected a scale and its sd"),
        (changed("steps", 1, "circles", 0, "legs", to=0), "legs: expected a whole number, 1 or more, came 0"),
        (changed("steps", 1, "circles", 0, "way_mm", to=-1), "RollingCircle straight: expected legs and their way"),
        (changed("steps", 1, "slip_mm", to=0.3), "slip_mm and slip_sd_mm are known together or not at all"),
        (changed("steps", 1, "runs", 0, "sha256", to=None), "runs[0]: sha256: expected a text of one line, came None"),
        (changed("axle", "turns", to=-1), "c.json: axle: expected an axle as it was learnt"),
    ],
)
def test_every_wrong_thing_is_one_line(content: dict[str, object], says: str) -> None:
    with pytest.raises(CalibrationError) as caught:
        read_calibration(json.dumps(content).encode(), "c.json")
    assert says in str(caught.value)
    assert str(caught.value).startswith("c.json")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("data", [b"", b"[]", b"\xff\xfe", b"nonsense", b'{"kind":', b"[" * 100_000])
def test_what_is_no_json_object_is_one_line(data: bytes) -> None:
    with pytest.raises(CalibrationError, match=r"calibration\.json of a survey"):
        read_calibration(data, "c.json")


def places(value: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [*([path] if path else []), *(p for key, one in inner for p in places(one, (*path, key)))]


JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([]), st.just({}), st.just([[1]])
)


@given(st.sampled_from(places(CONTENT)), JUNK | st.just(...))
def test_any_entry_may_be_anything(path: tuple[str | int, ...], junk: object) -> None:
    """Whatever stands in whatever place: refused in one line, or a calibration that says the same when written."""
    data = json.dumps(changed(*path, to=junk)).encode()
    try:
        found = read_calibration(data, "c.json")
    except WayruleError as error:
        told = str(error)
    else:
        told = ""
        assert same(read_calibration(written(found), "c.json"), found)
        assert all(math.isfinite(v) for v in found.values)
    assert "\n" not in told


@given(st.binary(max_size=300))
def test_any_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(WayruleError):
        read_calibration(data, "c.json")
