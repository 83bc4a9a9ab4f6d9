"""What the recorder knows while it records, as types: whoever watches gets these and needs nothing else."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

State = Literal["writing", "full", "failing", "ended"]


@dataclass(frozen=True, slots=True)
class WriterStatus:
    """How the writer is doing.

    state      writing; full: no room; failing: the disk refuses otherwise; ended
    why        the reason for full or failing
    files      segments written so far
    written, waiting   bytes on the disk; bytes in memory that are not known to be there
    flushed    every block below this sequence number is on the disk
    dropped    bytes that came and could not be kept, memory being full
    longest_s  longest time from a block's coming to its being flushed, while the disk took it [s]
    free       bytes of room on the disk
    """

    state: State
    why: str
    files: tuple[Path, ...]
    written: int
    waiting: int
    flushed: int
    dropped: int
    longest_s: float
    free: int
