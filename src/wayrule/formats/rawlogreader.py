"""A raw log read back: every block that is whole is found, whatever lies between; what is not there is named."""

import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.rawlog import (
    CHECK,
    CHECKED,
    DATA,
    HEAD,
    HEADER,
    MARK,
    MAX_PAYLOAD,
    NOTE,
    OVERHEAD,
    VERSION,
)
from wayrule.formats.rawlognotes import Note, read_note

Ints = NDArray[np.int64]

PAYLOAD: Final = HEADER.size


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes of a file that hold no whole block: `first` up to but not with `last`; the file's own size is `size`."""

    file: str
    first: int
    last: int
    size: int

    @property
    def at_end(self) -> bool:
        """Whether the file ends in it, as one does whose last block was being written."""
        return self.last == self.size


@dataclass(frozen=True, slots=True)
class Sender:
    """Who is behind a source number: the `link` as it was spelled, and the `peer` on it."""

    source: int
    link: str
    peer: str


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """What came from one source, in the order of receipt.

    data   all bytes, joined
    ends   (k,) where each piece ends in `data`
    t_ns   (k,) when it came, on the recorder's clock [ns]
    """

    data: bytes
    ends: Ints
    t_ns: Ints


@dataclass(frozen=True, slots=True, eq=False)
class RawLog:
    """A recording as its blocks tell it.

    session    eight bytes
    sequence, source, t_ns   (n,) of the blocks of bytes, in the order of receipt; t_ns on the recorder's clock [ns]
    payloads   their bytes, n of them
    notes      in the order of writing
    blocks     whole blocks of all kinds, each counted once
    missing    first and last sequence of each stretch that should be there and is not
    damage     bytes that hold no whole block
    foreign    whole blocks of another recording, left out
    unlike     blocks that are there twice and differ; the first was taken
    again      blocks that are there twice, alike: written anew after a failed flush
    unknown    whole blocks of a kind or a note that this version does not know
    ended      whether the recording was ended as it should be
    """

    session: bytes
    sequence: Ints
    source: Ints
    t_ns: Ints
    payloads: tuple[bytes, ...]
    notes: tuple[Note, ...]
    blocks: int
    missing: tuple[tuple[int, int], ...]
    damage: tuple[Damage, ...]
    foreign: int
    unlike: int
    again: int
    unknown: int
    ended: bool

    def senders(self) -> tuple[Sender, ...]:
        """Every source that bytes came from, by number; one whose note is lost has no name."""
        told = {note.source: note.words for note in self.notes if note.what == "source"}
        named = ((int(n), told.get(int(n), {})) for n in np.unique(self.source))
        return tuple(Sender(n, words.get("link", ""), words.get("peer", "")) for n, words in named)

    def stream(self, source: int) -> Stream:
        """All that came from one source."""
        rows = np.flatnonzero(self.source == source)
        pieces = [self.payloads[row] for row in rows.tolist()]
        ends = np.cumsum(np.fromiter(map(len, pieces), np.int64, len(pieces)))
        return Stream(b"".join(pieces), ends, self.t_ns[rows])


@dataclass(slots=True)
class _Found:
    """Whole blocks as they lie in one file: header fields by column, where the payload lies, whole-block checksum."""

    rows: list[tuple[int, int, bytes, int, int, int, int, int]]
    damage: list[Damage]


def scan(data: bytes, file: str = "") -> _Found:
    """Find every whole block of one file; no length and no place is believed before its checksum has been."""
    rows: list[tuple[int, int, bytes, int, int, int, int, int]] = []
    damage: list[Damage] = []
    at, size, bad = 0, len(data), -1
    unpack, last, crc32, view = HEADER.unpack_from, CHECK.unpack_from, zlib.crc32, memoryview(data)
    while at + OVERHEAD <= size:
        mark, version, kind, source, length, session, sequence, t_ns, check = unpack(data, at)
        end = at + OVERHEAD + length
        if (
            mark == MARK
            and version == VERSION
            and length <= MAX_PAYLOAD
            and end <= size
            and sequence >= 0
            and t_ns >= 0
            and crc32(view[at : at + CHECKED]) == check
            and crc32(view[at + PAYLOAD : end - CHECK.size], check) == (whole := last(data, end - CHECK.size)[0])
        ):
            if bad >= 0:
                damage.append(Damage(file, bad, at, size))
                bad = -1
            rows.append((kind, source, session, sequence, t_ns, at + PAYLOAD, length, whole))
            at = end
            continue
        bad = at if bad < 0 else bad
        at = data.find(MARK, at + 1)
        if at < 0:
            at = size
    if bad >= 0 or at < size:
        damage.append(Damage(file, bad if bad >= 0 else at, size, size))
    return _Found(rows, damage)


