"""Disks that fail when a test wants them to."""

import errno
import os
from pathlib import Path

from wayrule.live.disk import RealDisk


class FaultyDisk(RealDisk):
    """A real disk whose calls fail by plan: name of the call -> errors, taken one by one; None lets a call pass.

    A failed flush loses what was written since the last good one, as a system may that drops its pages.
    """

    def __init__(self, **plan: list[int | None]) -> None:
        self.plan = plan
        self.room: int | None = None
        self._paths: dict[int, Path] = {}
        self._safe: dict[int, int] = {}
        self.flushed_after_failing: list[Path] = []
        self._failed: set[int] = set()

    def _meet(self, call: str) -> None:
        waiting = self.plan.get(call)
        number = waiting.pop(0) if waiting else None
        if number is not None:
            raise OSError(number, os.strerror(number))

    def create(self, path: Path) -> int:
        self._meet("create")
        handle = super().create(path)
        self._paths[handle], self._safe[handle] = path, 0
        self._failed.discard(handle)
        return handle

    def write(self, handle: int, data: bytes) -> int:
        waiting = self.plan.get("short")
        if waiting:
            return super().write(handle, data[: waiting.pop(0)])
        self._meet("write")
        return super().write(handle, data)

    def flush(self, handle: int) -> None:
        path = self._paths[handle]
        if handle in self._failed:
            self.flushed_after_failing.append(path)
        try:
            self._meet("flush")
        except OSError:
            os.truncate(path, self._safe[handle])
            self._failed.add(handle)
            raise
        super().flush(handle)
        self._safe[handle] = path.stat().st_size

    def free(self, folder: Path) -> int:
        self._meet("free")
        return super().free(folder) if self.room is None else self.room


EIO, FULL = errno.EIO, errno.ENOSPC
