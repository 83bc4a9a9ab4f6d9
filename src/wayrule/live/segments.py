"""The files of a recording: one after the other, each only ever added to, and left for good once it failed."""

import errno
from pathlib import Path
from typing import Final

from wayrule.formats.rawlog import segment_name
from wayrule.live.disk import Disk

LARGEST_SEGMENT: Final = 1 << 30
"""A new file begins after so many bytes: some file systems hold no more than 4 GiB in one (FAT32)."""

TRIED_NAMES: Final = 1000
"""So many files of the wanted names may be there already."""


class Segments:
    """The segment that is being written, and those before it.

    path     of the first; later ones have a number in their names
    files    all of them so far
    number   of the last one
    written  bytes taken by the system, in all segments
    inside   bytes in the one that is open; `head` of them are its head
    """

    def __init__(self, path: Path, disk: Disk, largest: int = LARGEST_SEGMENT) -> None:
        self.path, self._disk, self._largest = path, disk, largest
        self.files: list[Path] = []
        self.number = self.written = self.inside = self.head = 0
        self._handle = -1

    @property
    def open(self) -> bool:
        """Whether a segment stands."""
        return self._handle >= 0

    def create(self) -> int:
        """Leave the segment that was and make the next; returns its number.

        Under the next number that is free; the first must have the name that was asked for.

        Raises
        ------
        OSError   as the system says; no segment stands then
        """
        self.leave()
        for number in range(self.number + 1, self.number + 1 + TRIED_NAMES):
            path = self.path.with_name(segment_name(self.path.name, number))
            try:
                self._handle = self._disk.create(path)
            except FileExistsError:
                if number == 1:
                    raise
                continue
            self.number, self.inside = number, 0
            self.files = [*self.files, path]
            return number
        raise OSError(errno.EEXIST, f"{TRIED_NAMES} files of that name are there")

    def begin(self, head: bytes) -> None:
        """Write and flush the head; where not one byte of it could be written, the empty file goes."""
        try:
            self.append(head)
            self.head = self.inside
        except OSError:
            if not self.inside:
                self.leave()
                self._disk.discard(self.files[-1])
                self.files = self.files[:-1]
            raise

    def append(self, data: bytes) -> None:
        """Add all of it and flush; a part that was taken before a failure stays: the reader knows it as a torn end."""
        at = 0
        while at < len(data):
            taken = self._disk.write(self._handle, data[at:] if at else data)
            if taken <= 0:
                raise OSError(errno.EIO, "the system took no bytes and gave no reason")
            self.inside += taken
            self.written += taken
            at += taken
        self._disk.flush(self._handle)

    def too_large(self, more: int) -> bool:
        """Whether so many bytes more would make the segment too large; one that holds only its head never is."""
        return self.inside > self.head and self.inside + more > self._largest

    def room(self) -> int:
        """Bytes of room where the files are.

        Raises
        ------
        OSError   where even that cannot be told: the disk is gone
        """
        return self._disk.free(self.path.parent)

    def leave(self) -> None:
        """Close the segment; it is never opened again."""
        if self._handle >= 0:
            self._disk.close(self._handle)
            self._handle = -1
