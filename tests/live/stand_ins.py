"""Stand-ins around links: a sink that keeps everything, and waiting for what another thread does."""

import threading
import time
from collections.abc import Callable

from wayrule.live.links.link import Answer, Link, keep_up


class Kept:
    """A sink that keeps what comes, in order."""

    def __init__(self) -> None:
        self.events: list[tuple[str, str, bytes | str]] = []
        self.answers: dict[str, Answer] = {}

    def up(self, peer: str, answer: Answer) -> None:
        self.answers[peer] = answer
        self.events.append(("up", peer, ""))

    def came(self, peer: str, data: bytes) -> None:
        self.events.append(("came", peer, data))

    def down(self, peer: str, why: str) -> None:
        self.events.append(("down", peer, why))

    @property
    def data(self) -> bytes:
        return b"".join(what for kind, _, what in list(self.events) if kind == "came" and isinstance(what, bytes))

    def whats(self, kind: str) -> list[str]:
        return [str(what) for k, _, what in list(self.events) if k == kind]


class Running:
    """A link kept up in a thread."""

    def __init__(self, link: Link) -> None:
        self.link, self.sink, self.stop, self.why = link, Kept(), threading.Event(), ""
        self._thread = threading.Thread(target=self._run, args=(link,), daemon=True)
        self._thread.start()

    def _run(self, link: Link) -> None:
        self.why = keep_up(link, self.sink, self.stop)

    def __enter__(self) -> "Running":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self._thread.join(10)
        assert not self._thread.is_alive()


def until(true: Callable[[], object], patience_s: float = 10.0) -> None:
    """Wait for something another thread does."""
    end = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.01)
