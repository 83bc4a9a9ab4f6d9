"""Sample packets to arrays, many at once."""

import struct
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np

from wayrule.formats.wire.frames import Damage, Frame, Samples

HEAD: Final = struct.Struct("<BBBBIIIII")
"""kind, number of 16-bit columns, of 32-bit columns, of rows, device, boot, number of the first row, its seconds, its
microseconds. Then the rows: microseconds since the row before (16 bits unsigned, 0 in the first), 16-bit counts, 32-bit
counts."""

CHECK: Final = 4
"""Bytes of the checksum."""

ALIKE: Final = 12
"""Packets whose first 12 bytes agree have one shape, one wagon and one boot."""


def row_size(narrow: int, wide: int) -> int:
    """Bytes of a row with so many 16-bit and 32-bit columns.

    >>> row_size(9, 0)
    20
    """
    return 2 + 2 * narrow + 4 * wide


def packet_size(head: bytes) -> int:
    """Bytes of a packet with this head, checksum included; 0 if none can have it."""
    narrow, wide, rows = head[1], head[2], head[3]
    return HEAD.size + rows * row_size(narrow, wide) + CHECK if rows and narrow + wide else 0


@lru_cache(maxsize=64)
def _shape(narrow: int, wide: int, rows: int) -> np.dtype[Any]:
    row = np.dtype([("dt", "<u2"), ("narrow", "<i2", (narrow,)), ("wide", "<i4", (wide,))])
    return np.dtype(
        [("head", f"V{ALIKE}"), ("seq", "<u4"), ("sec", "<u4"), ("usec", "<u4"), ("rows", row, (rows,)), ("crc", "<u4")]
    )


def samples_of(packets: list[bytes]) -> list[Frame]:
    """Batches of samples from packets in the order in which they came; each wagon and boot has one batch.

    packets : with their checksums, which hold. What is no packet of samples comes back as `Damage` in front.
    """
    heads = [packet[:ALIKE] for packet in packets]
    alike = {heads[0]: range(len(heads))} if heads.count(heads[0]) == len(heads) else _places(heads)
    out: list[Frame] = []
    batches: dict[tuple[int, int, int, int], list[tuple[Any, ...]]] = {}
    for head, found in alike.items():
        places, some = found, packets if len(found) == len(packets) else [packets[at] for at in found]
        size = packet_size(head) if len(head) == ALIKE else 0
        if not size or any(length != size for length in map(len, some)):
            wrong = [at for at in places if len(packets[at]) != size]
            out += [Damage(len(packets[at]) - CHECK, _why(packets[at], size)) for at in wrong]
            places = [at for at in places if len(packets[at]) == size]
            some = [packets[at] for at in places]
        if some:
            _, narrow, wide, rows, device, boot = struct.unpack("<BBBBII", head)
            part = _arrays(some, narrow, wide, rows)
            batches.setdefault((device, boot, narrow, wide), []).append((np.repeat(places, rows), *part))
    for (device, boot, _, wide), parts in batches.items():
        seq, t_us, counts = parts[0][1:] if len(parts) == 1 else _in_order(parts)
        out.append(Samples(device, boot, _own(seq), _own(t_us), _own(counts), wide))
    return out


def _places(heads: list[bytes]) -> dict[bytes, Sequence[int]]:
    """Head -> which packets have it."""
    alike: dict[bytes, list[int]] = {}
    for at, head in enumerate(heads):
        alike.setdefault(head, []).append(at)
    return dict(alike)


def _in_order(parts: list[tuple[Any, ...]]) -> tuple[Any, Any, Any]:
    """Samples from frames with different numbers of rows, back in the order in which they came."""
    order = np.argsort(np.concatenate([part[0] for part in parts]), kind="stable")
    seq, t_us, counts = (np.concatenate([part[k] for part in parts])[order] for k in (1, 2, 3))
    return seq, t_us, counts


def _why(packet: bytes, size: int) -> str:
    """Why a packet of samples cannot be one."""
    came = len(packet) - CHECK
    if came < HEAD.size:
        return f"a packet of samples with {came} bytes, too short for its head"
    if not size:
        return f"a packet of samples with {packet[3]} rows of {packet[1] + packet[2]} columns"
    return f"a packet of samples with {came} bytes, {size - CHECK} by its head"


def _own(array: Any) -> Any:
    array.flags.writeable = False  # made here and held by nobody else: the frozen type need not copy it
    return array


def _arrays(packets: list[bytes], narrow: int, wide: int, rows: int) -> tuple[Any, Any, Any]:
    """Numbers (n,), times (n,) [us] and counts (n, k) of packets of one shape."""
    raw = np.frombuffer(b"".join(packets), dtype=_shape(narrow, wide, rows))
    n = len(raw) * rows
    seq = (raw["seq"].astype(np.int64)[:, None] + np.arange(rows)).reshape(n)
    start = raw["sec"].astype(np.int64) * 1_000_000 + raw["usec"]
    t_us = (start[:, None] + np.cumsum(raw["rows"]["dt"], axis=1, dtype=np.int64)).reshape(n)
    counts = np.empty((n, narrow + wide), dtype=np.int32)
    if narrow:
        counts[:, :narrow] = raw["rows"]["narrow"].reshape(n, narrow)
    if wide:
        counts[:, narrow:] = raw["rows"]["wide"].reshape(n, wide)
    return seq, t_us, counts
