"""Makes the wagon known on the local network: multicast DNS (RFC 6762) with service discovery (RFC 6763).

An unasked announcement every few seconds, with a time to live of two minutes, is enough for whoever browses.
"""

GROUP = ("224.0.0.251", 5353)

PTR, TXT, SRV, A = 12, 16, 33, 1

TTL_S = 120

SERVICES = ("_wayrule._udp", "_wayrule._tcp")


def _name(dotted):
    """A domain name as labels (RFC 1035, section 3.1)."""
    out = b""
    for label in dotted:
        word = label.encode()[:63]
        out += bytes([len(word)]) + word
    return out + b"\0"


def _record(name, kind, data, unique):
    """A resource record; `unique` asks others to forget older ones (RFC 6762, section 10.2)."""
    size = len(data)
    return (
        name + bytes([0, kind, 0x80 if unique else 0, 1, 0, 0, TTL_S >> 8, TTL_S & 255, size >> 8, size & 255]) + data
    )


def announcement(name, identity, address, port):
    """The message: name : of the wagon; identity : its id; address : "192.168.4.1"; port : where it listens."""
    host = _name(["wayrule-" + identity, "local"])
    records = []
    for service in SERVICES:
        kind = service.split(".") + ["local"]
        instance = _name([name] + kind)
        text = ("id=" + identity).encode()
        records.append(_record(_name(kind), PTR, instance, False))
        records.append(_record(instance, SRV, bytes([0, 0, 0, 0, port >> 8, port & 255]) + host, True))
        records.append(_record(instance, TXT, bytes([len(text)]) + text, True))
    records.append(_record(host, A, bytes([int(part) for part in address.split(".")]), True))
    return bytes([0, 0, 0x84, 0, 0, 0, 0, len(records), 0, 0, 0, 0]) + b"".join(records)


class Announcer:
    """Sends the announcement every `EVERY_S` seconds."""

    EVERY_S = 10

    def __init__(self, socket, message):
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._message = message
        self._last = -self.EVERY_S

    def step(self, sec):
        """Announce if it is time; sec : the wagon's clock."""
        if sec - self._last >= self.EVERY_S:
            self._last = sec
            try:
                self._socket.sendto(self._message, GROUP)
            except OSError:
                pass  # no network just now; the next time then
