"""The counts of one boot of one wagon as they come, in arrays that grow."""

import numpy as np

from wayrule.formats.wire import Hello, Samples, Trip
from wayrule.formats.wire.frames import Counts, Numbers

FIRST_ROOM = 4096


class CountLog:
    """Samples in the order of their numbers; what comes late waits until it is `merged`."""

    def __init__(self, hello: Hello) -> None:
        self._hello = hello
        self._seq: Numbers = np.zeros(0, np.int64)
        self._t_us: Numbers = np.zeros(0, np.int64)
        self._counts: Counts = np.zeros((0, len(hello.columns)), np.int32)
        self._used = 0
        self._late: list[Samples] = []

    def __len__(self) -> int:
        return self._used

    @property
    def newest(self) -> int:
        """Number of the newest sample; -1 before there is one."""
        return int(self._seq[self._used - 1]) if self._used else -1

    def take(self, samples: Samples) -> int:
        """Samples of this boot; returns how many of them came at the end, in order."""
        if samples.counts.shape[1] != self._counts.shape[1]:
            return 0
        new = samples.seq > self.newest
        count = int(new.sum())
        if count < len(samples):
            self._late.append(samples)
        if count:
            self._room(count)
            at = slice(self._used, self._used + count)
            self._seq[at], self._t_us[at], self._counts[at] = samples.seq[new], samples.t_us[new], samples.counts[new]
            self._used += count
        return count

    def merged(self) -> None:
        """Put what came late where it belongs."""
        late, self._late = self._late, []
        if not late:
            return
        own_seq, own_t_us, own_counts = self._slice(0)
        self._seq, first = np.unique(np.concatenate([own_seq, *(s.seq for s in late)]), return_index=True)
        self._t_us = np.concatenate([own_t_us, *(s.t_us for s in late)])[first]
        self._counts = np.concatenate([own_counts, *(s.counts for s in late)])[first]
        self._used = len(first)

    def trip(self, start: int = 0) -> Trip:
        """From a place in the log to its end."""
        seq, t_us, counts = self._slice(start)
        return Trip(self._hello.device, self._hello.boot, self._hello, seq.copy(), t_us.copy(), counts.copy())

    def at(self, t_s: float) -> int:
        """Place of the first sample at this time or later."""
        return int(np.searchsorted(self._t_us[: self._used], round(t_s * 1e6)))

    def forget(self, before: int) -> None:
        """Drop what lies before a place."""
        seq, t_us, counts = self._slice(before)
        self._seq, self._t_us, self._counts = seq.copy(), t_us.copy(), counts.copy()
        self._used, self._late = len(self._seq), []

    def _slice(self, start: int) -> tuple[Numbers, Numbers, Counts]:
        at = slice(start, self._used)
        return self._seq[at], self._t_us[at], self._counts[at]

    def _room(self, count: int) -> None:
        wanted = self._used + count
        if wanted <= len(self._seq):
            return
        more = max(2 * len(self._seq), wanted, FIRST_ROOM) - self._used
        seq, t_us, counts = self._slice(0)
        self._seq = np.concatenate([seq, np.zeros(more, np.int64)])
        self._t_us = np.concatenate([t_us, np.zeros(more, np.int64)])
        self._counts = np.concatenate([counts, np.zeros((more, counts.shape[1]), np.int32)])
