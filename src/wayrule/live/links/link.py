"""What every link is: it runs until told to stop or broken, and hands on what comes; who keeps it up begins anew."""

import threading
from collections.abc import Callable
from typing import Final, Protocol

Answer = Callable[[bytes], None]
"""Sends bytes back to the peer; a link that cannot does nothing. Never raises."""

WAIT_S: Final = 0.2
"""A link looks this often whether it is to stop."""

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.2, 5.0
"""Before a broken link is tried again; doubled each time it breaks before anything came."""


class Sink(Protocol):
    """Takes what comes. A link may have several peers (UDP has), each known by a text that names it."""

    def up(self, peer: str, answer: Answer) -> None:
        """A peer is there, and this is how to answer it."""

    def came(self, peer: str, data: bytes) -> None:
        """Bytes of a peer that is up."""

    def down(self, peer: str, why: str) -> None:
        """A peer is gone, or ("" for the peer) the link could not be made."""


class LinkDownError(Exception):
    """A link broke or could not be made; the text says why, and it is worth another try."""


class LinkEndedError(Exception):
    """A link has given all there is; no other try."""


class Link(Protocol):
    """A way by which bytes come.

    spelling   as a person wrote it
    """

    spelling: str

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """Hand on what comes until `stop` is set.

        Raises
        ------
        LinkDownError   it broke
        LinkEndedError      there is no more
        """


def keep_up(link: Link, sink: Sink, stop: threading.Event) -> str:
    """Run a link, and again whenever it broke, until told to stop; returns why it ended ("" when told to)."""
    heard = _Heard(sink)
    pause_s = FIRST_PAUSE_S
    while not stop.is_set():
        heard.any = False
        try:
            link.run(heard, stop)
        except LinkEndedError as end:
            return str(end)
        except LinkDownError as down:
            heard.all_down(str(down))
        pause_s = FIRST_PAUSE_S if heard.any else min(2 * pause_s, LONGEST_PAUSE_S)
        stop.wait(pause_s)
    return ""


class _Heard:
    """Passes everything on, and knows whether anything came and who is up."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._up: set[str] = set()
        self.any = False

    def up(self, peer: str, answer: Answer) -> None:
        self._up.add(peer)
        self._sink.up(peer, answer)

    def came(self, peer: str, data: bytes) -> None:
        self.any = True
        self._sink.came(peer, data)

    def down(self, peer: str, why: str) -> None:
        self._up.discard(peer)
        self._sink.down(peer, why)

    def all_down(self, why: str) -> None:
        """Everybody who was up is down now; where nobody was, the link itself is."""
        for peer in sorted(self._up) or [""]:
            self._sink.down(peer, why)
        self._up.clear()
