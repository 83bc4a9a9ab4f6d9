"""Which column of a log is which quantity: names with units by the contract, and a `[columns]` table for other logs."""

import difflib
import re
from dataclasses import dataclass
from typing import Final, Literal

from wayrule.errors import RecordingError
from wayrule.model import ColumnMap
from wayrule.units import TO_INSIDE

Kind = Literal["time", "field", "count", "speed", "distance", "rate", "acceleration", "temperature", "voltage", "mark"]

WHEEL_KINDS: Final = ("field", "count", "speed", "distance")

LETTER: Final[dict[str, Kind]] = {"b": "field", "g": "rate", "a": "acceleration"}

SHOWN: Final = {
    "time": "t_s, t_ms, t_us, t_ns, t_sample", "field": "bx_mT, bx_uT, bx_G", "count": "ticks_count",
    "speed": "wheel_mm_s, wheel_m_s", "distance": "wheel_mm, wheel_m", "rate": "gx_dps, gx_rad_s",
    "acceleration": "ax_g, ax_mg, ax_m_s2", "temperature": "temp_C", "voltage": "battery_V, battery_mV",
    "mark": "mark",
}  # fmt: skip
"""Kind of quantity -> how its columns are written."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a column name of ours says.

    slot    where the numbers go: t, bx..bz, ticks, wheel, gx..gz, ax..az, temp, battery, mark
    factor  to the inside unit; None for a sample number, whose factor is 1 / rate
    """

    kind: Kind
    slot: str
    unit: str
    factor: float | None


@dataclass(frozen=True, slots=True)
class Use:
    """One column of a log and what it was understood as; `meaning` None = not used, with the reason in `note`."""

    index: int
    theirs: str
    meaning: Meaning | None
    sign: int = 1
    mapped: bool = False
    note: str = ""


def meaning_of(name: str) -> Meaning | None:
    """Read a column name `quantity_unit`, in upper or lower case; None if it is none of ours.

    >>> meaning_of("Gz_dps").slot, meaning_of("bx_G").factor, meaning_of("ax [m/s^2]").unit
    ('gz', 0.1, 'm_s2')
    >>> meaning_of("Gyro Z") is None
    True
    """
    plain = name.strip().lower().replace("µ", "u").replace("μ", "u").replace("²", "2")
    plain = re.sub(r"[\s_(\[]+", "_", plain.replace("^", "").replace("/", "_")).strip("_)] ")
    head, _, unit = plain.partition("_")
    if plain in ("mark", "marks"):
        return Meaning("mark", "mark", "", 1.0)
    if head in ("t", "time"):
        if unit == "sample":
            return Meaning("time", "t", "sample", None)
        return _meaning("time", "t", unit)
    if re.fullmatch(r"[bga][xyz]", head):
        return _meaning(LETTER[head[0]], head, unit)
    if plain == "ticks_count":
        return Meaning("count", "ticks", "count", 1.0)
    if head == "wheel":
        return _meaning("speed", "wheel", unit) or _meaning("distance", "wheel", unit)
    if head == "battery":
        return _meaning("voltage", head, unit)
    return _meaning("temperature", "temp", unit) if head == "temp" else None


def _meaning(kind: Kind, slot: str, unit: str) -> Meaning | None:
    factor = TO_INSIDE[kind].get(unit)
    return None if factor is None else Meaning(kind, slot, unit, factor)


def resolve(header: tuple[str, ...], columns: ColumnMap, name: str) -> tuple[Use, ...]:
    """What each column of the header is used for: first what is mapped, then what is named by the contract.

    Raises
    ------
    RecordingError   a mapped name that is not there or not ours, one quantity twice, a quantity without a known unit
    """
    uses: dict[int, list[Use]] = {}
    for ours, theirs in columns.names:
        use = _mapped(header, ours, theirs, name)
        uses.setdefault(use.index, []).append(use)
    taken = {u.meaning.slot: u.theirs for us in uses.values() for u in us if u.meaning}
    if len(taken) < len(columns.names):
        raise RecordingError(
            expected="each quantity mapped once",
            came=", ".join(ours for ours, _ in columns.names),
            where=f"{name}: [columns]",
            next_step="leave one of the lines off",
        )
    for index, theirs in enumerate(header):
        if index not in uses:
            uses[index] = [_by_name(index, theirs, taken, bool(columns.names), header, name)]
    found = [u for index in sorted(uses) for u in uses[index]]
    return _one_wheel(_once_each(found, name), name)


