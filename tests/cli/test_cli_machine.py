"""What `--json` prints can be read by any JSON reader: no NaN, no objects of ours."""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayrule.cli.machine import emit, plain
from wayrule.model import Mark, State


@dataclass
class Found:
    place: Path
    sd: float
    marks: tuple[Mark, ...]


def test_records_become_objects() -> None:
    found = Found(Path("a") / "b.csv", float("inf"), (Mark(1.5, "bridge"),))
    assert plain(found) == {"place": str(Path("a") / "b.csv"), "sd": None, "marks": [{"t_s": 1.5, "name": "bridge"}]}


def test_states_and_arrays_become_words_and_lists() -> None:
    assert plain([State.ROLLING, np.array([1.0, np.nan]), np.float64(2.0), np.int64(3)]) == [
        "rolling",
        [1.0, None],
        2.0,
        3,
    ]


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(VALUES)
def test_everything_survives_a_strict_reader(thing: object) -> None:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON (RFC 8259, section 6)")

    text = json.dumps(plain(thing), allow_nan=False)
    assert json.loads(text, parse_constant=refuse) == plain(thing)


def test_letters_stay_letters(capsys: pytest.CaptureFixture[str]) -> None:
    emit({"name": "Brücke"})
    assert '"Brücke"' in capsys.readouterr().out
