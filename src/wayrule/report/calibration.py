"""The page of a calibration: what is known of the wagon now, what to do next, and why to believe it."""

import re
from collections.abc import Mapping, Sequence
from typing import Final

from wayrule.model import Calibration, CalibrationDay, CalibrationPart, Wagon
from wayrule.model.calibration import CONSTANTS
from wayrule.model.purpose import KINDS, Purpose
from wayrule.report.numbers import MINUS, with_sd
from wayrule.report.page import Section, Sheet, render, scale_words
from wayrule.report.pictures import Picture
from wayrule.report.tables import Table, input_table, problem_table

SIGNS: Final = {"known": "known", "partly known": "partly known", "not yet known": "not yet known"}

BESIDES: Final = frozenset({"agreement", "recordings"})
"""Parts that are no part of the instrument: worth a word in the summary only where something is amiss."""

SHOWN: Final[dict[str, tuple[float, str]]] = {
    "1": (100.0, "%"),
    "rad": (57.29577951308232, "°"),
    "mm": (1.0, "mm"),
    "mm/s2": (1000.0 / 9806.65, "mg"),
    "s": (1000.0, "ms"),
}
"""Unit of a constant -> factor and the unit that a person reads."""


def calibration_page(
    day: CalibrationDay,
    wagon: Wagon,
    pictures: Mapping[str, Sequence[Picture]],
    tables: Mapping[str, Sequence[Table]],
    *,
    made: str,
    version: str,
) -> str:
    """The report of a day of calibrating.

    Parameters
    ----------
    pictures, tables : name of a part -> its drawings, its tables
    made : when, for the title block; "" leaves it out

    Returns
    -------
    str   a whole HTML document that refers to nothing outside itself
    """
    sections = [
        Section("next", "Do this next", points=day.todo or ("Nothing is left to do.",), points_title="In this order"),
        *(_part(part, pictures.get(part.name, ()), tables.get(part.name, ())) for part in day.parts),
        Section(
            "constants",
            "The wagon's constants",
            ("Each is the wagon's own; a run adds a part of its day.",),
            tables=(constants_table(day.calibration, day.before),),
        ),
        Section(
            "rests",
            "What it rests on",
            tables=(purpose_table(day.purposes), problem_table(day.problems), input_table(_inputs(day.calibration))),
        ),
    ]
    block = [
        ("Wagon", wagon.name),
        ("Scale", scale_words(wagon.scale, wagon.ratio)),
        ("Recordings today", str(len(day.purposes))),
        ("Recordings in all", str(len(day.calibration.runs))),
        *([("Made", made)] if made else []),
    ]
    sheet = Sheet(
        kind="calibration",
        title=f"Calibration of {wagon.name}",
        wagon=f"{wagon.name}, {scale_words(wagon.scale, wagon.ratio)}",
        result=tuple(standing_sentences(day)),
        plan=None,
        block=tuple(block),
        sections=tuple(sections),
        version=version,
        foot="Every number stands with its standard deviation (one sigma), or says that it has none.",
    )
    return render(sheet)


def standing_sentences(day: CalibrationDay) -> list[str]:
    """What is known, partly known and not yet known, and the first thing to do."""
    out = []
    for standing in SIGNS:
        named = [part for part in day.parts if part.standing == standing]
        names = [part.name for part in named if standing != "known" or part.name not in BESIDES]
        if names:
            out.append(f"{standing[0].upper()}{standing[1:]}: {', '.join(names)}.")
    if day.todo:
        out.append(f"Next: {day.todo[0]}")
    return out


def part_sentences(part: CalibrationPart) -> list[str]:
    """All that is said of a part, refusals and the next step among it."""
    out = [plus_minus(text) for text in part.told]
    out += [f"Not used: {plus_minus(text).rstrip('.')}." for text in part.refused]
    if part.todo:
        out.append(f"Do this next: {part.todo}")
    return out


def plus_minus(text: str) -> str:
    """With real signs.

    >>> plus_minus("-0.3 +- 0.1 mm, 2026-08-01")
    '−0.3 ± 0.1 mm, 2026-08-01'
    """
    return re.sub(r"(?<![\w.)])-(?=\d)", MINUS, text.replace("+-", "±"))


def _part(part: CalibrationPart, pictures: Sequence[Picture], tables: Sequence[Table]) -> Section:
    title = f"{part.name[0].upper()}{part.name[1:]}: {part.standing}"
    return Section(part.name.replace(" ", "-"), title, tuple(part_sentences(part)), tuple(pictures), tuple(tables))


def constants_table(now: Calibration, before: Calibration | None) -> Table:
    """Every constant now and before, in the units that people read."""
    rows = []
    for name in now.names:
        unit, meaning = CONSTANTS[name]
        factor, shown = SHOWN[unit]
        value, sd = now.one(name)
        earlier = "–"
        if before is not None and name in before.names:
            old, old_sd = before.one(name)
            earlier = with_sd(old * factor, old_sd * factor, shown)
        rows.append((meaning, with_sd(value * factor, sd * factor, shown), earlier))
    return Table(
        "constants-table",
        "What stays of them from day to day.",
        ("Constant", "Now", "Before"),
        (False, True, True),
        tuple(rows),
        note="What was not shown yet stands as it is likely for a wagon never seen.",
    )


def purpose_table(purposes: Sequence[tuple[str, Purpose]]) -> Table:
    """What each recording was taken for, and whether a person or the data said so."""
    rows = tuple((name, purpose_words(one), one.decided or "stated") for name, one in purposes)
    return Table(
        "purposes",
        "What each recording was taken for; write RUN@WHAT to overrule it.",
        ("Recording", "Taken for", "Why"),
        (False,) * 3,
        rows,
    )


def purpose_words(one: Purpose) -> str:
    """A purpose in words.

    >>> purpose_words(Purpose("laps", laps=5, length_mm=9012.0, sd_mm=2.0))
    'whole laps of a closed line: 5, each 9012 ± 2 mm'
    """
    words = KINDS[one.kind]
    if one.laps:
        words += f": {one.laps}" + (f", each {one.length_mm:g} ± {one.sd_mm:g} mm" if one.has_tape else "")
    elif one.has_tape:
        words += f": {one.length_mm:g} ± {one.sd_mm:g} mm"
    return words + (f": {one.turns}" if one.turns else "")


def _inputs(calibration: Calibration) -> list[tuple[str, str, str]]:
    wagon = ("wagon", calibration.wagon_name, calibration.wagon_sha256)
    return [wagon, *(("recording", name, digest) for name, digest in calibration.runs)]
