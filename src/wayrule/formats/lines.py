"""The data lines of a log: which are rows, which are comments, and which are broken, told by counting separators."""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.dialect import Dialect
from wayrule.formats.problems import many, place, problem
from wayrule.model import Problem

CHUNK_BYTES: Final = 1 << 21
"""Scanned at a time: fits the cache, and the scan needs no array as long as the file."""

MAX_BROKEN_SHARE: Final = 0.1
"""With more broken lines than this the log is no table with slips but something else, and is refused."""

DECIMALS_LOOKED_AT: Final = 20
"""Lines before the last one that tell how many decimals a last line should have."""

LF, QUOTE = 10, 34


@dataclass(frozen=True, slots=True)
class Rows:
    """Clean rows: every line has the header's number of columns.

    text     the rows as bytes, one a line
    lines    (n,) 1-based line numbers in the file
    """

    text: bytes
    lines: NDArray[np.int64]
    problems: tuple[Problem, ...]


def clean_rows(text: bytes, dialect: Dialect, name: str) -> Rows:
    """Keep the lines that are rows; say which others there were.

    Raises
    ------
    RecordingError   when too many lines have another number of columns than the header, or none is left
    """
    body = _tidy_blanks(text[dialect.body_at :], dialect.separator)
    header = text[: dialect.body_at].rstrip(b"\n").rpartition(b"\n")[2]
    columns = len(dialect.header)
    body = _without_trailing_separator(body, dialect.separator, columns)
    first_line = text.count(b"\n", 0, dialect.body_at) + 1
    scan = _scan(body, dialect.separator)
    length = scan.ends - scan.starts
    skip = (length == 0) | _comment_lines(body, scan, dialect.comments) | _blank_lines(body, scan)
    again = ~skip & _equal_lines(body, scan, header)
    broken = ~skip & ~again & ((scan.separators != columns - 1) | scan.misquoted)
    cut = _cut_short(body, scan, broken, dialect.separator)
    numbers = np.arange(first_line, first_line + len(length), dtype=np.int64)
    problems = []
    if again.any():
        count = int(again.sum())
        what = f"the header again {many(count, 'time')}: the recorder was started anew"
        problems.append(problem("header again", what, place(numbers[again]), "dropped", count=count))
    if cut:
        broken[-1] = False
        skip[-1] = True
        problems.append(
            problem("last line cut short", "the last line is cut short", place(numbers[-1:]), "dropped", count=1)
        )
    problems += _told_broken(body, scan, broken, numbers, dialect, int((~skip & ~again).sum()), name)
    keep = ~(skip | again | broken)
    if not keep.any():
        raise RecordingError(
            expected="rows of numbers below the header",
            came="none",
            where=f"{name}, header in line {dialect.header_line}: {dialect.separator.join(dialect.header)[:80]}",
            next_step="look whether the logger wrote",
        )
    return Rows(_kept(body, scan, keep), numbers[keep], tuple(problems))


@dataclass(frozen=True, slots=True)
class _Scan:
    """Per line: where it starts, ends (exclusive, without line feed), its separators outside quotes, and whether its
    quotes do not go round whole cells.
    """

    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    separators: NDArray[np.int64]
    misquoted: NDArray[np.bool_]


def _scan(body: bytes, separator: str) -> _Scan:
    whole = body if body.endswith(b"\n") else body + b"\n"
    buffer = np.frombuffer(whole, np.uint8)
    count = _count_quoted if b'"' in body else _count_plain
    ends, separators, misquoted = [], [], []
    at = 0
    while at < len(buffer):
        stop = whole.rfind(b"\n", at, at + CHUNK_BYTES) + 1 or whole.find(b"\n", at) + 1
        line_ends, seps, wrong = count(buffer[at:stop], ord(separator))
        ends.append(line_ends + at)
        separators.append(seps)
        misquoted.append(wrong)
        at = stop
    end = np.concatenate(ends)
    return _Scan(np.concatenate(([0], end[:-1] + 1)), end, np.concatenate(separators), np.concatenate(misquoted))


