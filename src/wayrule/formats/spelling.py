"""The spellings of stated facts: `RUN@laps=4`, `lap:9012:5`, `1200:1800`, and runs' short names."""

import difflib
import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from wayrule.errors import UsageError
from wayrule.model import Control, Facts, Relation, Stretch, Tape
from wayrule.model.facts import START_LEVEL_SD


def _number(text: str, *, what: str, where: str, shape: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise UsageError(
            expected=f"{what} as a number of mm (point for the decimals)",
            came=repr(text),
            where=where,
            next_step=f"write {shape}",
        )
    return value


def parse_run(text: str) -> tuple[str, int | None]:
    """Split `RUN@laps=4` into the run's path and its laps; None where none are stated.

    >>> parse_run("monday.csv@laps=4")
    ('monday.csv', 4)
    >>> parse_run("me@home/monday.csv")
    ('me@home/monday.csv', None)
    >>> parse_run("monday.waylog@wagon=van 7@laps=4")
    ('monday.waylog@wagon=van 7', 4)

    Raises
    ------
    UsageError   for another word than `laps`, or laps that are not a whole number >= 1
    """
    path, at, tail = text.rpartition("@")
    key, equals, value = tail.partition("=")
    if not at or not equals or "/" in key or "\\" in key:
        return text, None
    if key.strip().lower() == "wagon":
        inner, laps = parse_run(path)
        return f"{inner}@{tail}", laps
    if key.strip().lower() != "laps":
        raise UsageError(
            expected="laps after the @ of a run", came=repr(key), where=text, next_step=f"write {path}@laps=4"
        )
    if not value.strip().isascii() or not value.strip().isdigit() or int(value) < 1:
        raise UsageError(
            expected="a whole number of laps, 1 or more",
            came=repr(value),
            where=text,
            next_step=f"write {path}@laps=4, or leave @laps off if the run does not end where it began",
        )
    return path, int(value)


def parse_wagon(text: str) -> tuple[str, str]:
    """Split `RUN@wagon=NAME` into the file's path and the wagon that is wanted of it; "" where none is named.

    >>> parse_wagon("monday.waylog@wagon=Van 7"), parse_wagon("me@home/monday.csv")
    (('monday.waylog', 'Van 7'), ('me@home/monday.csv', ''))
    """
    path, at, tail = text.rpartition("@")
    key, equals, value = tail.partition("=")
    return (path, value.strip()) if at and equals and key.strip().lower() == "wagon" else (text, "")


def parse_tape(text: str) -> Tape:
    """Read `WHAT:MM:SD`.

    >>> parse_tape("lap:9012:5")
    Tape(what='lap', length_mm=9012.0, sd_mm=5.0)
    >>> parse_tape("bridge..signal:2500.5:1").marks
    ('bridge', 'signal')

    Raises
    ------
    UsageError   naming the part that is wrong
    """
    shape = "WHAT:MM:SD, for example lap:9012:5"
    where = f"--tape {text}"
    parts = text.rsplit(":", 2)
    if len(parts) != 3:
        raise UsageError(expected="three parts WHAT:MM:SD", came=repr(text), where=where, next_step=f"write {shape}")
    length_mm = _number(parts[1], what="a taped length", where=where, shape=shape)
    sd_mm = _number(parts[2], what="its standard deviation", where=where, shape=shape)
    if length_mm <= 0 or sd_mm <= 0:
        raise UsageError(
            expected="a length and a standard deviation above 0 mm",
            came=f"{length_mm:g} and {sd_mm:g}",
            where=where,
            next_step="say how well the tape was read; 2 to 5 mm is usual for a tape laid along rails",
        )
    what = parts[0].strip()
    word = what.lower()
    if word in ("lap", "stops"):
        return Tape(word, length_mm, sd_mm)
    first, dots, second = (piece.strip() for piece in what.partition(".."))
    if not (dots and first and second):
        raise UsageError(
            expected="lap, stops or MARK..MARK before the first colon",
            came=repr(parts[0]),
            where=where,
            next_step=f"write {shape}, or bridge..signal:2500:3 with the names of two marks",
        )
    return Tape(f"{first}..{second}", length_mm, sd_mm)


def parse_stretch(text: str, option: str = "--level") -> Stretch:
    """Read `FROM:TO` in mm of chainage.

    >>> parse_stretch("1200:1800")
    Stretch(s0_mm=1200.0, s1_mm=1800.0)

    Raises
    ------
    UsageError   when it is not two rising numbers
    """
    shape = "FROM:TO in mm of chainage, for example 1200:1800"
    where = f"{option} {text}"
    first, colon, second = text.partition(":")
    if not colon:
        raise UsageError(expected="two parts FROM:TO", came=repr(text), where=where, next_step=f"write {shape}")
    s0_mm = _number(first, what="a chainage", where=where, shape=shape)
    s1_mm = _number(second, what="a chainage", where=where, shape=shape)
    if s1_mm <= s0_mm:
        raise UsageError(
            expected="FROM below TO",
            came=f"{s0_mm:g} and {s1_mm:g}",
            where=where,
            next_step="on a closed line a stretch across the start ends beyond the line's length",
        )
    return Stretch(s0_mm, s1_mm)


def parse_pair(text: str) -> tuple[str, str]:
    """Read `A:B`, two places by chainage or by the name of a mark.

    >>> parse_pair("Vale bridge:2500")
    ('Vale bridge', '2500')

    Raises
    ------
    UsageError   when it is not two places, or twice the same
    """
    a, colon, b = (piece.strip() for piece in text.partition(":"))
    if not colon or not a or not b or ":" in b:
        raise UsageError(
            expected="two places A:B",
            came=repr(text),
            where=f"--between {text}",
            next_step="write chainages in mm or marks, for example 1200:Vale bridge",
        )
    for place in (a, b):
        if place.lower() in ("nan", "inf", "-inf", "infinity"):
            raise UsageError(
                expected="a chainage in mm or the name of a mark",
                came=repr(place),
                where=f"--between {text}",
                next_step="write for example 1200:Vale bridge",
            )
    if a == b:
        raise UsageError(
            expected="two different places", came=repr(text), where=f"--between {text}", next_step="name two places"
        )
    return a, b


def run_names(paths: Sequence[str]) -> tuple[str, ...]:
    """Short names of runs, all different: the file name without its ending, with its folder where two would agree.

    >>> run_names(["monday.csv", "a/loop.csv", "b/loop.csv"])
    ('monday', 'a-loop', 'b-loop')
    >>> run_names(["monday.waylog@wagon=Van 7", "monday.waylog@wagon=Coach 2"])
    ('monday-Van-7', 'monday-Coach-2')
    """
    folders, stems = zip(*(_pieces(p) for p in paths), strict=True) if paths else ((), ())
    names = list(stems)
    for depth in range(1, max((len(f) for f in folders), default=0) + 1):
        twice = [name for name, times in Counter(n.lower() for n in names).items() if times > 1]
        names = [
            "-".join((*folder[-depth:], stem)) if name.lower() in twice else name
            for folder, stem, name in zip(folders, stems, names, strict=True)
        ]
    unique: list[str] = []
    for name in names:
        candidate, number = name, 2
        while candidate.lower() in {u.lower() for u in unique}:
            candidate, number = f"{name}-{number}", number + 1
        unique.append(candidate)
    return tuple(unique)


def _pieces(path: str) -> tuple[list[str], str]:
    bare, wagon = parse_wagon(path)
    *folder, file = re.split(r"[/\\:]+", bare)
    stem, dot, _ = file.rpartition(".")
    name = (stem if dot and stem else file).strip(".") or "run"
    called = re.sub(r"[^\w]+", "-", wagon).strip("-")
    return [part for part in folder if part.strip(".")], f"{name}-{called}" if called else name


def facts_from_words(
    runs: Sequence[str],
    *,
    closed_laps: int | None = None,
    turned: Iterable[str] = (),
    tapes: Iterable[str] = (),
    controls: Sequence[Control] = (),
    relations: Sequence[Relation] = (),
    level: Iterable[str] = (),
    straight: Iterable[str] = (),
    open_line: bool = False,
    not_turned: Iterable[str] = (),
    as_mounted: Iterable[str] = (),
    start_level: float | None = None,
) -> tuple[dict[str, str], Facts]:
    """Turn the words of the command line into run names, their paths, and the stated facts.

    Parameters
    ----------
    runs : RUN or RUN@laps=N, as typed
    closed_laps : short for @laps=N of a single run
    start_level : per mille, how near to level the start is believed to be; None leaves the default

    Returns
    -------
    paths, facts : run name -> path in the order given; the facts, keyed by run name

    Raises
    ------
    UsageError   for words that do not fit together

    Examples
    --------
    >>> paths, facts = facts_from_words(["monday.csv@laps=4", "tuesday.csv"], turned=["tuesday.csv"])
    >>> paths, dict(facts.laps), facts.turned
    ({'monday': 'monday.csv', 'tuesday': 'tuesday.csv'}, {'monday': 4}, frozenset({'tuesday'}))
    """
    parsed = [parse_run(text) for text in runs]
    names = run_names([path for path, _ in parsed])
    paths = {name: path for name, (path, _) in zip(names, parsed, strict=True)}
    laps = {name: n for name, (_, n) in zip(names, parsed, strict=True) if n is not None}
    if closed_laps is not None:
        laps = {**laps, **_closed_laps(closed_laps, names, laps)}
    _open_or_closed(open_line, laps)
    ways = {
        option: frozenset(_named_run(word, paths, option) for word in words)
        for option, words in (
            ("--turned", turned),
            ("--not-turned", not_turned),
            ("--as-mounted", as_mounted),
        )
    }
    _one_way(ways["--turned"], ways["--not-turned"])
    return paths, Facts(
        laps=laps,
        turned=ways["--turned"],
        tapes=tuple(parse_tape(text) for text in tapes),
        controls=tuple(controls),
        relations=tuple(relations),
        level=tuple(parse_stretch(text, "--level") for text in level),
        straight=tuple(parse_stretch(text, "--straight") for text in straight),
        open=open_line,
        not_turned=ways["--not-turned"],
        as_mounted=ways["--as-mounted"],
        start_level_sd=START_LEVEL_SD if start_level is None else _start_level(start_level),
    )


def _open_or_closed(open_line: bool, laps: Mapping[str, int]) -> None:
    if open_line and laps:
        name, count = next(iter(laps.items()))
        raise UsageError(
            expected="an open line, or laps of a closed one",
            came=f"--open, and {count} laps of {name}",
            where="--open",
            next_step="leave one of them off",
        )


def _one_way(turned: frozenset[str], not_turned: frozenset[str]) -> None:
    for name in sorted(turned & not_turned):
        raise UsageError(
            expected="a run that is turned or is not",
            came="--turned and --not-turned",
            where=name,
            next_step="leave one of them off",
        )


def _start_level(per_mille: float) -> float:
    if not 0.0 < per_mille < math.inf:
        raise UsageError(
            expected="a number of per mille above 0",
            came=f"{per_mille:g}",
            where="--start-level",
            next_step="say how far from level the start may be (one sigma): 20 is taken if not given, 1000 is anything",
        )
    return per_mille / 1000.0


def _closed_laps(closed_laps: int, names: Sequence[str], laps: Mapping[str, int]) -> dict[str, int]:
    if closed_laps < 1:
        raise UsageError(
            expected="a whole number of laps, 1 or more",
            came=str(closed_laps),
            where="--closed-laps",
            next_step="leave it off if the run does not end where it began",
        )
    if len(names) != 1:
        raise UsageError(
            expected="--closed-laps with a single run",
            came=f"{len(names)} runs",
            where="--closed-laps",
            next_step=f"write the laps behind each run, as {names[0] if names else 'RUN'}.csv@laps={closed_laps}",
        )
    stated = laps.get(names[0], closed_laps)
    if stated != closed_laps:
        raise UsageError(
            expected="one number of laps for the run",
            came=f"@laps={stated} and --closed-laps {closed_laps}",
            where=names[0],
            next_step="leave one of them off",
        )
    return {names[0]: closed_laps}


def _named_run(word: str, paths: Mapping[str, str], option: str) -> str:
    for name, path in paths.items():
        if word == path:
            return name
    if word in paths:
        return word
    near = difflib.get_close_matches(word, [*paths.values(), *paths], n=1, cutoff=0.0)
    raise UsageError(
        expected="one of the runs given, written as in the list without its @",
        came=repr(word),
        where=option,
        next_step=f"did you mean {near[0]}?" if near else "give the runs first",
    )