def read_raw_log(segments: Sequence[tuple[str, bytes]]) -> RawLog:
    """Read a recording from its files.

    Parameters
    ----------
    segments : (name, bytes) of each file of the recording, in any order

    Returns
    -------
    RawLog   blocks in the order of their sequence, each once; `missing` and `damage` say what is not there

    Raises
    ------
    RecordingError   when there is not one whole block

    Examples
    --------
    >>> from wayrule.formats.rawlog import Block, pack
    >>> parts = [pack(Block(DATA, 1, b"session1", k, 1000 * k, b"abc")) for k in range(5)]
    >>> log = read_raw_log([("monday.waylog", parts[0] + parts[1] + parts[2][:20] + parts[4])])
    >>> log.missing, log.stream(1).data, [(d.first, d.last) for d in log.damage]
    (((2, 3),), b'abcabcabc', [(94, 114)])
    """
    found = [(data, scan(data, name)) for name, data in segments]
    owners = Counter(row[2] for _, part in found for row in part.rows)
    if not owners:
        names = ", ".join(name for name, _ in segments)
        raise RecordingError(
            expected="at least one whole block of a raw log",
            came=f"{sum(len(data) for _, data in segments)} bytes without one",
            where=names,
            next_step="look for other copies of the file; nothing can be read from this one",
        )
    session = owners.most_common(1)[0][0]
    rows: list[tuple[int, int, bytes, int, int, int, int, int]] = []
    files: list[bytes] = []
    for data, part in found:
        mine = [row for row in part.rows if row[2] == session]
        rows += mine
        files += [data] * len(mine)
    return _put_together(session, rows, files, found, sum(owners.values()) - len(rows))


def _put_together(
    session: bytes,
    rows: list[tuple[int, int, bytes, int, int, int, int, int]],
    files: list[bytes],
    found: list[tuple[bytes, _Found]],
    foreign: int,
) -> RawLog:
    """Blocks by sequence, each once; bytes and notes apart."""
    every = np.fromiter((row[3] for row in rows), np.int64, len(rows))
    checks = np.fromiter((row[7] for row in rows), np.int64, len(rows))
    order = np.argsort(every, kind="stable")
    first = np.concatenate(([True], np.diff(every[order]) > 0))
    kept = order[first]
    same = checks[order] == checks[kept][np.cumsum(first) - 1]
    notes: list[Note] = []
    data_rows: list[int] = []
    unknown = 0
    for row in kept.tolist():
        kind, source, _, sequence, t_ns, begin, length, _ = rows[row]
        if kind == DATA:
            data_rows.append(row)
            continue
        note = read_note(files[row][begin : begin + length], source, sequence, t_ns) if kind in (HEAD, NOTE) else None
        if note is None:
            unknown += 1
        else:
            notes.append(note)
    return RawLog(
        session=session,
        sequence=every[data_rows],
        source=np.fromiter((rows[r][1] for r in data_rows), np.int64, len(data_rows)),
        t_ns=np.fromiter((rows[r][4] for r in data_rows), np.int64, len(data_rows)),
        payloads=tuple(files[r][rows[r][5] : rows[r][5] + rows[r][6]] for r in data_rows),
        notes=tuple(notes),
        blocks=len(kept),
        missing=_missing(every[kept]),
        damage=tuple(d for _, part in found for d in part.damage),
        foreign=foreign,
        unlike=int(np.sum(~same)),
        again=int(np.sum(~first & same)),
        unknown=unknown,
        ended=bool(notes) and notes[-1].what == "end" and notes[-1].sequence == int(every[kept[-1]]),
    )


def _missing(sequence: Ints) -> tuple[tuple[int, int], ...]:
    """First and last of each stretch that is not there, from 0 up to the last that is.

    >>> _missing(np.array([2, 3, 7]))
    ((0, 1), (4, 6))
    """
    before = np.concatenate(([-1], sequence[:-1]))
    at = np.flatnonzero(sequence - before > 1)
    return tuple((int(before[k]) + 1, int(sequence[k]) - 1) for k in at)
