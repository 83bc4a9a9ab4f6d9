"""The server's side of a WebSocket (RFC 6455): the handshake, and messages of up to 64 kB."""

import binascii
import hashlib

GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"
"""RFC 6455, section 1.3."""

CAN = hasattr(hashlib, "sha1")
"""Small builds leave that digest out; without it there is no handshake."""

BINARY, CLOSE, PING, PONG = 2, 8, 9, 10


def accept_key(key):
    """What the server answers to the client's key.

    >>> accept_key(b"dGhlIHNhbXBsZSBub25jZQ==")  # the example of RFC 6455, section 1.3
    b's3pPLMBiTxaQ9kYGzzhZRbK+xOo='
    """
    return binascii.b2a_base64(hashlib.sha1(key + GUID).digest()).strip()


def message(payload, kind=BINARY):
    """A whole message from the server, not masked (section 5.2)."""
    size = len(payload)
    head = bytes([0x80 | kind, size]) if size < 126 else bytes([0x80 | kind, 126, size >> 8, size & 255])
    return head + bytes(payload)


class Messages:
    """Takes a client's bytes apart; `LIMIT` bounds what it holds."""

    LIMIT = 512

    def __init__(self):
        self._rest = b""
        self.broken = False
        """The client does what the standard forbids, or wants more than there is room for: close."""

    def feed(self, data):
        """The complete frames: (kind, payload)."""
        rest = self._rest + data
        found = []
        while True:
            used, frame = self._frame(rest)
            if not used:
                break
            found.append(frame)
            rest = rest[used:]
        self._rest = rest
        self.broken = self.broken or len(rest) > self.LIMIT
        return found

    def _frame(self, rest):
        if len(rest) < 6:
            return 0, None
        size, at = rest[1] & 127, 2
        if size == 126:
            size, at = rest[2] << 8 | rest[3], 4
        if size > self.LIMIT or not rest[1] & 128:  # a client masks (section 5.1)
            self.broken = True
            return 0, None
        if len(rest) < at + 4 + size:
            return 0, None
        mask = rest[at : at + 4]
        body = rest[at + 4 : at + 4 + size]
        return at + 4 + size, (rest[0] & 15, bytes(byte ^ mask[k & 3] for k, byte in enumerate(body)))


class WebSocket:
    """A link over an accepted connection: as `links.Stream`, each frame in a message of its own."""

    def __init__(self, stream):
        self._stream = stream
        self._messages = Messages()

    @property
    def up(self):
        """Whether the connection stands."""
        return self._stream.up

    def send(self, view):
        """True if the frame went."""
        return self._stream.send(message(view))

    def poll(self):
        """Bytes of the messages that came, or None."""
        data = self._stream.poll()
        if data is None:
            return None
        out = b""
        for kind, payload in self._messages.feed(data):
            if kind == PING:
                self._stream.send(message(payload, PONG))
            elif kind == CLOSE:
                self._stream.send(message(payload[:2], CLOSE))
                self._stream.close()
            else:
                out += payload
        if self._messages.broken:
            self._stream.close()
        return out or None

    def heard(self):
        """The desk spoke on this link."""
