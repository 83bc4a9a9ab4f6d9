"""The wire area: its quick rows hold, and its yardsticks see what is wrong."""

import numpy as np
import pytest

from benchmarks.wiring import fuzz, speed
from benchmarks.wiring.sent import counts_of, sent, times_of, wrong
from wayrule.formats.wire import Decoder, Samples
from wayrule.formats.wire import decoder as decoders


def test_a_short_fuzz_finds_nothing():
    assert [row.what for row in fuzz.fuzz_rows(True) if not row.ok] == []


def test_replays_are_identical():
    assert [row.what for row in speed.replay_rows(True) if not row.ok] == []


def test_a_wrong_sample_would_be_seen():
    (good,) = Decoder().feed(sent(100, 50))
    assert isinstance(good, Samples)
    assert wrong(good) == 0
    counts = good.counts.copy()
    counts[7, 3] ^= 1
    assert wrong(Samples(good.device, good.boot, good.seq, good.t_us, counts)) == 1
    assert wrong(Samples(good.device, good.boot, good.seq + 1, good.t_us, good.counts)) == 50


def test_a_decoder_that_believed_a_short_checksum_would_be_seen(monkeypatch: pytest.MonkeyPatch):
    """With eight bits of it looked at, one damaged frame in 256 passes."""
    real = decoders.zlib.crc32
    monkeypatch.setattr(decoders, "zlib", type("Weak", (), {"crc32": staticmethod(lambda body: Low(real(body)))}))
    tally, _, _ = fuzz.fuzzed(60_000)
    assert tally.wrong > 0


class Low(int):
    """A checksum of which only eight bits count."""

    def __eq__(self, other: object) -> bool:
        return not self != other

    def __ne__(self, other: object) -> bool:
        return self & 0xFF != int(other) & 0xFF  # type: ignore[call-overload]

    __hash__ = int.__hash__


def test_numbers_tell_their_samples():
    seq = np.arange(5)
    assert len({tuple(row) for row in counts_of(seq).tolist()}) == 5
    assert times_of(seq).tolist() == [0, 5001, 10002, 15003, 20004]
