"""How quickly a saved log becomes samples, and that it always becomes the same ones."""

import zlib
from collections.abc import Iterator

import numpy as np
from cobs import cobs

from benchmarks.benching.speed import in_turn
from benchmarks.row import Row, at_least, at_most
from benchmarks.wiring.sent import COLUMNS, counts_of, sent, times_of
from wayrule.formats.wire import Decoder, Samples

FULL, QUICK = 1_000_000, 200_000

MIN_RATE = 1e6
"""Samples a second that were promised."""

MAX_RATIO = 2.0
"""The decoder's time over that of the libraries it stands on, which do no more than look at each frame."""

PIECE = 1 << 16
"""Bytes that a reader of files takes at a time."""


def decoded(data: bytes, piece: int = PIECE) -> list[Samples]:
    """The batches of samples in these bytes."""
    decoder = Decoder()
    out = []
    for at in range(0, len(data), piece):
        out += [f for f in decoder.feed(data[at : at + piece]) if isinstance(f, Samples)]
    return out


def bare(data: bytes) -> int:
    """What the libraries alone need for the same frames: taking them apart at zeros, unstuffing, checksum."""
    right = 0
    for at in range(0, len(data), PIECE):
        for piece in data[at : at + PIECE].split(b"\0"):
            try:
                whole = cobs.decode(piece)
            except cobs.DecodeError:
                continue
            right += zlib.crc32(whole[:-4]) == int.from_bytes(whole[-4:], "little")
    return right


def speed_rows(quick: bool) -> Iterator[Row]:
    """Samples a second, and against the libraries alone in the same run, the jobs taking turns."""
    n = QUICK if quick else FULL
    data = sent(0, n)
    took = in_turn((lambda: decoded(data), lambda: bare(data)), times=3 if quick else 5)
    size = f"{len(data) / 1e6:.0f} MB"
    what = f"a saved log of {n} samples of {COLUMNS} columns, 4 to a frame ({size}), decoded on one core"
    yield at_least(what, n / took[0] / 1e6, MIN_RATE / 1e6, "million samples/s")
    against = f"over cobs and zlib alone on the same frames ({n / took[1] / 1e6:.1f} million samples/s)"
    yield at_most(f"{what}: time {against}", took[0] / took[1], MAX_RATIO, "times")


def replay_rows(quick: bool) -> Iterator[Row]:
    """The same bytes in pieces of any size give the same samples, bit by bit."""
    n = 40_000
    data, rng = sent(0, n), np.random.default_rng(7)
    unlike = 0
    for _ in range(10 if quick else 100):
        batches = decoded(data, int(rng.integers(200, 100_000)))
        seq, t_us, counts = (np.concatenate([getattr(b, f) for b in batches]) for f in ("seq", "t_us", "counts"))
        right = np.array_equal(seq, np.arange(n)) and np.array_equal(t_us, times_of(seq))
        unlike += not (right and counts.tobytes() == counts_of(seq).tobytes())
    yield at_most(f"replays of a log of {n} samples that are not bit-identical to what was sent", unlike, 0, "replays")
