"""Sample packets to arrays, many at once."""

import struct
from functools import lru_cache
from typing import Any, Final

import numpy as np

from wayrule.formats.wire.frames import Damage, Frame, Samples

HEAD: Final = struct.Struct("<BBBBIIIII")
"""kind, number of 16-bit columns, of 32-bit columns, of rows, device, boot, number of the first row, its seconds, its
microseconds. Then the rows: microseconds since the row before (16 bits unsigned, 0 in the first), 16-bit counts, 32-bit
counts."""

ALIKE: Final = 12
"""Packets whose first 12 bytes agree have one shape, one wagon and one boot."""


def row_size(narrow: int, wide: int) -> int:
    """Bytes of a row with so many 16-bit and 32-bit columns.

    >>> row_size(9, 0)
    20
    """
    return 2 + 2 * narrow + 4 * wide


def wrong(packet: bytes) -> str:
    """Why a packet of samples cannot be one; "" if it can."""
    if len(packet) < HEAD.size:
        return f"a packet of samples with {len(packet)} bytes, too short for its head"
    narrow, wide, rows = packet[1], packet[2], packet[3]
    if not rows or not narrow + wide:
        return f"a packet of samples with {rows} rows of {narrow + wide} columns"
    size = HEAD.size + rows * row_size(narrow, wide)
    return "" if len(packet) == size else f"a packet of samples with {len(packet)} bytes, {size} by its head"


@lru_cache(maxsize=64)
def _shape(narrow: int, wide: int, rows: int) -> np.dtype[Any]:
    row = np.dtype([("dt", "<u2"), ("narrow", "<i2", (narrow,)), ("wide", "<i4", (wide,))])
    return np.dtype([("head", f"V{ALIKE}"), ("seq", "<u4"), ("sec", "<u4"), ("usec", "<u4"), ("rows", row, (rows,))])


def samples_of(packets: list[bytes]) -> list[Frame]:
    """Batches of samples from packets in the order in which they came; each wagon and boot has one batch.

    What is no packet of samples comes back as `Damage` in front.
    """
    alike: dict[bytes, list[int]] = {}
    out: list[Frame] = []
    for at, packet in enumerate(packets):
        why = wrong(packet)
        if why:
            out.append(Damage(len(packet), why))
        else:
            alike.setdefault(packet[:ALIKE], []).append(at)
    batches: dict[tuple[int, int, int, int], list[tuple[Any, ...]]] = {}
    for head, places in alike.items():
        _, narrow, wide, rows, device, boot = struct.unpack("<BBBBII", head)
        part = _arrays([packets[at] for at in places], narrow, wide, rows)
        batches.setdefault((device, boot, narrow, wide), []).append((np.repeat(places, rows), *part))
    for (device, boot, _, wide), parts in batches.items():
        if len(parts) == 1:
            seq, t_us, counts = parts[0][1:]
        else:  # frames with different numbers of rows: back into the order in which they came
            order = np.argsort(np.concatenate([p[0] for p in parts]), kind="stable")
            seq, t_us, counts = (np.concatenate([p[k] for p in parts])[order] for k in (1, 2, 3))
        out.append(Samples(device, boot, _own(seq), _own(t_us), _own(counts), wide))
    return out


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
