"""Packets to frames and back, as docs/wire.md says: CRC-32, then COBS, between zeros.

Whole numbers stay below 2**30 and nothing is made while it runs, so that MicroPython takes no memory: a checksum is two
halves of 16 bits, a time is seconds and microseconds.
"""

from array import array

HELLO, SAMPLES, MARK, STATE, WANT, GONE = 1, 2, 3, 4, 5, 6

WANT_SIZE = 20
"""Bytes of a want, without its checksum."""


def _table(high):
    """Half of the table of CRC-32 (reversed polynomial edb88320: IEEE 802.3), high or low 16 bits of each entry."""
    half = array("H", [0] * 256)
    for byte in range(256):
        lo, hi = byte, 0
        for _ in range(8):
            odd = lo & 1
            lo = (lo >> 1) | ((hi & 1) << 15)
            hi >>= 1
            if odd:
                lo ^= 0x8320
                hi ^= 0xEDB8
        half[byte] = hi if high else lo
    return half


LOW, HIGH = _table(False), _table(True)


def put16(buf, at, value):
    """The low 16 bits of a number, little-endian."""
    buf[at] = value & 255
    buf[at + 1] = (value >> 8) & 255


def put32(buf, at, value):
    """A number from 0 to 2**30 - 1 in 32 bits, little-endian."""
    buf[at] = value & 255
    buf[at + 1] = (value >> 8) & 255
    buf[at + 2] = (value >> 16) & 255
    buf[at + 3] = (value >> 24) & 255


def get32(buf, at):
    """32 bits, little-endian."""
    return buf[at] | buf[at + 1] << 8 | buf[at + 2] << 16 | buf[at + 3] << 24


def seal(packet, size):
    """Put the checksum behind the first `size` bytes of a packet; returns its size with it."""
    lo, hi = 0xFFFF, 0xFFFF
    at = 0
    while at < size:
        k = (lo ^ packet[at]) & 255
        lo = ((lo >> 8) | ((hi & 255) << 8)) ^ LOW[k]
        hi = (hi >> 8) ^ HIGH[k]
        at += 1
    put16(packet, size, lo ^ 0xFFFF)
    put16(packet, size + 2, hi ^ 0xFFFF)
    return size + 4


def stuff(packet, size, out):
    """Write the frame of a packet, its zeros included, to `out`; returns how long it is.

    What is left of `out` becomes zeros, which mean nothing on the wire: a buffer of fixed length can be sent whole.
    """
    out[0] = 0
    code, write, run = 1, 2, 1
    at = 0
    while at < size:
        byte = packet[at]
        at += 1
        if byte:
            out[write] = byte
            write += 1
            run += 1
        if not byte or (run == 255 and at < size):
            out[code] = run
            code = write
            write += 1
            run = 1
    out[code] = run
    at = write
    while at < len(out):
        out[at] = 0
        at += 1
    return write + 1


def framed(packet):
    """The frame of a packet (bytes) as new bytes; for what is sent seldom."""
    size = len(packet)
    room = bytearray(packet)
    room.extend(bytes(4))
    size = seal(room, size)
    out = bytearray(size + size // 254 + 4)
    return bytes(out[: stuff(room, size, out)])


def unstuffed(piece):
    """The packet in a piece between zeros, checksum verified and off; None if it is none."""
    out = bytearray()
    at, size = 0, len(piece)
    while at < size:
        run = piece[at]
        if not run or at + run > size:
            return None
        out.extend(piece[at + 1 : at + run])
        at += run
        if run < 255 and at < size:
            out.append(0)
    if len(out) < 5:
        return None
    told = bytes(out[-4:])
    seal(out, len(out) - 4)
    return bytes(out[:-4]) if bytes(out[-4:]) == told else None


class Listener:
    """Finds the desk's frames among what comes in; holds 64 bytes, for the desk has little to say."""

    LIMIT = 64

    def __init__(self):
        self._rest = b""

    def feed(self, data):
        """The packets that these bytes complete."""
        pieces = (self._rest + data).split(b"\0")
        rest = pieces.pop()
        self._rest = rest if len(rest) <= self.LIMIT else b""
        found = [unstuffed(piece) for piece in pieces if 1 < len(piece) <= self.LIMIT]
        return [packet for packet in found if packet]


def want_of(packet):
    """(device as 4 bytes, boot, first, count, safe) of a want; None if the packet is none."""
    if packet[0] != WANT or len(packet) < WANT_SIZE:
        return None
    safe = get32(packet, 20) if len(packet) >= WANT_SIZE + 4 else get32(packet, 12)
    return bytes(packet[4:8]), get32(packet, 8), get32(packet, 12), get32(packet, 16), safe
