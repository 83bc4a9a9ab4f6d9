"""What the wagon says besides samples, as packets: hello, mark, state, gone."""

from wagon.framing import GONE, HELLO, MARK, STATE, put16, put32

MAJOR, MINOR = 1, 0

FIRMWARE = "wayrule 1.0"


def hello(device, boot, sec, usec, lines):
    """Who speaks and what its counts mean; `lines` as docs/wire.md has them."""
    head = bytearray(20)
    head[0], head[1], head[2] = HELLO, MAJOR, MINOR
    _who(head, device, boot)
    _when(head, 12, sec, usec)
    return bytes(head) + "\n".join(lines).encode()


def hello_lines(identity, settings, columns):
    """The lines of a hello. columns : list of (name, bits, scale as text, offset as text), 16-bit ones first."""
    facts = ["id=" + identity, "name=" + settings.get("name", "wagon"), "firmware=" + FIRMWARE]
    facts.append("rate_hz=" + str(settings["rate_hz"]))
    return facts + ["column={} {} {} {}".format(*column) for column in columns]


def mark(device, boot, number, sec, usec, name):
    """A named moment."""
    head = bytearray(24)
    head[0] = MARK
    _who(head, device, boot)
    put32(head, 12, number)
    _when(head, 16, sec, usec)
    return bytes(head) + name.encode()[:64]


def state(device, boot, sec, usec, battery, radio_dbm, counts):
    """How the wagon fares. battery : (mV or 0, per cent or 255); counts : (missed, lost, kept)."""
    body = bytearray(36)
    body[0], body[1], body[2] = STATE, battery[1], radio_dbm & 255
    _who(body, device, boot)
    _when(body, 12, sec, usec)
    put16(body, 20, battery[0])
    for k in range(3):
        put32(body, 24 + 4 * k, counts[k])
    return bytes(body)


def gone(device, boot, first, count):
    """What was wanted and is not kept."""
    body = bytearray(20)
    body[0] = GONE
    _who(body, device, boot)
    put32(body, 12, first)
    put32(body, 16, count)
    return bytes(body)


def _who(body, device, boot):
    body[4:8] = device
    put32(body, 8, boot)


def _when(body, at, sec, usec):
    put32(body, at, sec)
    put32(body, at + 4, usec)
