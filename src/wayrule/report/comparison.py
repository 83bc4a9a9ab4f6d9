"""Two surveys side by side, in words, tables and drawings: what changed, where, by how much, how sure."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wayrule.model import Change, Comparison, Difference, FaultFate, Finding, FindingFate, Mark, Series
from wayrule.report.alterations import difference_picture, movement_picture
from wayrule.report.lengths import metres
from wayrule.report.numbers import MINUS, with_sd
from wayrule.report.page import Section, Sheet, render, scale_words
from wayrule.report.pictures import Picture
from wayrule.report.readings import FAULT_NAMES
from wayrule.report.tables import Table

Marks = Sequence[tuple[float, Mark]]

WAYS: Final[dict[str, tuple[str, str]]] = {
    "curvature": ("curves more to the left", "curves more to the right"),
    "gradient": ("climbs more", "falls more"),
    "cant": ("left rail higher", "right rail higher"),
    "plan": ("moved to the left", "moved to the right"),
    "height": ("higher", "lower"),
}
"""Quantity -> what a positive and a negative change are, looking along the first survey's chainage."""

FATES: Final[dict[str, str]] = {
    "gone": "gone",
    "smaller": "smaller",
    "same": "as it was",
    "larger": "larger",
    "new": "new",
    "not told": "no longer told, yet no significant change",
    "newly told": "newly told, yet no significant change",
}

FINDING_FATES: Final[dict[str, str]] = {
    "gone": "gone",
    "smaller": "less grave",
    "same": "as it was",
    "larger": "graver",
    "new": "new",
}
VERDICT_WORDS: Final = {"pass": "pass", "near": "near", "fail": "fail", "cannot_tell": "cannot tell"}

NEAR_MM: Final = 500.0
"""A mark names a place within this; beyond, the chainage says it better."""


def comparison_sentences(found: Comparison, *, planned: bool = False) -> list[str]:
    """The whole answer in a few sentences."""
    laid = found.registered
    how = "the same way" if laid.way > 0 else "the other way"
    longer = _plain(1e2 * (1 / laid.stretch - 1), "+.3f")
    out = [
        f"{found.after_name} against {found.before_name}: run {how}, its chainage 0 lies at "
        f"{_plain(laid.start_mm / 1000, '.3f')} m, its lengths differ by {longer} %; "
        f"{laid.overlap_mm / 1000:.2f} m are common."
    ]
    count = len(found.changes)
    chance = "(5 % false alarm on the whole line)"
    if planned:
        where = f"in {count} place{'s' if count > 1 else ''}" if count else "nowhere"
        out.append(f"The track leaves its plan {where}, beyond the tolerance and what its error bars explain {chance}.")
    else:
        how_many = (
            f"{count} significant change{'s' if count > 1 else ''}" if count else "No significant change anywhere"
        )
        out.append(f"{how_many} {chance}.")
    tally = {word: sum(one.fate == word for one in found.fates) for word in FATES}
    told = [f"{number} {FATES[word]}" for word, number in tally.items() if number]
    if told:
        out.append(f"Faults: {', '.join(told)}.")
    if found.findings is not None:
        tally = {word: sum(one.fate == word for one in found.findings) for word in FATES}
        words = [f"{number} {FINDING_FATES[word]}" for word, number in tally.items() if number]
        out.append(f"Findings: {', '.join(words) if words else 'none before and none after'}.")
    return [*out, *found.notes]


def _plain(value: float, digits: str) -> str:
    """A number with a real minus sign, and none before a zero.

    >>> _plain(-0.00001, ".3f"), _plain(-1.5, "+.1f")
    ('0.000', '−1.5')
    """
    text = format(value, digits)
    return text.lstrip("-") if float(text) == 0 else text.replace("-", MINUS)


def change_sentence(change: Change, marks: Marks = ()) -> str:
    """One change in words.

    >>> change_sentence(Change("cant", 3500.0, 3600.0, 3550.0, -0.8, "mm", 0.06, 13.0)).replace(chr(160), " ")
    'right rail higher by 0.80 ± 0.06 mm at 3.550 m (3.50 to 3.60 m)'
    """
    words = WAYS[change.quantity][change.size < 0]
    size = with_sd(abs(change.size), change.sd, change.unit)
    near = _near(change.s_mm, marks)
    return (
        f"{words} by {size} at {change.s_mm / 1000:.3f} m{near} "
        f"({change.s0_mm / 1000:.2f} to {change.s1_mm / 1000:.2f} m)"
    )


def _near(s_mm: float, marks: Marks) -> str:
    """The nearest mark, if it is near."""
    named = [(abs(s - s_mm), mark.name) for s, mark in marks if np.isfinite(s)]
    if not named or min(named)[0] > NEAR_MM:
        return ""
    gap, name = min(named)
    return f", {gap:.0f} mm from {name}"


