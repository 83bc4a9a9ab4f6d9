"""What the recorder knows while it records, as types: whoever watches gets these and needs nothing else."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from wayrule.model.now import Now

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
    slowest_s  of that, the most that the disk itself took for a write and a flush [s]
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
    slowest_s: float
    free: int


Presence = Literal["live", "quiet", "away"]


@dataclass(frozen=True, slots=True)
class WagonStatus:
    """How one wagon is doing.

    key        its device number in eight hexadecimal digits, or text-SOURCE for one that prints lines
    name, id, firmware   as its hello says; "" before it came
    source, link, peer   where it was last heard
    presence   live: heard within a second; quiet: within ten; away
    boot, restarts       present boot, and how many earlier ones were heard
    rate_hz    samples a second over the last two seconds
    samples    different samples that came
    awaited    samples that are missing and may still be sent again
    lost       samples that are gone for good
    repeated   samples that came more than once
    missed     samples that the wagon could not take in time, as it says
    kept       samples that it holds for sending again, as it says
    damage     pieces of its bytes that were neither frame nor line
    battery_mv, battery_pct, radio_dbm   as it says; None where it does not
    turns      of the wheel, about; None where they cannot be told
    distance_mm          about; None where it cannot be told
    marks      that it sent
    """

    key: str
    name: str
    id: str
    firmware: str
    source: int
    link: str
    peer: str
    presence: Presence
    boot: int
    restarts: int
    rate_hz: float
    samples: int
    awaited: int
    lost: int
    repeated: int
    missed: int
    kept: int
    damage: int
    battery_mv: int | None
    battery_pct: int | None
    radio_dbm: int | None
    turns: float | None
    distance_mm: float | None
    marks: int

    @property
    def loss(self) -> float:
        """Share of the samples that are not there, now."""
        due = self.samples + self.awaited + self.lost
        return (self.awaited + self.lost) / due if due else 0.0


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """How one link is doing: `up`, how many peers it has, and `why` it is down or has ended."""

    spelling: str
    up: bool
    peers: int
    ended: bool
    why: str


@dataclass(frozen=True, slots=True)
class RecorderStatus:
    """How a recording is going: since when [s], its writer, its links, its wagons, marks dropped at the desk, and what
    the wagons that are followed say (key and `Now`)."""

    running_s: float
    writer: WriterStatus
    links: tuple[LinkStatus, ...]
    wagons: tuple[WagonStatus, ...]
    marks: tuple[str, ...]
    defects: tuple[str, ...]
    said: tuple[tuple[str, Now], ...] = ()
