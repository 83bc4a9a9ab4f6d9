"""Whoever is on the network: listens for datagrams, and greets each wagon that makes itself known, so that it sends."""

import re
import threading
from typing import Final

from wayrule.formats.wire import Want, encode
from wayrule.formats.wire.hello import device_of
from wayrule.live.discovery import Browser, Found
from wayrule.live.links.link import Sink
from wayrule.live.links.udp import UdpLink

GREET_S: Final = 1.0
"""From one greeting to the next of a wagon that has not answered: greetings get lost like anything else."""


class FindLink(UdpLink):
    """A UDP link that finds its wagons."""

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """Until told to stop."""
        known: dict[str, Found] = {}
        try:
            browser = Browser(lambda found: known.__setitem__(found.name, found) if found.kind == "udp" else None)
        except OSError:
            browser = None  # no network to ask; wagons that send by themselves are still heard
        done = threading.Event()
        greeter = threading.Thread(target=self._greet, args=(known, done), daemon=True)
        greeter.start()
        try:
            super().run(sink, stop)
        finally:
            done.set()
            greeter.join()
            if browser is not None:
                browser.close()

    def _greet(self, known: dict[str, Found], done: threading.Event) -> None:
        """Tell each wagon that was found and not yet heard where its samples are wanted."""
        while not done.wait(GREET_S):
            for found in list(known.values()):
                heard = (found.address, found.port) in self.peers
                if not heard and re.fullmatch(r"([0-9a-f]{2})+", found.id):
                    self.send(encode(Want(device_of(found.id), 0, 0, 0)), (found.address, found.port))