def _mapped(header: tuple[str, ...], ours: str, theirs: str, name: str) -> Use:
    meaning = meaning_of(ours)
    if meaning is None:
        near = difflib.get_close_matches(ours.lower(), ", ".join(SHOWN.values()).lower().split(", "), n=1, cutoff=0.5)
        raise RecordingError(
            expected=f"one of our column names ({'; '.join(SHOWN.values())})",
            came=repr(ours),
            where=f"{name}: [columns]",
            next_step=f"did you mean {near[0]}?" if near else 'write for example gz_dps = "Gyro Z"',
        )
    plain = [h.strip().lower() for h in header]
    for sign, wanted in ((1, theirs), (-1, theirs.strip().removeprefix("-"))):
        if sign < 0 and not theirs.strip().startswith("-"):
            continue
        word = wanted.strip().lower()
        if word in plain:
            return Use(plain.index(word), header[plain.index(word)], meaning, sign, mapped=True)
    near = difflib.get_close_matches(theirs.strip().lower().lstrip("-"), plain, n=1, cutoff=0.5)
    raise RecordingError(
        expected=f"a column {theirs!r} (for {ours})",
        came=f"columns {_listed(header)}",
        where=f"{name}: [columns]",
        next_step=f"did you mean {header[plain.index(near[0])]!r}?" if near else "copy the name from the log's header",
    )


def _by_name(index: int, theirs: str, taken: dict[str, str], has_map: bool, header: tuple[str, ...], name: str) -> Use:
    meaning = meaning_of(theirs)
    if meaning is not None:
        if meaning.slot in taken and meaning.slot != "wheel":
            return Use(index, theirs, None, note=f"{meaning.slot} comes from {taken[meaning.slot]!r}")
        return Use(index, theirs, meaning)
    head = re.split(r"[_\s(\[]", theirs.strip().lower())[0]
    ours = re.fullmatch(r"[bga][xyz]|wheel|ticks", head)
    if ours and not has_map and head not in taken:
        kind: Kind = "count" if head == "ticks" else "speed" if head == "wheel" else LETTER[head[0]]
        shown = SHOWN[kind] + (", " + SHOWN["distance"] if kind == "speed" else "")
        shown = re.sub(r"\b[bga]x(?=_)", head, shown)
        raise RecordingError(
            expected=f"a unit we know behind {head} ({shown})",
            came=repr(theirs),
            where=f"{name} header: {_listed(header)}",
            next_step="rename it, or map it in the [columns] table of the wagon file",
        )
    return Use(index, theirs, None, note="no name of ours")


def _once_each(uses: list[Use], name: str) -> list[Use]:
    first: dict[tuple[str, str], Use] = {}
    for use in uses:
        if use.meaning is None:
            continue
        key = (use.meaning.slot, use.meaning.kind)
        if key in first:
            raise RecordingError(
                expected=f"one column for {use.meaning.slot}",
                came=f"{first[key].theirs!r} and {use.theirs!r}",
                where=f"{name} header",
                next_step="say which one counts in the [columns] table of the wagon file",
            )
        first[key] = use
    texts = {u.index for u in uses if u.meaning and u.meaning.kind == "mark"}
    both = [u.theirs for u in uses if u.index in texts and u.meaning and u.meaning.kind != "mark"]
    if both:
        raise RecordingError(
            expected="marks and numbers from different columns",
            came=f"both from {both[0]!r}",
            where=f"{name}: [columns]",
            next_step="leave one of the lines off",
        )
    return uses


def _one_wheel(uses: list[Use], name: str) -> tuple[Use, ...]:
    """One wheel input: the mapped one if several are there, refused if nobody said which."""
    kinds = list(dict.fromkeys(u.meaning.kind for u in uses if u.meaning and u.meaning.kind in WHEEL_KINDS))
    if len(kinds) < 2:
        return tuple(uses)
    mapped = list(
        dict.fromkeys(u.meaning.kind for u in uses if u.mapped and u.meaning and u.meaning.kind in WHEEL_KINDS)
    )
    if len(mapped) != 1:
        named = [next(u.theirs for u in uses if u.meaning and u.meaning.kind == kind) for kind in kinds]
        raise RecordingError(
            expected="one wheel input (field, ticks, speed or distance)",
            came=f"{len(kinds)}: {', '.join(named)}",
            where=f"{name} header",
            next_step=f'say which one counts: [columns] {named[0]} = "{named[0]}"',
        )
    return tuple(
        Use(u.index, u.theirs, None, note=f"another wheel input is mapped ({mapped[0]})")
        if u.meaning and u.meaning.kind in WHEEL_KINDS and u.meaning.kind != mapped[0]
        else u
        for u in uses
    )


def _listed(header: tuple[str, ...]) -> str:
    shown = ", ".join(header[:12])
    return f"{shown} and {len(header) - 12} more" if len(header) > 12 else shown
