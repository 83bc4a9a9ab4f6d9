"""The decoder fed with random frames, with true frames damaged in every way, and with nonsense under true checksums."""

import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row, at_least, at_most
from benchmarks.wiring.sent import sent, wrong
from wayrule.formats.wire import Damage, Decoder, Samples
from wayrule.formats.wire.encoder import framed

Bytes = NDArray[np.uint8]

FULL, QUICK = 10_000_000, 60_000
"""Frames in a night, and in a check that somebody waits for."""

BATCH = 20_000
"""Frames that are made at once."""

HELD_LIMIT = 2500
"""Most bytes that the decoder may hold between two calls: a frame or a line."""

LEFT_LIMIT_KB = 64.0
"""Most memory that may be left after a batch has gone through: nothing is kept of it."""

PEAK_LIMIT_MB = 16.0
"""Most memory on the way, for up to 200 kB of bytes fed at once and the frames that are made of them."""


@dataclass(slots=True)
class Tally:
    """What came of it."""

    frames: int = 0
    damaged: int = 0
    accepted: int = 0
    wrong: int = 0
    held: int = 0


def random_frames(rng: np.random.Generator, n: int) -> bytes:
    """Frames of random bytes, every second one with a kind where a frame has it, a few of them text."""
    lengths = rng.integers(2, 160, n)
    data = rng.integers(1, 256, int(lengths.sum() + n), dtype=np.uint8)
    ends = np.cumsum(lengths + 1) - 1
    data[ends] = 0
    starts = np.concatenate(([0], ends[:-1] + 1))
    data[starts[::2] + 1] = rng.integers(1, 9, len(starts[::2]))
    data[starts[::4]] = rng.integers(2, 30, len(starts[::4]))
    data[rng.random(len(data)) < 0.002] = 10
    return data.tobytes()


def damaged_frames(rng: np.random.Generator, n: int) -> bytes:
    """True frames, nearly each of them hurt: bits turned, bytes lost, put in, overwritten; stretches exchanged."""
    first = int(rng.integers(0, 2**30))
    data = np.frombuffer(sent(first, 4 * n), dtype=np.uint8).copy()
    size = len(data)
    hurts: tuple[Callable[[Bytes], Bytes], ...] = (
        lambda d: _bits(rng, d, int(rng.integers(n // 2, 2 * n))),
        lambda d: np.delete(d, rng.integers(0, len(d), n)),
        lambda d: np.insert(d, rng.integers(0, len(d), n), rng.integers(0, 256, n, dtype=np.uint8)),
        lambda d: _exchanged(rng, d, size // n),
        lambda d: _bursts(rng, d, n),
    )
    for k in rng.choice(len(hurts), size=int(rng.integers(1, 4)), replace=False):
        data = hurts[k](data)
    return data.tobytes()


def _bits(rng: np.random.Generator, data: Bytes, count: int) -> Bytes:
    np.bitwise_xor.at(data, rng.integers(0, len(data), count), (1 << rng.integers(0, 8, count)).astype(np.uint8))
    return data


def _exchanged(rng: np.random.Generator, data: Bytes, stretch: int) -> Bytes:
    """Pieces of half a frame to two frames in another order, some of them twice, some not at all."""
    cuts = np.sort(rng.integers(0, len(data), len(data) // stretch))
    pieces = np.split(data, cuts)
    order = rng.integers(0, len(pieces), len(pieces))
    near = np.clip(np.arange(len(pieces)) + (order % 7) - 3, 0, len(pieces) - 1)
    return np.concatenate([pieces[k] for k in near])


def _bursts(rng: np.random.Generator, data: Bytes, count: int) -> Bytes:
    """A few bytes in a row overwritten at random."""
    at = rng.integers(0, len(data) - 8, count)
    for k in range(int(rng.integers(1, 8))):
        data[at + k] = rng.integers(0, 256, count, dtype=np.uint8)
    return data


def signed_nonsense(rng: np.random.Generator, n: int) -> bytes:
    """Packets of any content and any kind whose checksum holds: what a wagon with a fault in its program would send."""
    out = []
    pool = rng.integers(0, 256, 400, dtype=np.uint8).tobytes()
    for size, at, kind in zip(*(rng.integers(0, top, n).tolist() for top in (200, 200, 12)), strict=True):
        out.append(framed(bytes([kind]) + pool[at : at + size]))
    return b"".join(out)


def feed(decoder: Decoder, data: bytes, rng: np.random.Generator, tally: Tally, *, told: bool) -> None:
    """Feed bytes in pieces of any size; `told` = each sample that is accepted must have been sent."""
    at = 0
    while at < len(data):
        size = int(rng.integers(1, 200_000))
        for frame in decoder.feed(data[at : at + size]):
            if isinstance(frame, Damage):
                tally.damaged += 1
            elif isinstance(frame, Samples) and told:
                tally.accepted += len(frame)
                tally.wrong += wrong(frame)
        at += size
        tally.held = max(tally.held, decoder.held)


def fuzzed(frames: int, seed: int = 1) -> tuple[Tally, float, float]:
    """Feed so many frames; returns the tally, the memory that was left over [kB] and the most on the way [MB]."""
    rng = np.random.default_rng(seed)
    tally, decoder = Tally(), Decoder()
    makers = ((random_frames, True), (damaged_frames, True)) * 2 + ((signed_nonsense, False),)
    feed(decoder, damaged_frames(rng, 500), rng, Tally(), told=False)  # what is made once is made now
    left_kb = peak_mb = 0.0
    turn = 0
    while tally.frames < frames:
        make, told = makers[turn % len(makers)]
        n = BATCH if make is not signed_nonsense else BATCH // 4
        data = make(rng, n)
        tracing = turn % 40 < 2
        if tracing:
            tracemalloc.start()
        feed(decoder, data, rng, tally, told=told)
        if tracing:
            left, peak = tracemalloc.get_traced_memory()
            left_kb, peak_mb = max(left_kb, left / 1024), max(peak_mb, peak / 2**20)
            tracemalloc.stop()
        tally.frames += n
        turn += 1
    return tally, left_kb, peak_mb


def fuzz_rows(quick: bool) -> Iterator[Row]:
    """No crash is the first row; a crash fails the area's guard."""
    tally, left_kb, peak_mb = fuzzed(QUICK if quick else FULL)
    what = f"fuzz, {tally.frames} frames ({tally.damaged} damaged, {tally.accepted} true samples found among them)"
    yield at_least(f"{what}: frames without a crash", tally.frames, QUICK if quick else FULL, "frames")
    theory = f"CRC-32 lets {tally.frames / 2**32:.2g} frames pass by chance"
    yield at_most(f"{what}: wrong samples accepted ({theory})", tally.wrong, 0, "samples")
    yield at_most("fuzz: bytes held between two calls", tally.held, HELD_LIMIT, "bytes")
    yield at_most("fuzz: most memory while up to 200 kB are fed at once", peak_mb, PEAK_LIMIT_MB, "MB")
    yield at_most("fuzz: memory left over after a batch", left_kb, LEFT_LIMIT_KB, "kB")