def _count_plain(chunk: NDArray[np.uint8], mark: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Ends and separators of whole lines without quotes."""
    marks = (chunk == mark).view(np.uint8)
    line_ends = np.flatnonzero(chunk == LF)
    starts = np.concatenate(([0], line_ends[:-1] + 1))
    separators = np.add.reduceat(marks, starts, dtype=np.uint8).astype(np.int64)  # ten times faster in bytes,
    if separators.sum() != np.count_nonzero(marks):  # unless a line has 256 of them
        separators = np.add.reduceat(marks, starts, dtype=np.int64)
    return line_ends, separators, np.zeros(len(line_ends), dtype=bool)


def _count_quoted(
    chunk: NDArray[np.uint8], mark: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """The same where quotes may hide separators: an odd quote of a line opens a cell, an even one closes it."""
    here = np.flatnonzero((chunk == LF) | (chunk == mark) | (chunk == QUOTE))
    kind = chunk[here]
    line_ends = np.flatnonzero(kind == LF)
    quote = kind == QUOTE
    upto = np.cumsum(quote)
    before_line = np.repeat(np.concatenate(([0], upto[line_ends[:-1]])), np.diff(line_ends, prepend=-1))
    opened = (upto - before_line) % 2 == 1
    left = np.where(here > 0, chunk[here - 1], LF)
    right = chunk[np.minimum(here + 1, len(chunk) - 1)]
    beside = np.where(opened, left, right)  # "" inside a quoted cell stands for one quote
    stray = quote & ~np.isin(beside, (LF, mark, QUOTE))
    wrong = np.diff(np.cumsum(stray)[line_ends], prepend=0) > 0
    odd = np.diff(upto[line_ends], prepend=0) % 2 == 1
    separators = np.diff(np.cumsum((kind == mark) & ~opened)[line_ends], prepend=0)
    return here[line_ends], separators, wrong | odd


def _tidy_blanks(body: bytes, separator: str) -> bytes:
    """Runs of blanks become one separator in a blank-separated log; blanks before a separator go elsewhere."""
    if separator == " ":
        body = re.sub(rb"[ \t]+", b" ", body)
        return re.sub(rb"(?m)^ | $", b"", body)
    mark = separator.encode()
    if b" " not in body:
        return body
    if b' "' in body:
        body = re.sub(b"(?<=" + re.escape(mark) + b') +(?=")', b"", body)
    if b" " + mark in body or b" \n" in body or body.endswith(b" "):
        return re.sub(rb" +(?=[" + re.escape(mark) + rb"\n])| +\Z", b"", body)
    return body


def _without_trailing_separator(body: bytes, separator: str, columns: int) -> bytes:
    """Some loggers end every line with a separator; only if all lines with one too many do."""
    mark = separator.encode()
    first = body[: body.find(b"\n")] if b"\n" in body else body
    if separator == " " or not first.endswith(mark) or first.count(mark) != columns or b'"' in first:
        return body
    return re.sub(re.escape(mark) + rb"(?=\n|\Z)", b"", body)


def _comment_lines(body: bytes, scan: _Scan, marks: tuple[bytes, ...]) -> NDArray[np.bool_]:
    found = np.zeros(len(scan.starts), dtype=bool)
    buffer = np.frombuffer(body, np.uint8)
    filled = scan.ends > scan.starts
    first = np.zeros(len(scan.starts), dtype=np.uint8)
    first[filled] = buffer[scan.starts[filled]]
    for mark in marks:
        fits = np.flatnonzero(first == mark[0])
        fits = fits[scan.ends[fits] - scan.starts[fits] >= len(mark)]
        for k, byte in enumerate(mark[1:], start=1):
            fits = fits[buffer[scan.starts[fits] + k] == byte]
        found[fits] = True
    return found


def _blank_lines(body: bytes, scan: _Scan) -> NDArray[np.bool_]:
    """Lines of blanks only; lines that short are few, so each is looked at."""
    blank = np.zeros(len(scan.starts), dtype=bool)
    for k in np.flatnonzero(scan.separators == 0)[:100_000]:
        blank[k] = not body[scan.starts[k] : scan.ends[k]].strip()
    return blank


def _equal_lines(body: bytes, scan: _Scan, wanted: bytes) -> NDArray[np.bool_]:
    found = np.zeros(len(scan.starts), dtype=bool)
    if wanted and wanted in body:
        for k in np.flatnonzero(scan.ends - scan.starts == len(wanted)):
            found[k] = body[scan.starts[k] : scan.ends[k]] == wanted
    return found


def _cut_short(body: bytes, scan: _Scan, broken: NDArray[np.bool_], separator: str) -> bool:
    """Whether the last line has no line feed and lacks columns, or lacks decimals that all lines before it have."""
    if body.endswith(b"\n") or not len(broken):
        return False
    if broken[-1]:
        return True
    k0 = max(0, len(broken) - 1 - DECIMALS_LOOKED_AT)
    lines = [body[scan.starts[k] : scan.ends[k]] for k in range(k0, len(broken))]
    decimals = [_decimals(line.rpartition(separator.encode())[2]) for line in lines]
    usual = set(decimals[:-1])
    return len(lines) > 5 and len(usual) == 1 and decimals[-1] < next(iter(usual))


def _decimals(cell: bytes) -> int:
    found = re.fullmatch(rb"[+-]?\d*(?:[.,](\d*))?", cell.strip())
    return len(found[1] or b"") if found else -1


def _told_broken(
    body: bytes,
    scan: _Scan,
    broken: NDArray[np.bool_],
    numbers: NDArray[np.int64],
    dialect: Dialect,
    rows: int,
    name: str,
) -> list[Problem]:
    count = int(broken.sum())
    if not count:
        return []
    first = int(np.flatnonzero(broken)[0])
    line = body[scan.starts[first] : scan.ends[first]]
    came = (
        "quotes that do not go round a cell"
        if scan.misquoted[first]
        else many(int(scan.separators[first]) + 1, "column")
    )
    if count > max(1, MAX_BROKEN_SHARE * rows):
        hint = ""
        if dialect.separator == "," and int(scan.separators[first]) + 1 == 2 * len(dialect.header):
            hint = " (decimal commas and comma separators cannot be told apart)"
        raise RecordingError(
            expected=f"{many(len(dialect.header), 'column')} as in the header ({_ends(dialect.header)})",
            came=f"{came}: {line[:40].decode('utf-8', 'replace')}{hint}, and {count} of {rows} lines so",
            where=f"{name} line {numbers[first]}",
            next_step="write the file anew, or state separator and decimal in the [columns] table",
        )
    what = (
        f"{many(count, 'line')} with another number of columns than the header's {len(dialect.header)} (first: {came})"
    )
    return [problem("wrong column count", what, place(numbers[broken]), "dropped", count=count)]


def _ends(header: tuple[str, ...]) -> str:
    return ", ".join(header) if len(header) <= 3 else f"{header[0]} ... {header[-1]}"


def _kept(body: bytes, scan: _Scan, keep: NDArray[np.bool_]) -> bytes:
    """The kept lines, cut out in whole stretches."""
    if keep.all():
        return body
    edges = np.flatnonzero(np.diff(np.concatenate(([False], keep, [False])).astype(np.int8)))
    firsts, lasts = edges[::2], edges[1::2] - 1
    return b"\n".join(body[scan.starts[a] : scan.ends[b]] for a, b in zip(firsts, lasts, strict=True)) + b"\n"
