"""What the recorder asks of a disk: a new file, adding to it, making it last, and how much room is left."""

import contextlib
import errno
import os
import shutil
import sys
from pathlib import Path
from typing import Final, Protocol

FULL: Final = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})
"""What a system says when there is no room, or none for this user."""

NOT_OFFERED: Final = frozenset({errno.EINVAL, errno.ENOTTY, getattr(errno, "ENOTSUP", errno.EINVAL)})
"""What a file system says that does not know a call: nothing was tried yet."""


class Disk(Protocol):
    """A disk, or one that fails when a test wants it to."""

    def create(self, path: Path) -> int:
        """Make a new file for adding to; its name lasts."""

    def write(self, handle: int, data: bytes) -> int:
        """Add bytes; returns how many were taken."""

    def flush(self, handle: int) -> None:
        """Return when all that was written would survive a power cut."""

    def close(self, handle: int) -> None:
        """Close; never raises."""

    def discard(self, path: Path) -> None:
        """Take away a file that was just made and holds nothing; never raises."""

    def free(self, folder: Path) -> int:
        """Bytes of room."""


class RealDisk:
    """The system's own."""

    def create(self, path: Path) -> int:
        """A file that was there is never opened: FileExistsError."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
        handle = os.open(path, flags, 0o666)
        if os.name != "nt":
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                with contextlib.suppress(OSError):  # some network disks refuse; the file itself is flushed
                    os.fsync(folder)
            finally:
                os.close(folder)
        return handle

    def write(self, handle: int, data: bytes) -> int:
        """As much as the system takes in one go."""
        return os.write(handle, data)

    def flush(self, handle: int) -> None:
        """Down to the medium; on macOS fsync leaves the data in the drive's cache (its manual page)."""
        if sys.platform == "darwin":
            import fcntl

            try:
                fcntl.fcntl(handle, fcntl.F_FULLFSYNC)
            except OSError as error:
                if error.errno not in NOT_OFFERED:
                    raise  # a flush that failed is not tried again on the same file
                os.fsync(handle)
        elif sys.platform == "linux":
            os.fdatasync(handle)  # data and size; the time of the last change may wait
        else:
            os.fsync(handle)

    def close(self, handle: int) -> None:
        """A close that fails is no news: all was flushed, or known not to be."""
        with contextlib.suppress(OSError):
            os.close(handle)

    def discard(self, path: Path) -> None:
        """Only if it is empty indeed."""
        with contextlib.suppress(OSError):
            if path.stat().st_size == 0:
                path.unlink()

    def free(self, folder: Path) -> int:
        """What this user may fill."""
        return shutil.disk_usage(folder).free
