"""Frames that the desk has not had, on flash: files of a few kilobytes, the oldest removed when there are too many.

A file's name is its boot and its first sample number, in hexadecimal; it holds frames as they go over the wire. A file
that was cut off by an empty cell is read up to the cut.
"""

import os

from wagon.framing import get32, unstuffed

PIECE = 512
"""Bytes that are read at a time."""


class Store:
    """Files of frames in one folder.

    folder : path, made if it is missing; file_bytes : size at which a new file begins; files : how many at most
    """

    def __init__(self, folder, file_bytes=16384, files=32):
        self.folder = folder
        self.file_bytes, self.files = file_bytes, files
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there; if not, the first write says so
        self._names = sorted(name for name in os.listdir(folder) if _place(name))
        self._open = None
        self._size = self._boot = 0
        self.failed = False
        """The flash could not be written: it is full, or worn out."""

    def put(self, boot, first, view):
        """Keep a frame that begins with sample `first`; True if it is kept."""
        try:
            if self._open is None or self._size >= self.file_bytes or boot != self._boot:
                self._begin(boot, first)
            self._open.write(view)
            self._size += len(view)
            self.failed = False
        except OSError:
            self.failed = True
            self.close()
        return not self.failed

    def flush(self):
        """What was put so far outlasts an empty cell."""
        if self._open is not None:
            try:
                self._open.flush()
            except OSError:
                self.failed = True
                self.close()

    def close(self):
        """Finish the open file."""
        if self._open is not None:
            try:
                self._open.close()
            except OSError:
                self.failed = True
            self._open = None

    def read(self, boot, seq):
        """Frames of this boot that end after sample `seq`, in order: (first, next, frame)."""
        self.flush()
        for k, name in enumerate(self._names):
            place = _place(name)
            if place[0] != boot:
                continue
            after = _place(self._names[k + 1]) if k + 1 < len(self._names) else None
            if after and after[0] == boot and after[1] <= seq:
                continue
            for frame in self._frames(name):
                if frame[1] > seq:
                    yield frame

    def _begin(self, boot, first):
        self.close()
        while len(self._names) >= self.files:
            os.remove(self.folder + "/" + self._names[0])
            self._names = self._names[1:]
        name = "{:08x}.{:08x}".format(boot, first)
        self._open = open(self.folder + "/" + name, "wb")
        self._size, self._boot = 0, boot
        self._names = sorted(set(self._names) | {name})

    def _frames(self, name):
        rest = b""
        try:
            file = open(self.folder + "/" + name, "rb")
        except OSError:
            return  # removed meanwhile to make room
        with file:
            while True:
                data = file.read(PIECE)
                if not data:
                    return
                pieces = (rest + data).split(b"\0")
                rest = pieces.pop()
                for piece in pieces:
                    packet = unstuffed(piece) if len(piece) > 24 else None
                    if packet:
                        first = get32(packet, 12)
                        yield first, first + packet[3], b"\0" + piece + b"\0"


def _place(name):
    """(boot, first) of a file's name; None if it is no file of ours."""
    parts = name.split(".")
    try:
        return (int(parts[0], 16), int(parts[1], 16)) if len(parts) == 2 else None
    except ValueError:
        return None
