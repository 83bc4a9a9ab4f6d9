"""What a recording was made for, as it is spelled; every wrong word is one line."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.refusals import value_or_one_line
from wayrule.errors import UsageError
from wayrule.formats.purposes import WORDS, parse_purpose
from wayrule.model.purpose import KINDS, Purpose


@pytest.mark.parametrize(
    ("text", "path", "purpose"),
    [
        ("a.csv", "a.csv", Purpose()),
        ("me@home/a.csv", "me@home/a.csv", Purpose()),
        ("me@home.csv", "me@home.csv", Purpose()),
        (r"C:\runs\a.csv@spin", r"C:\runs\a.csv", Purpose("spin")),
        ("a.csv@spin=forward", "a.csv", Purpose("spin", forward_first=True)),
        ("a.csv@taped=3000.4:0.7", "a.csv", Purpose("taped", 3000.4, 0.7)),
        ("a.csv@taped=3000:0.7:second", "a.csv", Purpose("taped", 3000.0, 0.7, "second")),
        ("a.csv@rod=300:0.05", "a.csv", Purpose("rod", 300.0, 0.05)),
        ("a.csv@laps=5", "a.csv", Purpose("laps", laps=5)),
        ("a.csv@laps=5@lap=9012:2", "a.csv", Purpose("laps", 9012.0, 2.0, laps=5)),
        ("a.csv@lap=9012:2@laps=5", "a.csv", Purpose("laps", 9012.0, 2.0, laps=5)),
        ("a.csv@table", "a.csv", Purpose("table")),
        ("a.csv@TABLE=10", "a.csv", Purpose("table", turns=10)),
        *((f"a.csv@{word}", "a.csv", Purpose(word)) for word in ("dry", "rest", "position", "level", "turned", "run")),
    ],
)
def test_every_word(text: str, path: str, purpose: Purpose) -> None:
    assert repr(parse_purpose(text)) == repr((path, purpose))


def test_every_kind_has_a_word() -> None:
    assert set(KINDS) - {""} == set(WORDS) - {"lap"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "a.csv@spn",
            "expected one of dry, spin, rest, .* behind the @, came 'spn'; did you mean @spin, or spin",
        ),
        ("a.csv@zzz", "came 'zzz'; leave it off, and the data decide"),
        ("a.csv@taped=3000", "a length and its sd, both above 0 mm, came '3000'; write @taped=3000:0.7"),
        ("a.csv@taped=3000:0", "a length and its sd, both above 0 mm, came '3000:0'"),
        ("a.csv@taped=nan:1", "came 'nan:1'"),
        ("a.csv@taped=3000:1:", "a name for the taping behind the second colon, came ''"),
        ("a.csv@rod=3x:1", "came '3x:1'; write @rod=300:0.05"),
        ("a.csv@laps=2.5", "a whole number of laps, 1 or more, came '2.5'; write @laps=5"),
        ("a.csv@laps=0", "a whole number of laps, 1 or more, came '0'"),
        ("a.csv@table=-1", "a whole number of turns, 1 or more, came '-1'"),
        ("a.csv@lap=9012:2", "laps= beside lap=, .* came lap= alone; write @laps=5@lap=9012:2"),
        ("a.csv@spin=back", "expected spin or spin=forward, came back"),
        ("a.csv@rest=3", "expected rest without a value, came 3"),
        ("a.csv@rest@level", "expected one purpose, came level and rest"),
        ("a.csv@rest@rest", "expected rest once, came twice"),
    ],
)
def test_every_wrong_word_is_one_line(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says) as caught:
        parse_purpose(text)
    assert str(caught.value).startswith(text)


@given(st.lists(st.sampled_from([*WORDS, "=", "@", "3:1", "5", ":x", "a.csv", "\n", "/", "ä"]), max_size=8))
def test_anything_is_a_purpose_or_one_line(parts: list[str]) -> None:
    found = value_or_one_line(lambda: parse_purpose("".join(parts)), UsageError)
    if found is not None:
        assert found[1].kind in KINDS


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "sing"},
        {"kind": "taped"},
        {"kind": "rest", "length_mm": 3.0, "sd_mm": 1.0},
        {"kind": "taped", "length_mm": 3.0, "sd_mm": math.inf},
        {"kind": "laps"},
    ],
)
def test_a_wrong_purpose_cannot_exist(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="Purpose"):
        Purpose(**wrong)  # type: ignore[arg-type]
