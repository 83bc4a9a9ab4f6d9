"""A stream over the network, made to a wagon that listens."""

import contextlib
import socket
import threading
from typing import Final

from wayrule.live.links.link import WAIT_S, LinkDownError, Sink

CONNECT_S: Final = 5.0

SILENT_S: Final = 8.0
"""A wagon says hello every two seconds; one that is silent for four of them is gone, though its connection be there."""


class TcpLink:
    """Connects to a host and port."""

    def __init__(self, spelling: str, host: str, port: int) -> None:
        self.spelling, self._host, self._port = spelling, host, port

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """One connection, from its making to its end."""
        try:
            sock = socket.create_connection((self._host, self._port), timeout=CONNECT_S)
        except OSError as error:
            raise LinkDownError(reason(error)) from None
        with contextlib.closing(sock):
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            sock.settimeout(WAIT_S)
            peer = f"{self._host}:{self._port}"
            sink.up(peer, lambda said: _send(sock, said))
            silent = 0.0
            while not stop.is_set():
                try:
                    data = sock.recv(65_536)
                except TimeoutError:
                    silent += WAIT_S
                    if silent > SILENT_S:
                        raise LinkDownError(f"silent for {SILENT_S:g} s") from None
                    continue
                except OSError as error:
                    raise LinkDownError(reason(error)) from None
                if not data:
                    raise LinkDownError("the wagon closed the connection")
                silent = 0.0
                sink.came(peer, data)
            sink.down(peer, "stopped")


def reason(error: OSError) -> str:
    """What the system says, in a few words."""
    return (error.strerror or str(error) or type(error).__name__).splitlines()[0]


def _send(sock: socket.socket, data: bytes) -> None:
    """An answer is a few bytes; where even those find no room, the next one follows soon."""
    with contextlib.suppress(OSError):
        sock.send(data)
