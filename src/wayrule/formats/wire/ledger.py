"""Which samples of one wagon and one boot have come: what is missing, what to ask for, up to where all is safe."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from itertools import islice
from typing import Final

import numpy as np

from wayrule.formats.wire.frames import Gone, Numbers

MAX_STRETCHES: Final = 4096
"""So many stretches without a hole are told apart; with more holes than that the oldest are given up."""


class Ledger:
    """Stretches of numbers that have come, begun with the first one seen.

    What came before the first sample seen is not asked for: nobody recorded then.

    Examples
    --------
    >>> ledger = Ledger()
    >>> ledger.note(np.array([400, 401, 402, 406, 407]))
    5
    >>> ledger.safe, ledger.end, list(ledger.missing())
    (403, 408, [(403, 3)])
    >>> ledger.note(np.array([401, 404])), ledger.repeated
    (1, 1)
    """

    def __init__(self) -> None:
        self._from: list[int] = []
        self._to: list[int] = []
        """Stretches [from, to), rising, with a hole between each two."""
        self.repeated = 0
        """Samples that came once more."""
        self.new = 0
        """Samples that came for the first time."""
        self.given_up = 0
        """Samples that nobody has any more, or that were not asked for because there were too many holes."""
        self.closed = False
        """The wagon has said that it has nothing beyond the last: of an earlier boot, there is no more to ask for."""

    @property
    def safe(self) -> int:
        """All samples from the first seen up to this number, without it, have come or are gone for good."""
        return self._to[0] if self._to else 0

    @property
    def end(self) -> int:
        """The number after the highest seen."""
        return self._to[-1] if self._to else 0

    @property
    def awaited(self) -> int:
        """How many samples are missing and may still come."""
        return sum(count for _, count in self.missing())

    def missing(self) -> Iterator[tuple[int, int]]:
        """Holes: first number and how many, oldest first."""
        for end, start in zip(self._to, self._from[1:], strict=False):
            yield end, start - end

    def asked(self, most: int = 8) -> list[tuple[int, int]]:
        """What to want now: (first, count) of the oldest holes, or (end, 0) if there is none."""
        return list(islice(self.missing(), most)) or [(self.end, 0)]

    def note(self, seq: Numbers) -> int:
        """Samples with these numbers (n,) have come, in any order; returns how many of them are new."""
        numbers = np.unique(seq)
        if not len(numbers):
            return 0
        if self._from and numbers[0] < self._from[0]:
            numbers = numbers[numbers >= self._from[0]]  # older than all that was ever wanted
        cuts = np.flatnonzero(np.diff(numbers) != 1) + 1
        came = sum(self._add(int(run[0]), int(run[-1]) + 1) for run in np.split(numbers, cuts) if len(run))
        self.new += came
        self.repeated += len(seq) - came
        self._bounded()
        return came

    def give_up(self, gone: Gone) -> int:
        """The wagon no longer has these; they are not asked for again. Returns how many holes' samples it closed."""
        if not self._from:
            return 0
        self.closed = self.closed or gone.first <= self.end < gone.first + gone.count
        closed = 0
        for start, count in list(self.missing()):
            first, end = max(start, gone.first), min(start + count, gone.first + gone.count)
            if first < end:
                closed += self._add(first, end)
        self.given_up += closed
        return closed

    def _add(self, first: int, end: int) -> int:
        """Put [first, end) in; returns how many numbers it added."""
        at, past = bisect_left(self._to, first), bisect_right(self._from, end)
        inside = sum(min(end, t) - max(first, f) for f, t in zip(self._from[at:past], self._to[at:past], strict=True))
        low = min(first, self._from[at]) if at < past else first
        high = max(end, self._to[past - 1]) if at < past else end
        self._from[at:past], self._to[at:past] = [low], [high]
        return end - first - inside

    def _bounded(self) -> None:
        while len(self._from) > MAX_STRETCHES:
            self.given_up += self._from[1] - self._to[0]
            del self._to[0], self._from[1]
