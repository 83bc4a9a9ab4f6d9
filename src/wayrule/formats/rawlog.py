"""The raw log: every byte that came, in blocks that can be found and checked one by one.

A block, little-endian:

    bytes   what
    0-3     mark 8B 57 4C 0A
    4       version, 1
    5       kind: 1 head of a segment, 2 bytes from a link, 3 note
    6-7     source: which sender the bytes came from, 0 for the recorder itself
    8-11    length of the payload, at most 65 536
    12-19   session: eight random bytes, the same in all blocks of a recording
    20-27   sequence, counted through the whole recording from 0
    28-35   time of receipt on the recorder's clock, in ns
    36-39   CRC-32 of bytes 0-35
    40-     payload
    last 4  CRC-32 of bytes 0-35 and the payload

The checksum is that of ITU-T V.42 and IEEE 802.3 (reflected 04C11DB7, preset and inverted): it finds every error
burst of up to 32 bits, and lets one in 2^32 of other damages pass; a block has two. The second one leaves the first
out: a text followed by its own CRC has the same CRC whatever the text, and the payload would not be tied to its header.
"""

import struct
import zlib
from dataclasses import dataclass
from typing import Final

MARK: Final = b"\x8bWL\n"
"""Begins each block: a byte above 127, so that it is no text, and a line end, so that a text-mode copy shows."""

VERSION: Final = 1

HEAD, DATA, NOTE = 1, 2, 3
"""Kinds of block."""

MAX_PAYLOAD: Final = 65_536
"""Longest payload: a datagram has at most 65 507 bytes (65 535 less the headers of IP and UDP)."""

SESSION_BYTES: Final = 8

ENDING: Final = ".waylog"

HEADER: Final = struct.Struct("<4sBBHI8sqqI")
CHECK: Final = struct.Struct("<I")
CHECKED: Final = HEADER.size - CHECK.size
OVERHEAD: Final = HEADER.size + CHECK.size
"""Bytes that a block needs besides its payload: 44."""


@dataclass(frozen=True, slots=True)
class Block:
    """One block.

    kind      HEAD, DATA or NOTE
    source    0 to 65 535
    session   eight bytes
    sequence  from 0
    t_ns      of receipt, on the recorder's clock [ns]
    payload   at most `MAX_PAYLOAD` bytes
    """

    kind: int
    source: int
    session: bytes
    sequence: int
    t_ns: int
    payload: bytes

    def __post_init__(self) -> None:
        if len(self.session) != SESSION_BYTES or len(self.payload) > MAX_PAYLOAD:
            raise ValueError(f"Block: a session of {len(self.session)} bytes, a payload of {len(self.payload)}")


def pack(block: Block) -> bytes:
    """The bytes of a block.

    >>> made = pack(Block(DATA, 1, bytes(8), 7, 1_000_000, b"abc"))
    >>> len(made) - len(b"abc"), made[:4].hex(" "), made[8:12].hex(" ")
    (44, '8b 57 4c 0a', '03 00 00 00')
    """
    return packed(block.kind, block.source, block.session, block.sequence, block.t_ns, block.payload)


def packed(kind: int, source: int, session: bytes, sequence: int, t_ns: int, payload: bytes) -> bytes:
    """The same from its parts, for a writer with thousands of them a second."""
    header = HEADER.pack(MARK, VERSION, kind, source, len(payload), session, sequence, t_ns, 0)[:CHECKED]
    check = zlib.crc32(header)
    return b"".join((header, CHECK.pack(check), payload, CHECK.pack(zlib.crc32(payload, check))))


def is_raw_log(data: bytes) -> bool:
    """Whether a file's bytes are a raw log: they begin with a block's mark, or hold a block near their start.

    >>> is_raw_log(pack(Block(NOTE, 0, bytes(8), 0, 0, b"{}"))), is_raw_log(b"t_s,gz_dps\\n0,1\\n")
    (True, False)
    """
    if data.startswith(MARK):
        return True
    found = data.find(MARK, 0, LOOKED_AT)
    while found >= 0:
        if len(data) - found >= HEADER.size:
            *_, check = HEADER.unpack_from(data, found)
            if check == zlib.crc32(data[found : found + CHECKED]):
                return True
        found = data.find(MARK, found + 1, LOOKED_AT)
    return False


LOOKED_AT: Final = 4 * MAX_PAYLOAD
"""A raw log whose start is damaged is still known by a block within so many bytes: two or three longest blocks."""


def segment_name(name: str, number: int) -> str:
    """File name of a recording's segment; the first has the name itself.

    >>> segment_name("monday.waylog", 1), segment_name("monday.waylog", 2)
    ('monday.waylog', 'monday.2.waylog')
    """
    if number == 1:
        return name
    stem = name[: -len(ENDING)] if name.endswith(ENDING) else name
    return f"{stem}.{number}{ENDING}"


def segment_number(name: str, of: str) -> int | None:
    """Which segment of the recording `of` a file is, by its name; None when it is none.

    >>> segment_number("monday.12.waylog", "monday.waylog"), segment_number("tuesday.waylog", "monday.waylog")
    (12, None)
    """
    if name == of:
        return 1
    stem = of[: -len(ENDING)] if of.endswith(ENDING) else of
    middle = name[len(stem) + 1 : -len(ENDING)]
    plain = middle.isascii() and middle.isdigit() and not middle.startswith("0") and len(middle) < 10
    return int(middle) if plain and name == f"{stem}.{middle}{ENDING}" and int(middle) > 1 else None
