"""The log is written: blocks in, files out, flushed ten times a second; what fails goes on in a new file.

A flush that failed is never tried again on the same file: the system may have thrown the pages away and would call the
second try a success (A. Rebello and others, Can Applications Recover from fsync Failures?, USENIX ATC 2020). Whatever
is not known to be flushed stays in memory, and is written anew into the next segment under its old sequence numbers.
"""

import os
import threading
import time
from collections import deque
from pathlib import Path
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.rawlog import DATA, HEAD, NOTE, SESSION_BYTES, packed
from wayrule.formats.rawlognotes import note_bytes
from wayrule.live.clock import CLOCK, Clock
from wayrule.live.disk import FULL, Disk, RealDisk
from wayrule.live.segments import LARGEST_SEGMENT, Segments
from wayrule.live.status import State, WriterStatus
from wayrule.version import VERSION

PERIOD_S: Final = 0.08
"""From the beginning of one flush to that of the next: of the 0.2 s that are promised, 0.12 s are left for the disk."""

LEAST_PAUSE_S: Final = 0.01
"""Between two flushes of a disk that takes longer than that."""

TIME_S: Final = 1.0
"""Between notes of the wall's clock; they also show until when the recorder was alive."""

HELD_UP_S: Final = 5.0
"""A round that comes so late, by either clock, means that machine or program slept; a busy disk takes less."""

KEPT_IN_MEMORY: Final = 64 << 20
"""Bytes kept while nothing can be written: three minutes of fifty wagons at 400 kB/s, 40 minutes of four."""

LARGEST_PIECE: Final = 1 << 20
"""Bytes written between two flushes, where much has piled up: what fits is kept even if not all of it does."""

LEAST_PIECE: Final = 4096
"""Where files may not grow beyond some size, a piece that is too large would fail for ever."""

ROOM_FOR_HEAD: Final = 4096

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 10.0
"""Between tries to write again: doubled each time."""


