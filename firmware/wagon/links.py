"""Ways to the desk: the cable, UDP, TCP. Each can `send` a frame and `poll` for bytes; none ever waits."""

PORT = 47870

TAKE = 256
"""Bytes that are taken from a link at once."""


class Cable:
    """USB serial. stream : has `write(view)` and `read(n)`, which take what they can at once, and None for nothing."""

    up = True

    def __init__(self, stream):
        self._stream = stream

    def send(self, view):
        """True if the frame went; a cable that nobody reads takes nothing."""
        return self._stream.write(view) == len(view)

    def poll(self):
        """Bytes that came, or None."""
        return self._stream.read(TAKE)

    def heard(self):
        """The desk spoke on this link."""


class Udp:
    """Datagrams: to whoever last spoke, before that to `desk` or to everybody."""

    def __init__(self, socket, desk="255.255.255.255", port=PORT):
        self._to = (desk, port)
        self._from = None
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            self._socket.setsockopt(socket.SOL_SOCKET, getattr(socket, "SO_BROADCAST", 32), 1)
        except OSError:
            pass  # some radios need no leave to speak to everybody
        self._socket.bind(("0.0.0.0", port))
        self._socket.setblocking(False)
        self.up = True

    def address(self):
        """Where it listens: (host, port)."""
        return self._socket.getsockname()

    def send(self, view):
        """True if the network took it."""
        try:
            return self._socket.sendto(view, self._to) == len(view)
        except OSError:
            return False

    def poll(self):
        """Bytes that came, or None."""
        try:
            data, self._from = self._socket.recvfrom(TAKE)
            return data
        except OSError:
            return None

    def heard(self):
        """From now on speak to whom we heard."""
        self._to = self._from


class Stream:
    """One connection, with a little room for what it does not take at once."""

    ROOM = 2048

    def __init__(self, connection):
        self._connection = connection
        self._connection.setblocking(False)
        self._waiting = b""
        self.up = True

    def send(self, view):
        """True if the frame went or waits in the room that is left."""
        if not self.up or len(self._waiting) + len(view) > self.ROOM:
            self._push(b"")
            return False
        self._push(view)
        return self.up

    def _push(self, more):
        data = self._waiting + bytes(more) if self._waiting else more
        if not len(data):
            return
        try:
            gone = self._connection.send(data) or 0
        except OSError as error:
            gone = 0
            if error.args[0] not in (11, 35, 10035):  # it would have to wait: EAGAIN of the systems there are
                self.close()
        self._waiting = bytes(data[gone:]) if gone < len(data) else b""

    def poll(self):
        """Bytes that came, or None; an empty answer means that the other side is gone."""
        if not self.up:
            return None
        if self._waiting:
            self._push(b"")
        try:
            data = self._connection.recv(TAKE)
        except OSError as error:
            if error.args[0] not in (11, 35, 10035):
                self.close()
            return None
        if not data:
            self.close()
            return None
        return data

    def heard(self):
        """The desk spoke on this link."""

    def close(self):
        """Let go of the connection."""
        self.up = False
        try:
            self._connection.close()
        except OSError:
            pass


class Door:
    """Listens on a TCP port; `accept` gives a new connection or None."""

    def __init__(self, socket, port=PORT):
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setsockopt(socket.SOL_SOCKET, getattr(socket, "SO_REUSEADDR", 4), 1)
        self._socket.bind(("0.0.0.0", port))
        self._socket.listen(2)
        self._socket.setblocking(False)

    def address(self):
        """Where it listens: (host, port)."""
        return self._socket.getsockname()

    def accept(self):
        """A connection, or None."""
        try:
            return self._socket.accept()[0]
        except OSError:
            return None
