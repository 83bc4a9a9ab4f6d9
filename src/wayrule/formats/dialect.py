"""How a text log is written: encoding, separator, decimal comma, comment lines, and its one header line."""

import re
from dataclasses import dataclass
from typing import Final

from wayrule.errors import RecordingError
from wayrule.model import ColumnMap

LOOK_AT_BYTES: Final = 65_536
"""So much of the beginning decides on the dialect; a header further down is no header."""

SAMPLE_LINES: Final = 40
"""Data lines looked at to tell separators and decimal commas."""

COMMENTS: Final = (b"#", b"//", b"%", b";")
"""Comment marks in use; ";" only where it does not separate the columns."""

PACKED: Final = {
    b"PK\x03\x04": "a zip file",
    b"\x1f\x8b": "a gzip file",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "an office file",
}
"""First bytes -> what it is. (zip also holds spreadsheets.)"""

NUMBER = re.compile(rb"\s*[\"']?[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?[\"']?\s*")


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a log is written.

    header       the names of its columns, as in the file
    header_line  1-based line of the header; data begin on the next
    body_at      offset of the first byte behind the header line
    comments     what comment lines begin with
    """

    separator: str
    decimal_comma: bool
    header: tuple[str, ...]
    header_line: int
    body_at: int
    comments: tuple[bytes, ...]


def plain_text(data: bytes, name: str) -> bytes:
    """The log as UTF-8 (a one-byte code is taken for cp1252), without byte order mark, lines ended by a line feed.

    Raises
    ------
    RecordingError   for an empty, packed or binary file
    """
    if not data or data.isspace():
        came = "an empty file" if not data else f"{len(data)} bytes of blanks"
        raise RecordingError(
            expected="a header line and rows of numbers",
            came=came,
            where=name,
            next_step="look whether the logger wrote",
        )
    for magic, what in PACKED.items():
        if data.startswith(magic):
            raise RecordingError(
                expected="a text log", came=what, where=name, next_step="unpack it, or save the table as CSV"
            )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = data.decode("utf-16", errors="replace").encode()
    data = data.removeprefix(b"\xef\xbb\xbf")
    head = data[:LOOK_AT_BYTES]
    odd = len(head) - len(head.translate(None, bytes(range(9)) + bytes(range(14, 32)) + b"\x0b\x7f"))
    if b"\0" in head or odd > 0.02 * len(head):
        at = next(k for k, byte in enumerate(head) if byte < 9 or 14 <= byte < 32 or byte in (11, 127))
        raise RecordingError(
            expected="a text log",
            came=f"a binary file (byte 0x{head[at]:02x} at place {at})",
            where=name,
            next_step="export it as CSV from the logger's program",
        )
    if not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError:
            data = data.decode("cp1252", errors="replace").encode()
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
        data = data if b"\n" in data else data.replace(b"\r", b"\n")
    return data


def find_dialect(text: bytes, columns: ColumnMap, name: str) -> Dialect:
    """Tell how the log is written; what the `[columns]` table states is taken as stated.

    Raises
    ------
    RecordingError   when there is no header line
    """
    marks = tuple(m for m in COMMENTS if not (m == b";" and columns.separator == ";"))
    marks += (columns.comment.encode(),) if columns.comment else ()
    header, number, at, sample = _header(text, marks, name)
    separator = columns.separator or _separator(header, sample)
    names = tuple(split_line(header, separator))
    if len(names) > 1 and not names[-1]:
        names = names[:-1]  # a separator at the end of every line
    return Dialect(
        separator=separator,
        decimal_comma=_decimal_comma(sample, separator) if columns.decimal_comma is None else columns.decimal_comma,
        header=names,
        header_line=number,
        body_at=at,
        comments=tuple(m for m in marks if not (m == b";" and separator == ";")),
    )


def _header(text: bytes, marks: tuple[bytes, ...], name: str) -> tuple[bytes, int, int, list[bytes]]:
    """The header line, its number, the offset behind it, and the first data lines."""
    at, number = 0, 0
    comment: tuple[bytes, int, int] | None = None
    head = text[:LOOK_AT_BYTES]
    while at < len(head):
        end = text.find(b"\n", at)
        end = len(text) if end < 0 else end
        line, start, at, number = text[at:end], at, end + 1, number + 1
        if not line.strip():
            continue
        if line.lstrip().startswith(marks):
            comment = (line, number, at)
            continue
        if _numeric(line):
            # a header behind a comment mark, as many array programs write it
            if (
                comment
                and re.search(rb"[A-Za-z]", comment[0])
                and comment[1] == number - 1
                and len(comment[0].split()) > 1
            ):
                return comment[0].lstrip().lstrip(b"#;/% "), comment[1], start, _sample(text, start, marks)
            raise RecordingError(
                expected="a header line with the names of the columns (t_s, bx_mT, gx_dps ...)",
                came=f"numbers at once: {_short(line)}",
                where=f"{name} line {number}",
                next_step="write the names above the numbers",
            )
        return line, number, min(at, len(text)), _sample(text, at, marks)
    raise RecordingError(
        expected="a header line with the names of the columns (t_s, bx_mT, gx_dps ...)",
        came=f"{number} lines without one",
        where=name,
        next_step="write the names above the numbers",
    )


def _numeric(line: bytes) -> bool:
    cells = re.split(rb"[;\t ]+|,(?=\s|[^0-9])|,", line.strip(b" \t;,"))
    numbers = sum(bool(NUMBER.fullmatch(c)) for c in cells)
    return numbers > 0.5 * len(cells)


def _sample(text: bytes, at: int, marks: tuple[bytes, ...]) -> list[bytes]:
    lines = text[at : at + LOOK_AT_BYTES].split(b"\n")[: 2 * SAMPLE_LINES]
    return [line for line in lines if line.strip() and not line.startswith(tuple(m for m in marks if m != b";"))][
        :SAMPLE_LINES
    ]


def _separator(header: bytes, sample: list[bytes]) -> str:
    """The candidate that cuts header and data into the same number of pieces, more than one; else the commonest."""
    best, best_share = ",", -1.0
    for candidate in (";", "\t", ",", " "):
        pieces = len(split_line(header, candidate))
        if pieces < 2:
            continue
        cut = [len(split_line(line.rstrip(b" "), candidate)) - line.endswith(candidate.encode()) for line in sample]
        wanted = pieces - header.endswith(candidate.encode())
        share = sum(n == wanted for n in cut) / len(sample) if sample else 1.0
        if share > best_share:
            best, best_share = candidate, share
    return best


def split_line(line: bytes, separator: str) -> list[str]:
    """Cells of one line, without the blanks and quotes around them."""
    text = line.decode("utf-8", errors="replace")  # a sample may end within a letter
    if separator == " ":
        return text.split()
    cells, cell, quoted = [], "", False
    for char in text:
        if char == '"':
            quoted = not quoted
        elif char == separator and not quoted:
            cells.append(cell.strip())
            cell = ""
        else:
            cell += char
    return [*cells, cell.strip()]


def _decimal_comma(sample: list[bytes], separator: str) -> bool:
    if separator == ",":
        quoted = sum(len(re.findall(rb'"[+-]?\d+,\d+"', line)) for line in sample)
        return quoted > 0
    commas = sum(len(re.findall(rb"\d,\d", line)) for line in sample)
    points = sum(len(re.findall(rb"\d\.\d", line)) for line in sample)
    return commas > points


def _short(line: bytes) -> str:
    text = line.decode("utf-8", errors="replace").strip()
    return text if len(text) <= 50 else text[:47] + "..."