def change_table(changes: Sequence[Change], marks: Marks = ()) -> Table:
    """Significant changes, by chainage."""
    rows = tuple(
        (
            metres(c.s_mm) + _near(c.s_mm, marks),
            f"{c.s0_mm / 1000:.2f} to {c.s1_mm / 1000:.2f} m",
            c.quantity,
            WAYS[c.quantity][c.size < 0],
            with_sd(abs(c.size), c.sd, c.unit),
            f"{c.sigma:.1f}",
        )
        for c in changes
    )
    return Table(
        "changes",
        "Significant changes: where largest, stretch, what, by how much (one sigma), and in sigmas.",
        ("Where", "Stretch", "Quantity", "Now", "By", "Sigmas"),
        (True, True, False, False, True, True),
        rows,
        empty="No significant change anywhere.",
    )


def fate_table(fates: Sequence[FaultFate]) -> Table:
    """Before and after of every fault."""
    rows = tuple(
        (
            metres(one.fault.s_mm),
            FAULT_NAMES[one.fault.kind] + (f", {one.fault.rail}" if one.fault.rail else ""),
            _size(one, before=True),
            _size(one, before=False),
            with_sd(one.change, one.sd, "°" if one.fault.unit == "deg" else "mm"),
            FATES[one.fate],
        )
        for one in fates
    )
    return Table(
        "fates",
        "Each fault before and after. The change is measured at its place from both surveys, not from the two sizes.",
        ("Where", "What", "Before", "After", "Change of size", "Verdict"),
        (True, False, True, True, True, False),
        rows,
        empty="Neither survey lists a fault on the common track.",
    )


def finding_table(fates: Sequence[FindingFate]) -> Table:
    """Before and after of every finding."""

    def told(one: Finding | None) -> str:
        if one is None:
            return "not found"
        return f"{VERDICT_WORDS[one.verdict]}, {with_sd(one.size, one.sd, one.unit)}"

    rows = tuple(
        (
            metres(one.s_mm),
            one.finding.kind.replace("_", " "),
            told(one.before),
            told(one.after),
            FINDING_FATES[one.fate],
        )
        for one in fates
    )
    return Table(
        "findings",
        "Each finding before and after, by the rule that it was held against.",
        ("Where", "What", "Before", "After", "Verdict"),
        (True, False, True, True, False),
        rows,
        empty="Both judgements pass everywhere on the common track.",
    )


def _size(fate: FaultFate, *, before: bool) -> str:
    one = fate.before if before else fate.after
    return "not told" if one is None else with_sd(one.size, one.sd, "°" if one.unit == "deg" else one.unit)


def movement_table(series: Series) -> Table:
    """Where each place lies in the last survey against the first, and whether it moved in any."""
    rows = []
    for k, place in enumerate(series.places_mm):
        moved = [name for name, flags in (("sideways", series.plan_moved), ("height", series.height_moved)) if flags[k]]
        rows.append(
            (
                metres(float(place)),
                with_sd(float(series.plan_mm[-1, k]), float(series.plan_sd_mm[-1, k]), "mm"),
                with_sd(float(series.height_mm[-1, k]), float(series.height_sd_mm[-1, k]), "mm"),
                ", ".join(moved) or "no",
            )
        )
    return Table(
        "movement",
        f"{series.names[-1]} against {series.names[0]}: sideways (left +) and height, and what moved in any survey.",
        ("Where", "Sideways", "Height", "Moved"),
        (True, True, True, False),
        tuple(rows),
    )


def comparison_page(
    found: Sequence[Comparison],
    *,
    series: Series | None,
    marks: Marks,
    wagon: str,
    scale: str,
    ratio: float,
    version: str,
    planned: bool = False,
) -> str:
    """The report of a comparison, a whole HTML page; of several, the last first."""
    last = found[-1]
    sections = []
    if series is not None:
        pictures = (movement_picture(series, "plan"), movement_picture(series, "height"))
        sections.append(Section("series", "Movement over time", pictures=pictures, tables=(movement_table(series),)))
    for number, one in enumerate(reversed(found), 1):
        said = tuple(comparison_sentences(one)) if len(found) > 1 else ()
        tables = [_own(change_table(one.changes, marks), number)]
        if not planned:
            tables.append(_own(fate_table(one.fates), number))
        if one.findings is not None:
            tables.append(_own(finding_table(one.findings), number))
        drawn = _pictures(one.differences, number)
        title = f"{one.after_name} against {one.before_name}"
        sections.append(Section(f"pair{number}", title, said, drawn, tuple(tables)))
    sheet = Sheet(
        kind="comparison",
        title=f"{last.after_name} against {last.before_name}",
        wagon=f"{wagon}, {scale_words(scale, ratio)}",
        result=tuple(comparison_sentences(last, planned=planned)),
        plan=None,
        block=(("Wagon", wagon), ("Scale", scale_words(scale, ratio)), ("Surveys", str(len(found) + 1))),
        sections=tuple(sections),
        version=version,
        foot="Chainage, left and right are those of the first survey. Every change stands with one sigma.",
    )
    return render(sheet)


def _own(table: Table, number: int) -> Table:
    """A table with an anchor of its own."""
    return Table(
        f"{table.ident}{number}", table.caption, table.heads, table.numeric, table.rows, table.note, table.empty
    )


def _pictures(differences: Sequence[Difference], number: int) -> tuple[Picture, ...]:
    return tuple(difference_picture(one, number) for one in differences)
