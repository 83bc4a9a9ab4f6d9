"""The recorder: whatever comes over its links goes to the log first; then it is listened to, for whoever watches."""

import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wayrule.formats.rawlog import MAX_PAYLOAD
from wayrule.formats.wire import encode
from wayrule.live.clock import CLOCK, Clock
from wayrule.live.disk import Disk
from wayrule.live.links.link import Answer, Link, keep_up
from wayrule.live.listener import Asked, Heard, Listener
from wayrule.live.status import LinkStatus, RecorderStatus
from wayrule.live.writer import LogWriter
from wayrule.model import Wagon

if TYPE_CHECKING:
    from wayrule.live.monitor import Monitor
    from wayrule.model.now import Now

LISTEN_S: Final = 0.02
"""From one look at what came to the next: of 100 ms from byte to number a fifth."""

ANSWER_S: Final = 0.25
"""From one want to the next; a wagon takes two seconds without one for a dead link (docs/wire.md)."""

MOST_SOURCES: Final = 65_535

Watch = Callable[[Heard], None]
"""Gets every batch of frames, from the recorder's listening thread; what it raises is told in the status."""


class Recorder:
    """A recording in progress.

    The order is: a link's thread stamps and hands every piece to the log's writer; the listening thread decodes copies
    of it, hands them to the watchers, and answers the wagons. Nothing that goes wrong in the listening touches the log.
    """

    def __init__(
        self,
        path: Path,
        links: Sequence[Link],
        *,
        wagons: Iterable[Wagon] = (),
        keep_free: int = 0,
        watch: Iterable[Watch] = (),
        monitor: "Monitor | None" = None,
        clock: Clock = CLOCK,
        disk: Disk | None = None,
        **writing: Any,
    ) -> None:
        self._clock, self._monitor = clock, monitor
        self._watch = (*watch, *((monitor.watch,) if monitor else ()))
        self._writer = LogWriter(path, keep_free=keep_free, clock=clock, disk=disk, **writing)
        self._listener = Listener(wagons)
        self._begin_ns = clock.host_ns()
        self._lock, self._stop = threading.Lock(), threading.Event()
        self._sources: dict[tuple[int, str], int] = {}
        self._senders: dict[int, tuple[str, str]] = {}
        self._answers: dict[int, Answer] = {}
        self._came: deque[tuple[int, int, bytes]] = deque()
        self._marks: list[str] = []
        self._defects: dict[str, str] = {}
        self._unsure: deque[tuple[int, dict[Asked, int]]] = deque()
        self._on_disk: dict[Asked, int] = {}
        self._holes: dict[Asked, frozenset[int]] = {}
        self._sinks = [_LinkSink(self, number, link) for number, link in enumerate(links)]
        self._threads = [
            threading.Thread(target=self._keep_up, args=(sink, link), name=link.spelling, daemon=True)
            for sink, link in zip(self._sinks, links, strict=True)
        ]
        self._listening = threading.Thread(target=self._listen, name="listening", daemon=True)
        for thread in (*self._threads, self._listening):
            thread.start()

    def mark(self, name: str) -> str:
        """Drop a mark now; a name that is taken gets a number. Returns the name as written."""
        with self._lock:
            plain = " ".join(name.split()) or "mark"
            taken = set(self._marks)
            number = next(k for k in range(1, len(taken) + 2) if (plain if k == 1 else f"{plain} {k}") not in taken)
            written = plain if number == 1 else f"{plain} {number}"
            self._marks.append(written)
        self._writer.note("mark", {"name": written})
        return written

    def _said(self) -> tuple[tuple[str, "Now"], ...]:
        """What the wagons that are followed say."""
        return tuple(self._monitor.now().items()) if self._monitor else ()

    def reset_trips(self) -> None:
        """The trips of all wagons that are followed begin here."""
        if self._monitor:
            self._monitor.reset_trips()

    def status(self) -> RecorderStatus:
        """How it is going now."""
        now = self._clock.host_ns()
        with self._lock:
            wagons = self._listener.statuses(now, dict(self._senders))
            links = tuple(sink.status() for sink in self._sinks)
            marks, defects = tuple(self._marks), tuple(self._defects.values())
        if self._monitor and self._monitor.defect:
            defects += (self._monitor.defect,)
        running_s = (now - self._begin_ns) * 1e-9
        return RecorderStatus(running_s, self._writer.status(), links, wagons, marks, defects, self._said())

    @property
    def ended(self) -> bool:
        """Whether every link has given all it had (a replay, a make-believe run)."""
        return all(sink.ended for sink in self._sinks)

    def close(self, why: str = "stopped", *, patience_s: float = 5.0) -> RecorderStatus:
        """Stop the links, listen to the last bytes, end the log."""
        self._stop.set()
        for thread in self._threads:
            thread.join(10.0)
        self._listening.join(10.0)
        stood = self.status()  # as the last bytes left it: the monitor's last look takes its time
        if self._monitor:
            self._monitor.close()
        writer = self._writer.close(why, patience_s=patience_s)
        return replace(stood, writer=writer, said=self._said())

    # ------------------------------------------------------------------------------------------ the links' threads

    def _keep_up(self, sink: "_LinkSink", link: Link) -> None:
        try:
            sink.finished(keep_up(link, sink, self._stop))
        except Exception as defect:
            with self._lock:
                self._defects[link.spelling] = f"{link.spelling}: {defect!r}"
            sink.finished(f"defect: {defect!r}")

    def source_up(self, link: int, spelling: str, peer: str, answer: Answer) -> int:
        """The number of a peer of a link: the same as before if it was there before."""
        with self._lock:
            source = self._sources.get((link, peer))
            new = source is None
            if source is None:
                source = self._sources[(link, peer)] = min(len(self._sources) + 1, MOST_SOURCES)
                self._senders[source] = (spelling, peer)
            self._answers[source] = answer
        if new:
            self._writer.note("source", {"link": spelling, "peer": peer}, source, standing=True)
        self._writer.note("link", {"state": "up"}, source)
        self._came.append((source, -1, b""))
        return source

    def source_down(self, source: int, why: str) -> None:
        """A peer is gone, or (source 0) a link cannot be made."""
        self._writer.note("link", {"state": "down", "why": why}, source)
        with self._lock:
            self._answers.pop(source, None)

    def take(self, source: int, data: bytes) -> None:
        """Bytes of a source: to the log, then to the ears."""
        now = self._clock.host_ns()
        for start in range(0, len(data), MAX_PAYLOAD):
            piece = data[start : start + MAX_PAYLOAD]
            if self._writer.put(source, now, piece) is not None:  # what is not kept is not heard: the wagon keeps it
                self._came.append((source, now, piece))

    # ------------------------------------------------------------------------------------------ the listening thread

    def _listen(self) -> None:
        answered_ns = 0
        while True:
            last = self._stop.wait(LISTEN_S) and not any(thread.is_alive() for thread in self._threads)
            try:
                self._hear()
                now = self._clock.host_ns()
                if now - answered_ns > ANSWER_S * 1e9:
                    answered_ns = now
                    self._answer()
            except Exception as defect:  # the log goes on whatever becomes of the listening
                with self._lock:
                    self._defects["listening"] = f"listening: {defect!r}"
            if last:
                return

    def _hear(self) -> None:
        """Everything that came since the last look, each source's bytes joined."""
        joined: dict[int, tuple[int, list[bytes]]] = {}
        heard = []
        for _ in range(len(self._came)):
            source, t_ns, data = self._came.popleft()
            if t_ns < 0:
                heard += self._decode(joined.pop(source, None), source)
                with self._lock:
                    self._listener.restarted(source)
            else:
                pieces = joined[source][1] if source in joined else []
                pieces.append(data)
                joined[source] = (t_ns, pieces)
        for source, batch in joined.items():
            heard += self._decode(batch, source)
        for frames in heard:
            self._show(frames)

    def _decode(self, batch: tuple[int, list[bytes]] | None, source: int) -> list[Heard]:
        if batch is None:
            return []
        with self._lock:
            return [self._listener.take(source, batch[0], b"".join(batch[1]))]

    def _show(self, heard: Heard) -> None:
        for watch in self._watch:
            try:
                watch(heard)
            except Exception as defect:
                with self._lock:
                    self._defects[f"watch {watch!r}"] = f"a watcher: {defect!r}"

    def _answer(self) -> None:
        """Tell every wagon what is safe on disk, and what to send again."""
        with self._lock:
            self._unsure.append((self._writer.sequence, self._listener.safe()))
            flushed = self._writer.flushed
            while self._unsure and self._unsure[0][0] <= flushed:
                self._on_disk = self._unsure.popleft()[1]
            wants = self._listener.wants(self._on_disk, self._holes)
            self._holes = self._listener.holes()
            answers = dict(self._answers)
        for source, want in wants:
            if source in answers:
                answers[source](encode(want))


class _LinkSink:
    """One link's sink: numbers its peers, and knows how it is doing."""

    def __init__(self, recorder: Recorder, number: int, link: Link) -> None:
        self._recorder, self._number, self._spelling = recorder, number, link.spelling
        self._up: dict[str, int] = {}
        self._why, self.ended = "", False

    def up(self, peer: str, answer: Answer) -> None:
        self._up[peer] = self._recorder.source_up(self._number, self._spelling, peer, answer)
        self._why = ""

    def came(self, peer: str, data: bytes) -> None:
        self._recorder.take(self._up[peer], data)

    def down(self, peer: str, why: str) -> None:
        source = self._up.pop(peer, 0)
        if source or why != self._why:
            self._recorder.source_down(source, why)
        self._why = why

    def finished(self, why: str) -> None:
        self.ended = True
        self._why = why or self._why

    def status(self) -> LinkStatus:
        return LinkStatus(self._spelling, bool(self._up), len(self._up), self.ended, self._why)
