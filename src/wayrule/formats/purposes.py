"""The spelling of what a recording was made for: `RUN@spin`, `RUN@taped=3000:0.7`, `RUN@laps=5@lap=9012:2`."""

import difflib
import math
import re
from typing import Final

from wayrule.errors import UsageError
from wayrule.model.purpose import KINDS, Purpose

WORDS: Final = ("dry", "spin", "rest", "taped", "rod", "laps", "lap", "table", "position", "level", "turned", "run")

SHAPES: Final = {
    "taped": "taped=3000:0.7 (mm and its sd, mm)",
    "rod": "rod=300:0.05 (mm and its sd, mm)",
    "laps": "laps=5",
    "lap": "laps=5@lap=9012:2 (mm and its sd, mm)",
    "table": "table=10 (whole turns), or table alone",
    "spin": "spin, or spin=forward where it was turned forward first",
}

WORD: Final = re.compile(r"[A-Za-z_-]+(=[^@/\\]*)?")
"""What may be a word behind an @; a path may hold an @ too."""


def parse_purpose(text: str) -> tuple[str, Purpose]:
    """A recording's path and what it was made for.

    Parameters
    ----------
    text : str   RUN, or RUN with words behind an @ each

    Raises
    ------
    UsageError   naming the word, what was expected and what came

    Examples
    --------
    >>> path, made_for = parse_purpose("floor.csv@taped=3000:0.7:second")
    >>> path, made_for.length_mm, made_for.taping
    ('floor.csv', 3000.0, 'second')
    >>> parse_purpose("oval.csv@laps=5@lap=9012:2")[1].laps
    5
    >>> path, made_for = parse_purpose("me@home/spin.csv")
    >>> path, made_for.kind
    ('me@home/spin.csv', '')
    >>> path, made_for = parse_purpose("monday.waylog@wagon=Van-7@spin")
    >>> path, made_for.kind
    ('monday.waylog@wagon=Van-7', 'spin')
    """
    path, words, wagon = text, {}, ""
    while True:
        front, at, word = path.rpartition("@")
        if not at or not front or not WORD.fullmatch(word):
            break
        key, _, value = word.partition("=")
        key = key.strip().lower()
        if key == "wagon":  # which one of a raw log: it stays with the path
            path, wagon = front, f"@{word}"
            continue
        if key not in WORDS:
            raise _unknown(key, text)
        if key in words:
            raise _wrong(text, f"{key} once", "twice", key)
        words[key] = value.strip()
        path = front
    return path + wagon, _purpose(words, text)


def _purpose(words: dict[str, str], text: str) -> Purpose:
    """The words as one purpose."""
    lap = words.pop("lap", None)
    if lap is not None and set(words) != {"laps"}:
        raise _wrong(text, "laps= beside lap=, so that it is known how often it was passed", "lap= alone", "lap")
    if len(words) > 1:
        raise _wrong(text, "one purpose", " and ".join(sorted(words)), next(iter(words)))
    if not words:
        return Purpose()
    ((key, value),) = words.items()
    if key in ("taped", "rod"):
        return Purpose(key, **_length(value, key, text))  # type: ignore[arg-type]
    if key == "laps":
        laps = _count(value, key, text)
        return Purpose("laps", laps=laps, **({} if lap is None else _length(lap, "lap", text)))  # type: ignore[arg-type]
    if key == "table":
        return Purpose("table", turns=_count(value, key, text) if value else 0)
    if key == "spin" and value:
        if value.lower() != "forward":
            raise _wrong(text, "spin or spin=forward", value, key)
        return Purpose("spin", forward_first=True)
    if value:
        raise _wrong(text, f"{key} without a value", value, key)
    return Purpose(next(kind for kind in KINDS if kind == key))


def _length(value: str, key: str, text: str) -> dict[str, float | str]:
    """Length, sd and, where a third part stands, the taping's name."""
    parts = [part.strip() for part in value.split(":", 2)]
    numbers = [_number(part) for part in parts[:2]]
    if len(parts) < 2 or not all(number > 0 for number in numbers):
        raise _wrong(text, "a length and its sd, both above 0 mm", repr(value), key)
    if len(parts) == 3 and not (parts[2] and parts[2].isprintable()):
        raise _wrong(text, "a name for the taping behind the second colon", repr(parts[2]), key)
    return {"length_mm": numbers[0], "sd_mm": numbers[1], "taping": parts[2] if len(parts) == 3 else ""}


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _count(value: str, key: str, text: str) -> int:
    if not (value.isascii() and value.isdigit() and 1 <= int(value) <= 10_000):
        raise _wrong(text, f"a whole number of {'laps' if key == 'laps' else 'turns'}, 1 or more", repr(value), key)
    return int(value)


def _wrong(text: str, expected: str, came: str, key: str) -> UsageError:
    return UsageError(expected=expected, came=came, where=text, next_step=f"write @{SHAPES.get(key, key)}")


def _unknown(key: str, text: str) -> UsageError:
    near = difflib.get_close_matches(key, WORDS, n=1, cutoff=0.5)
    hint = f"did you mean @{SHAPES.get(near[0], near[0])}?" if near else "leave it off, and the data decide"
    return UsageError(expected=f"one of {', '.join(WORDS)} behind the @", came=repr(key), where=text, next_step=hint)
