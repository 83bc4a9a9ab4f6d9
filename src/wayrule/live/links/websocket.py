"""A WebSocket (RFC 6455) to a wagon that serves its own page."""

import contextlib
import threading
from typing import Final

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidURI
from websockets.sync.client import ClientConnection, connect

from wayrule.live.links.link import WAIT_S, LinkDownError, Sink
from wayrule.live.links.tcp import CONNECT_S, SILENT_S, reason

LONGEST_MESSAGE: Final = 65_536


class WebSocketLink:
    """Connects to an address such as ws://192.168.4.1/wire."""

    def __init__(self, spelling: str, url: str) -> None:
        self.spelling, self._url = spelling, url

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """One connection, from its making to its end."""
        with contextlib.ExitStack() as held:
            try:
                made = held.enter_context(self._connected())
            except OSError as error:
                raise LinkDownError(reason(error)) from None
            except (InvalidHandshake, InvalidURI, ConnectionClosed) as error:
                raise LinkDownError(f"no WebSocket there: {str(error).splitlines()[0]}") from None
            self._listen(made, sink, stop)

    def _connected(self) -> contextlib.AbstractContextManager[ClientConnection]:
        """No compression and no pings: a small microcontroller has neither memory nor time for them."""
        return connect(
            self._url, open_timeout=CONNECT_S, close_timeout=1.0, max_size=LONGEST_MESSAGE, compression=None,
            ping_interval=None, proxy=None,
        )  # fmt: skip

    def _listen(self, made: ClientConnection, sink: Sink, stop: threading.Event) -> None:
        peer = self._url.removeprefix("ws://")
        sink.up(peer, lambda said: _send(made, said))
        silent = 0.0
        while not stop.is_set():
            try:
                data = made.recv(timeout=WAIT_S)
            except TimeoutError:
                silent += WAIT_S
                if silent > SILENT_S:
                    raise LinkDownError(f"silent for {SILENT_S:g} s") from None
                continue
            except ConnectionClosed as error:
                raise LinkDownError(f"the wagon closed the connection: {str(error).splitlines()[0]}") from None
            silent = 0.0
            sink.came(peer, data.encode() if isinstance(data, str) else data)
        sink.down(peer, "stopped")


def _send(made: ClientConnection, data: bytes) -> None:
    with contextlib.suppress(ConnectionClosed, OSError):
        made.send(data)
