"""Streams whose every sample can be told: what a number's sample must be is computed from the number alone."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.formats.wire import Samples, encode

DEVICE, BOOT, COLUMNS = 0x902AB418, 3, 9

MIXERS: Final = np.array([0x9E3779B1 + 2 * 0x51ED27 * k for k in range(COLUMNS)], dtype=np.uint64)


def counts_of(seq: NDArray[np.int64]) -> NDArray[np.int32]:
    """(n, 9) counts of samples with these numbers: a hash, so that a wrong one shows."""
    mixed = (seq.astype(np.uint64)[:, None] + np.uint64(12345)) * MIXERS
    mixed ^= mixed >> np.uint64(29)
    return (mixed & np.uint64(0xFFFF)).astype(np.int32) - 32768


def times_of(seq: NDArray[np.int64]) -> NDArray[np.int64]:
    """(n,) the wagon's clock [us]."""
    return 5000 * seq + seq % 7


def sent(first: int, n: int, rows: int = 4) -> bytes:
    """The bytes of `n` samples from number `first` on."""
    seq = np.arange(first, first + n)
    return encode(Samples(DEVICE, BOOT, seq, times_of(seq), counts_of(seq)), rows)


def wrong(samples: Samples) -> int:
    """How many of these samples were never sent."""
    if (samples.device, samples.boot, samples.counts.shape[1]) != (DEVICE, BOOT, COLUMNS):
        return len(samples)
    right = np.all(samples.counts == counts_of(samples.seq), axis=1) & (samples.t_us == times_of(samples.seq))
    return int(np.sum(~right))
