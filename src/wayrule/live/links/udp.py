"""Datagrams: one socket for all wagons; each address that sends is a peer."""

import contextlib
import errno
import socket
import threading
from functools import partial
from typing import Final

from wayrule.errors import UsageError
from wayrule.live.links.link import WAIT_S, LinkDownError, Sink

MOST_PEERS: Final = 256
"""More senders than any layout has wagons: further ones are not listened to."""

RECEIVE_BUFFER: Final = 4 << 20
"""Bytes the system is asked to hold while this program is busy: ten seconds of fifty wagons."""

TAKEN: Final = frozenset({errno.EADDRINUSE, errno.EACCES, errno.EADDRNOTAVAIL})


class UdpLink:
    """Listens on a port; answers go to where the datagrams came from."""

    def __init__(self, spelling: str, host: str, port: int) -> None:
        self.spelling, self._host, self._port = spelling, host, port
        self._socket = self._bound()
        self.peers: dict[tuple[str, int], str] = {}
        self.port: int = self._socket.getsockname()[1]

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """Until told to stop."""
        self.peers.clear()
        with contextlib.closing(self._socket if self._socket.fileno() >= 0 else self._bound()) as sock:
            self._socket = sock
            while not stop.is_set():
                try:
                    data, address = sock.recvfrom(65_536)
                except TimeoutError:
                    continue
                except ConnectionError:
                    continue  # Windows tells here that an answer found nobody; nothing is wrong with the socket
                except OSError as error:
                    raise LinkDownError(error.strerror or str(error)) from None
                peer = self.peers.get(address[:2])
                if peer is None:
                    if len(self.peers) >= MOST_PEERS:
                        continue
                    peer = self.peers[address[:2]] = f"{address[0]}:{address[1]}"
                    sink.up(peer, partial(self.send, address=address[:2]))
                sink.came(peer, data)

    def send(self, data: bytes, address: tuple[str, int]) -> None:
        """Send a datagram to somebody; a network that does not take it is no news."""
        with contextlib.suppress(OSError):
            self._socket.sendto(data, address)

    def _bound(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        sock = socket.socket(family, socket.SOCK_DGRAM)
        try:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER)
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
            sock.bind((self._host, self._port))
            sock.settimeout(WAIT_S)
        except OSError as error:
            sock.close()
            taken = error.errno in TAKEN
            raise UsageError(
                expected="a port that is free",
                came=error.strerror or str(error),
                where=self.spelling,
                next_step="is another recorder running? Stop it, or name another port"
                if taken
                else "name another port",
            ) from None
        return sock
