"""What a raw log does not hold, said exactly: which blocks, which bytes, between which moments."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from wayrule.formats.problems import NAMED_LINES, many, problem
from wayrule.formats.rawlogreader import RawLog
from wayrule.model import Problem

FLUSHED_S: Final = 0.2
"""What came is on the disk after so long at most."""

AS_PLANNED: Final = frozenset({"began", "the file before grew to its full size"})
"""Why a segment begins without anything having failed."""


def log_problems(log: RawLog) -> tuple[Problem, ...]:
    """Everything that is not as it should be, the gravest first; times are seconds since the log's first block.

    >>> from wayrule.formats.rawlog import DATA, Block, pack
    >>> from wayrule.formats.rawlogreader import read_raw_log
    >>> parts = [pack(Block(DATA, 1, b"session1", k, k * 10**8, b"abc")) for k in range(5)]
    >>> for found in log_problems(read_raw_log([("monday.waylog", parts[0] + parts[1][:20] + parts[4])])):
    ...     print(found.text)
    3 blocks of the log are missing (1 to 3, between 0.000 and 0.400 s): their bytes are lost.
    20 bytes of the log are no whole block (monday.waylog from byte 47 to 66): passed over.
    The log was not ended (its last block is of 0.400 s): what came up to 0.2 s before the end may be missing.
    """
    begin = _begin(log)
    found = [*_missing(log, begin), *_damage(log), *_dropped(log, begin), *_anew(log, begin), *_slept(log, begin)]
    if log.unlike:
        what = f"{many(log.unlike, 'block')} of the log came twice and differ"
        found.append(problem("unlike blocks", what, "under one number", "the first was taken", count=log.unlike))
    if log.foreign:
        what = f"{many(log.foreign, 'block')} of another recording"
        found.append(problem("foreign blocks", what, "in this log's files", "left out", count=log.foreign))
    if log.unknown:
        what = f"{many(log.unknown, 'block')} of a kind that this version does not know"
        found.append(problem("unknown blocks", what, "in the log", "left out", count=log.unknown))
    if not log.ended:
        last = f"its last block is of {_end(log) - begin:.3f} s"
        done = f"what came up to {FLUSHED_S:g} s before the end may be missing"
        found.append(problem("not ended", "The log was not ended", last, done, count=1))
    return tuple(found)


def _begin(log: RawLog) -> float:
    return min([*log.t_ns[:1].tolist(), *(n.t_ns for n in log.notes[:1])], default=0) * 1e-9


def _end(log: RawLog) -> float:
    return max([*log.t_ns[-1:].tolist(), *(n.t_ns for n in log.notes[-1:])], default=0) * 1e-9


def _named(ranges: Sequence[tuple[int, int]]) -> str:
    """Some of the ranges by their numbers, the rest counted."""
    words = [f"{a} to {b}" if b > a else f"{a}" for a, b in ranges[:NAMED_LINES]]
    return ", ".join(words) + (f" and {len(ranges) - NAMED_LINES} more" if len(ranges) > NAMED_LINES else "")


def _missing(log: RawLog, begin: float) -> list[Problem]:
    if not log.missing:
        return []
    known = np.concatenate([log.sequence, np.array([n.sequence for n in log.notes], dtype=np.int64)])
    times = np.concatenate([log.t_ns, np.array([n.t_ns for n in log.notes], dtype=np.int64)]) * 1e-9 - begin
    before, after = times[known < log.missing[0][0]], times[known > log.missing[-1][1]]
    low, high = float(before.max(initial=0.0)), float(after.min(initial=np.inf))
    count = sum(b - a + 1 for a, b in log.missing)
    where = f"{_named(log.missing)}, between {low:.3f} and {high:.3f} s"
    verb = "is" if count == 1 else "are"
    what = f"{many(count, 'block')} of the log {verb} missing"
    return [problem("missing blocks", what, where, "their bytes are lost", count=count)]


def _damage(log: RawLog) -> list[Problem]:
    inside = [d for d in log.damage if not d.at_end]
    torn = [d for d in log.damage if d.at_end]
    found = []
    for kind, places, words, done in (
        ("damaged", inside, "are no whole block", "passed over"),
        ("torn end", torn, "at the end are no whole block", "passed over"),
    ):
        if places:
            size = sum(d.last - d.first for d in places)
            named = ", ".join(f"{d.file} from byte {d.first} to {d.last - 1}" for d in places[:NAMED_LINES])
            more = f" and {len(places) - NAMED_LINES} more" if len(places) > NAMED_LINES else ""
            found.append(problem(kind, f"{many(size, 'byte')} of the log {words}", named + more, done, count=size))
    return found


def _dropped(log: RawLog, begin: float) -> list[Problem]:
    """What came and could not be kept: the recorder itself says so."""
    notes = [n for n in log.notes if n.what == "dropped"]
    if not notes:
        return []
    size = int(sum(n.numbers.get("bytes", 0) for n in notes))
    where = ", ".join(f"told at {n.t_ns * 1e-9 - begin:.3f} s" for n in notes[:NAMED_LINES])
    why = notes[0].words.get("why", "no reason is given")
    return [problem("dropped", f"{many(size, 'byte')} came and could not be kept: {why}", where, "lost", count=size)]


def _anew(log: RawLog, begin: float) -> list[Problem]:
    """Segments that began because the one before failed."""
    failed = [n for n in log.notes if n.what == "head" and n.words.get("why", "") not in AS_PLANNED]
    found = []
    for note in failed:
        where = f"segment {note.numbers.get('segment', 0):.0f}, at {note.t_ns * 1e-9 - begin:.3f} s"
        what = f"a new file began: {note.words.get('why', 'no reason is given')}"
        done = "what was not known to be on the disk was written again"
        found.append(problem("new file", what, where, done, count=1))
    return found


def _slept(log: RawLog, begin: float) -> list[Problem]:
    """While the machine slept, nothing was received."""
    found = []
    for note in (n for n in log.notes if n.what == "slept"):
        long = note.numbers.get("seconds", 0.0)
        what = f"the recording machine slept, was held up or had its clock set, for {long:.4g} s"
        found.append(
            problem("slept", what, f"until {note.t_ns * 1e-9 - begin:.3f} s", "nothing came meanwhile", count=1)
        )
    return found


def link_breaks(log: RawLog) -> tuple[tuple[int, float, float], ...]:
    """(source, from, until) of each time that a link was down [s of the recorder's clock]; one without end has NaN.

    Source 0 stands for a link that never had a sender.
    """
    breaks = []
    by_source: dict[int, list[tuple[float, str]]] = {}
    for note in log.notes:
        if note.what == "link":
            by_source.setdefault(note.source, []).append((note.t_ns * 1e-9, note.words.get("state", "")))
    for source, states in by_source.items():
        for (since, state), (until, _) in pairwise([*states, (float("nan"), "")]):
            if state == "down":
                breaks.append((source, since, until))
    return tuple(breaks)
