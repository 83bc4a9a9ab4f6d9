"""A saved log sent again, as fast as it came, faster, or at once."""

import math
import threading
import time
from pathlib import Path
from typing import Final

from wayrule.errors import WayruleError
from wayrule.formats.rawlog import is_raw_log, segment_number
from wayrule.formats.rawlogreader import RawLog, read_raw_log
from wayrule.live.links.link import WAIT_S, LinkEndedError, Sink

PIECE: Final = 4096
"""Bytes of a plain file that are handed on at a time."""


class FileLink:
    """A raw log, with the times of its pieces; or any other file, as bytes without a time.

    speed   how many times as fast as it was recorded; infinite: without waiting
    """

    def __init__(self, spelling: str, path: Path, speed: float = 1.0) -> None:
        self.spelling, self._path, self._speed = spelling, path, speed
        try:
            self._data = path.read_bytes()
        except OSError as error:
            raise WayruleError(
                expected="a log to replay",
                came=error.strerror or str(error),
                where=spelling,
                next_step="check the path",
            ) from None

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """To its end."""
        if is_raw_log(self._data):
            self._replay(read_raw_log(self._segments()), sink, stop)
        else:
            name = self._path.name
            sink.up(name, lambda _: None)
            for start in range(0, len(self._data), PIECE):
                if stop.is_set():
                    break
                sink.came(name, self._data[start : start + PIECE])
            sink.down(name, "the file is at its end")
        if not stop.is_set():
            raise LinkEndedError("the file is at its end")

    def _segments(self) -> list[tuple[str, bytes]]:
        """The log with the later segments beside it."""
        later = [p for p in self._path.parent.iterdir() if (segment_number(p.name, self._path.name) or 0) > 1]
        return [(self._path.name, self._data), *((p.name, p.read_bytes()) for p in later)]

    def _replay(self, log: RawLog, sink: Sink, stop: threading.Event) -> None:
        names = {s.source: f"{s.link} {s.peer}".strip() or f"source {s.source}" for s in log.senders()}
        for name in names.values():
            sink.up(name, lambda _: None)
        begin = time.monotonic()
        first = int(log.t_ns[0]) if len(log.t_ns) else 0
        for source, t_ns, payload in zip(log.source.tolist(), log.t_ns.tolist(), log.payloads, strict=True):
            if math.isfinite(self._speed):
                due = begin + (t_ns - first) * 1e-9 / self._speed
                while not stop.is_set() and (left := due - time.monotonic()) > 0:
                    stop.wait(min(left, WAIT_S))
            if stop.is_set():
                return
            sink.came(names[source], payload)
        for name in names.values():
            sink.down(name, "the log is at its end")
