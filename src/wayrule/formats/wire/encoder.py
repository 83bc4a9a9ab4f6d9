"""Frames to bytes: COBS between zeros, CRC-32 at the end of each packet. The wagon's own encoder is in firmware/."""

import struct
import zlib
from collections.abc import Iterator
from typing import Final

import numpy as np
from cobs import cobs
from numpy.typing import NDArray

from wayrule.formats.wire.frames import MAX_PACKET, SAMPLES, Frame, Line, Samples
from wayrule.formats.wire.packets import MILLION, packet
from wayrule.formats.wire.rows import HEAD, row_size

DELIMITER: Final = b"\0"

MAX_STEP_US: Final = 0xFFFF
"""Longest time between two rows of a frame [us]; what waits longer starts a frame of its own."""


def framed(body: bytes) -> bytes:
    """A packet with its CRC-32, stuffed, between two zeros.

    Raises
    ------
    ValueError   for a packet longer than `MAX_PACKET`

    >>> framed(bytes([5, 0, 0, 0])).hex(" ")
    '00 02 05 01 01 05 2e 2f 9a 16 00'
    """
    whole = body + struct.pack("<I", zlib.crc32(body))
    if len(whole) > MAX_PACKET:
        raise ValueError(f"a packet of {len(whole)} bytes, longer than {MAX_PACKET}")
    return DELIMITER + bytes(cobs.encode(whole)) + DELIMITER


def encode(frame: Frame, rows: int = 4) -> bytes:
    """The bytes of a frame; samples are cut into frames of up to `rows` samples.

    Raises
    ------
    ValueError   for what has no place on the wire
    """
    if isinstance(frame, Samples):
        return b"".join(framed(body) for body in sample_packets(frame, rows))
    if isinstance(frame, Line):
        return frame.text.encode() + b"\n"
    return framed(packet(frame))


def sample_packets(samples: Samples, rows: int) -> Iterator[bytes]:
    """Packets of up to `rows` samples each; a new one begins where numbers or times do not go on evenly."""
    wide = samples.wide
    narrow = samples.counts.shape[1] - wide
    fits = (MAX_PACKET - 4 - HEAD.size) // row_size(narrow, wide)
    if not 1 <= rows <= min(fits, 255):
        raise ValueError(f"expected 1 to {min(fits, 255)} rows in a frame, came {rows}")
    if narrow and np.any(np.abs(samples.counts[:, :narrow] + 0.5) > 32767.5):
        raise ValueError("a count that 16 bits cannot hold")
    steps = np.diff(samples.t_us)
    breaks = np.flatnonzero((np.diff(samples.seq) != 1) | (steps < 0) | (steps > MAX_STEP_US)) + 1
    for stretch in np.split(np.arange(len(samples)), breaks):
        for start in range(0, len(stretch), rows):
            yield _sample_packet(samples, stretch[start : start + rows], narrow, wide)


def _sample_packet(samples: Samples, at: NDArray[np.intp], narrow: int, wide: int) -> bytes:
    sec, usec = divmod(int(samples.t_us[at[0]]), MILLION)
    first = int(samples.seq[at[0]])
    head = HEAD.pack(SAMPLES, narrow, wide, len(at), samples.device, samples.boot, first, sec, usec)
    steps = np.diff(samples.t_us[at], prepend=samples.t_us[at[0]])
    line = struct.Struct(f"<H{narrow}h{wide}i")
    counts = samples.counts[at].tolist()
    return head + b"".join(line.pack(step, *row) for step, row in zip(steps.tolist(), counts, strict=True))