class LogWriter:
    """One recording's raw log, written by a thread of its own.

    `put` and `note` may be called from any thread and return at once.
    """

    def __init__(
        self,
        path: Path,
        *,
        keep_free: int = 0,
        clock: Clock = CLOCK,
        disk: Disk | None = None,
        kept_in_memory: int = KEPT_IN_MEMORY,
        largest_segment: int = LARGEST_SEGMENT,
    ) -> None:
        self._keep_free, self._clock, self._kept_in_memory = keep_free, clock, kept_in_memory
        self._segments = Segments(path, disk or RealDisk(), largest_segment)
        self.session = os.urandom(SESSION_BYTES)
        self._lock, self._stop = threading.Lock(), threading.Event()
        self._sequence = self._flushed = self._waiting = 0
        self._new: deque[tuple[int, int, bytes]] = deque()
        self._unflushed: list[tuple[int, int, bytes]] = []
        self._dropped = self._dropped_now = self._dropped_chunks = 0
        self._standing: list[tuple[int, bytes]] = []
        self._state: State = "writing"
        self._why, self._again_ns, self._longest_ns, self._slowest_ns = "", 0, 0, 0
        self._failures = self._stuck = 0  # since all was on the disk; since anything was
        self._ended_why, self._patience_s = "stopped", 5.0
        self._defect: Exception | None = None
        self._round, self._timed_ns = (clock.host_ns(), clock.wall_s()), -(10**18)
        self._begin("began")
        if self._state != "writing":
            raise WayruleError(
                expected="a place that can be written",
                came=self._why,
                where=str(path),
                next_step="choose another name or another folder, or make room",
            )
        self._thread = threading.Thread(target=self._run, name="log writer", daemon=True)
        self._thread.start()

    @property
    def sequence(self) -> int:
        """Of the next block: all that was put so far has lower numbers."""
        return self._sequence

    @property
    def flushed(self) -> int:
        """Every block below this number is on the disk."""
        return self._flushed

    def put(self, source: int, t_ns: int, data: bytes) -> int | None:
        """Keep what a source sent, received at `t_ns`, at most 65 536 bytes; its sequence number, None: no room."""
        with self._lock:
            if self._waiting + len(data) > self._kept_in_memory:
                self._dropped_now += len(data)
                self._dropped_chunks += 1
                self._dropped += len(data)
                return None
            return self._append(DATA, source, t_ns, data)

    def note(self, what: str, said: dict[str, str | float], source: int = 0, *, standing: bool = False) -> None:
        """Write a note; a standing one is repeated at the head of every later segment."""
        payload = note_bytes(what, said)
        with self._lock:
            if standing:
                self._standing.append((source, payload))
            self._append(NOTE, source, self._clock.host_ns(), payload)

    def status(self) -> WriterStatus:
        """How it is doing now."""
        try:
            room = self._segments.room()
        except OSError:
            room = 0
        with self._lock:
            return WriterStatus(
                self._state, self._why, tuple(self._segments.files), self._segments.written, self._waiting,
                self._flushed, self._dropped, self._longest_ns * 1e-9, self._slowest_ns * 1e-9, room,
            )  # fmt: skip

    def close(self, why: str = "stopped", *, patience_s: float = 5.0) -> WriterStatus:
        """Write what is left, end the log and stop; what could not be written within `patience_s` is `waiting`."""
        self._ended_why, self._patience_s = why, patience_s
        self._stop.set()
        self._thread.join(patience_s + 60.0)  # a flush in progress cannot be interrupted
        if self._defect is not None:
            raise self._defect
        return self.status()

    def _append(self, kind: int, source: int, t_ns: int, payload: bytes) -> int:
        """Under the lock: the next block; its number."""
        number = self._sequence
        whole = packed(kind, source, self.session, number, t_ns, payload)
        self._new.append((number, t_ns, whole))
        self._sequence = number + 1
        self._waiting += len(whole)
        return number

    def _run(self) -> None:
        try:
            pause_s = PERIOD_S
            while not self._stop.wait(pause_s):
                begin = time.monotonic()
                self._once()
                pause_s = max(PERIOD_S - (time.monotonic() - begin), LEAST_PAUSE_S)
            self._last()
        except Exception as defect:
            with self._lock:
                self._state, self._why, self._defect = "failing", f"defect of the writer: {defect!r}", defect

    def _once(self) -> None:
        """One round: notes that are due, then whatever came."""
        now, wall = self._clock.host_ns(), self._clock.wall_s()
        was, wall_was = self._round
        self._round = (now, wall)
        late_s = max((now - was) * 1e-9, wall - wall_was) - PERIOD_S
        if late_s > HELD_UP_S and self._state == "writing":
            self.note("slept", {"seconds": round(late_s, 3), "after_s": was * 1e-9})
        if now - self._timed_ns >= TIME_S * 1e9:
            self._timed_ns = now
            self.note("time", {"wall_s": round(wall, 6)})
        if self._state == "writing" or now >= self._again_ns:
            self._write_on()

    def _last(self) -> None:
        """The end: all that is left, and one note more; tried for a while."""
        until = self._clock.host_ns() + int(self._patience_s * 1e9)
        while True:
            if self._write_on():
                self.note("end", {"why": self._ended_why})
                if self._write_on():
                    break
            if self._clock.host_ns() > until:
                break
            time.sleep(PERIOD_S)
        self._segments.leave()
        if self._state == "writing":
            self._state = "ended"

    def _write_on(self) -> bool:
        """Write and flush what came, in a new segment where one is due; what fails stays. True: all is on the disk."""
        if self._dropped_chunks:
            with self._lock:
                said: dict[str, str | float] = {"bytes": self._dropped_now, "chunks": self._dropped_chunks}
                self._dropped_now = self._dropped_chunks = 0
            self.note("dropped", said | {"why": "the disk took nothing for so long that memory was full"})
        with self._lock:
            self._unflushed.extend(self._new)
            self._new.clear()
        if self._failures:
            self._unflushed.sort()  # heads that failed lie among them
        if self._state != "writing":
            self._begin(self._why)
        while self._unflushed and self._state == "writing":
            self._write_piece()
        return self._state == "writing"

    def _write_piece(self) -> None:
        """Write and flush as many of the waiting blocks as go in one piece: a smaller one after each failure."""
        size = count = 0
        largest = max(LARGEST_PIECE >> self._failures, LEAST_PIECE)
        for _, _, whole in self._unflushed:
            if count and size + len(whole) > largest:
                break
            size, count = size + len(whole), count + 1
        if self._segments.too_large(size):
            self._begin("the file before grew to its full size")
            return
        try:
            if self._fits(size):
                begin_ns = self._clock.host_ns()
                self._segments.append(b"".join(whole for _, _, whole in self._unflushed[:count]))
                self._slowest_ns = max(self._slowest_ns, self._clock.host_ns() - begin_ns)
                self._settle(count, size)
        except OSError as error:
            self._failed_by(error)

    def _settle(self, count: int, size: int) -> None:
        """So many of `_unflushed` are on the disk."""
        now = self._clock.host_ns()
        with self._lock:
            self._flushed = max(self._flushed, self._unflushed[count - 1][0] + 1)
            self._waiting -= size
            if not self._failures:
                self._longest_ns = max(self._longest_ns, now - min(t_ns for _, t_ns, _ in self._unflushed[:count]))
        del self._unflushed[:count]
        self._stuck = 0
        if not self._unflushed:
            self._failures = 0

    def _begin(self, why: str) -> None:
        """A new segment: its head, the standing notes; the state says whether it stands."""
        self._segments.leave()
        try:
            if not self._fits(sum(len(whole) for _, _, whole in self._unflushed) + ROOM_FOR_HEAD):
                return
            head = self._head(self._segments.create(), why)
        except OSError as error:
            self._failed_by(error)
            return
        try:
            self._segments.begin(b"".join(whole for _, _, whole in head))
        except OSError as error:
            self._unflushed += head  # it has numbers that would be missed
            with self._lock:
                self._waiting += sum(len(whole) for _, _, whole in head)
            self._failed_by(error)
            return
        with self._lock:
            self._state, self._why = "writing", ""

    def _head(self, segment: int, why: str) -> list[tuple[int, int, bytes]]:
        """The blocks that begin a segment; they take new sequence numbers, the waiting ones keep theirs."""
        head = note_bytes(
            "head",
            {"segment": segment, "why": why, "wall_s": round(self._clock.wall_s(), 6), "program": f"wayrule {VERSION}"},
        )
        blocks = []
        with self._lock:
            for kind, source, payload in [(HEAD, 0, head), *((NOTE, *note) for note in self._standing)]:
                now = self._clock.host_ns()
                whole = packed(kind, source, self.session, self._sequence, now, payload)
                blocks.append((self._sequence, now, whole))
                self._sequence += 1
        return blocks

    def _fits(self, size: int) -> bool:
        """Whether so many bytes leave the room that is to stay; if not, writing stops before the system says so."""
        if self._segments.room() - size >= self._keep_free:
            return True
        left = f"less than {self._keep_free} bytes of room would be left" if self._keep_free else "no room is left"
        self._failed("full", left)
        return False

    def _failed_by(self, error: OSError) -> None:
        self._failed("full" if error.errno in FULL else "failing", (error.strerror or str(error)).splitlines()[0])

    def _failed(self, state: State, why: str) -> None:
        """Leave the segment for good; the next begins at once where nothing had failed before, else after a pause."""
        self._segments.leave()
        with self._lock:
            self._state, self._why = state, why
        pause_s = 0.0 if state == "failing" and not self._stuck else FIRST_PAUSE_S * 2.0 ** min(self._stuck, 10)
        self._again_ns = self._clock.host_ns() + int(min(pause_s, LONGEST_PAUSE_S) * 1e9)
        self._failures += 1
        self._stuck += 1
