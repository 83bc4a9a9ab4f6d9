"""The process that is killed: it writes frames into a log as a recorder does, and tells what is flushed."""

import os
import sys
import time
from bisect import bisect_left
from pathlib import Path

from wayrule.live.clock import CLOCK
from wayrule.live.writer import LogWriter


def main(path: str, frames: str, pace_s: float, limit: int) -> None:
    """Write the frames of a file (each with its length before it) at a pace, and end.

    Tells, a line each time it changes: how many frames are flushed, and the writer's state.
    """
    if limit:
        import resource  # a stand-in for a full disk: no file may grow beyond this

        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    data = Path(frames).read_bytes()
    writer = LogWriter(Path(path))
    numbers: list[int] = []
    told, at = "", 0
    while at < len(data) or writer.status().waiting:
        if at < len(data):
            size = int.from_bytes(data[at : at + 2], "little")
            number = writer.put(1, CLOCK.host_ns(), data[at + 2 : at + 2 + size])
            assert number is not None
            numbers.append(number)
            at += 2 + size
        told = tell(bisect_left(numbers, writer.flushed), writer.status().state, told)
        time.sleep(pace_s)
    status = writer.close(patience_s=3.0)
    tell(bisect_left(numbers, status.flushed), status.state, told)


def tell(flushed: int, state: str, told: str) -> str:
    """One line, if it is another one than before."""
    line = f"{flushed} {state}\n"
    if line != told:
        os.write(1, line.encode())
    return line


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), int(sys.argv[4]))
