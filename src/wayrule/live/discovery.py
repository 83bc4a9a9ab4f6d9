"""Wagons that make themselves known on the local network, by the open standards RFC 6762 and RFC 6763."""

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from zeroconf import IPVersion, ServiceBrowser, ServiceStateChange, Zeroconf

SERVICES: Final = {"udp": "_wayrule._udp.local.", "tcp": "_wayrule._tcp.local."}
"""Kind of link -> name of its service (docs/wire.md)."""

ASKED_MS: Final = 3000
"""So long a wagon has to say where it is, once it has said that it is there."""


@dataclass(frozen=True, slots=True)
class Found:
    """A wagon that said it is there.

    kind   udp or tcp
    name   as it calls itself; id: its microcontroller's number in hexadecimal, "" where it does not say
    """

    kind: str
    name: str
    address: str
    port: int
    id: str

    @property
    def link(self) -> str:
        """How to write the link to it."""
        host = f"[{self.address}]" if ":" in self.address else self.address
        return f"tcp:{host}:{self.port}" if self.kind == "tcp" else "udp:"


class Browser:
    """Listens until it is closed; `found` is called, from a thread of its own, for each wagon and each change of it."""

    def __init__(self, found: Callable[[Found], None], interfaces: Sequence[str] | None = None) -> None:
        self._found = found
        self._zeroconf = Zeroconf(interfaces=list(interfaces)) if interfaces else Zeroconf()
        self._browser = ServiceBrowser(self._zeroconf, list(SERVICES.values()), handlers=[self._changed])

    def close(self) -> None:
        """Stop listening."""
        self._browser.cancel()
        self._zeroconf.close()

    def _changed(self, zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange) -> None:
        if state_change is not ServiceStateChange.Removed:  # asking takes time, and this thread is the library's own
            threading.Thread(target=self._ask, args=(zeroconf, service_type, name), daemon=True).start()

    def _ask(self, zeroconf: Zeroconf, service_type: str, name: str) -> None:
        info = zeroconf.get_service_info(service_type, name, timeout=ASKED_MS)
        if info is None or not info.port:
            return
        kind = next(kind for kind, service in SERVICES.items() if service == service_type)
        identity = info.decoded_properties.get("id") or ""
        called = name.removesuffix("." + service_type)
        for address in info.parsed_scoped_addresses(IPVersion.V4Only)[:1] or info.parsed_scoped_addresses()[:1]:
            self._found(Found(kind, called, address, info.port, identity))


def look(seconds: float, interfaces: Sequence[str] | None = None) -> tuple[Found, ...]:
    """The wagons that answer within so many seconds, by name.

    Raises
    ------
    OSError   where there is no network to ask
    """
    seen: dict[tuple[str, str], Found] = {}
    browser = Browser(lambda found: seen.__setitem__((found.kind, found.name), found), interfaces)
    try:
        time.sleep(seconds)
    finally:
        browser.close()
    return tuple(seen[key] for key in sorted(seen))
