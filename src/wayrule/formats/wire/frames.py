"""What stands on the wire between wagon and desk, as types; their bytes are in docs/wire.md."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import frozen

MAJOR: Final = 1
"""A wagon of a higher major version is not understood; see "Versions" in docs/wire.md."""

MINOR: Final = 0

HELLO, SAMPLES, MARK, STATE, WANT, GONE = 1, 2, 3, 4, 5, 6
"""First byte of a packet. 9, 10 and 13 (tab and line ends) never are kinds, nor is what prints: that is text."""

MAX_PACKET: Final = 1024
"""Longest packet [bytes], checksum included."""

MAX_LINE: Final = 1024
"""Longest line of text [bytes], without its end."""

Counts = NDArray[np.int32]
Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the samples: the value in the unit that `name` carries is `count * scale + offset`.

    name   as in a recording ("bx_mT", "gz_dps", "ticks_count"); docs/words.md has them all
    bits   16 or 32: width of the signed count on the wire
    """

    name: str
    bits: int
    scale: float
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Hello:
    """Who speaks, and what its counts mean; sent at the start, on every new link, and every few seconds.

    device    CRC-32 of `id`; stands in every frame
    boot      how often the wagon was switched on; its numbers and its clock start anew each time
    t_us      the wagon's clock now: microseconds since it was switched on
    id        the microcontroller's own number, in hexadecimal
    rate_hz   samples per second
    columns   16-bit columns first, as in the samples
    """

    device: int
    boot: int
    t_us: int
    id: str
    name: str
    firmware: str
    rate_hz: float
    columns: tuple[Column, ...]
    major: int = MAJOR
    minor: int = MINOR


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Samples of one wagon and one boot, in the order in which they came; several frames may lie in one.

    seq     (n,) number of each sample since the wagon was switched on; tells what is missing or came twice
    t_us    (n,) the wagon's clock [us since it was switched on]
    counts  (n, k) counts as the sensors gave them; the hello says what they mean
    wide    how many of the k columns, the last ones, were 32 bits wide
    """

    device: int
    boot: int
    seq: Numbers
    t_us: Numbers
    counts: Counts
    wide: int = 0

    def __post_init__(self) -> None:
        frozen(self, "seq", (None,), dtype=np.int64)
        frozen(self, "t_us", (len(self.seq),), dtype=np.int64)
        frozen(self, "counts", (len(self.seq), None), dtype=np.int32)

    def __len__(self) -> int:
        return len(self.seq)

    def same(self, other: Any) -> bool:
        """Whether two batches hold the same samples of the same wagon, bit by bit."""
        return (
            isinstance(other, Samples)
            and (self.device, self.boot, self.wide) == (other.device, other.boot, other.wide)
            and all(np.array_equal(getattr(self, f), getattr(other, f)) for f in ("seq", "t_us", "counts"))
        )


@dataclass(frozen=True, slots=True)
class Marked:
    """A named moment (a button on the wagon or its page); `number` counts the marks of this boot."""

    device: int
    boot: int
    number: int
    t_us: int
    name: str


@dataclass(frozen=True, slots=True)
class State:
    """How the wagon fares, about once a second; None where it cannot tell.

    battery_mv, battery_pct   of its cell
    radio_dbm                 strength of the radio signal that it receives
    missed                    samples that were due and could not be taken in time, since it was switched on
    lost                      samples that were taken, but overwritten before the desk said that it had them
    kept                      samples that it holds for sending again
    """

    device: int
    boot: int
    t_us: int
    battery_mv: int | None
    battery_pct: int | None
    radio_dbm: int | None
    missed: int
    lost: int
    kept: int


@dataclass(frozen=True, slots=True)
class Want:
    """Desk to wagon, every second or sooner: I am here; all before `safe` is safe; send `count` from `first` on again.

    Several may be said at once, one for each hole. safe : None where it is `first`
    """

    device: int
    boot: int
    first: int
    count: int
    safe: int | None = None


@dataclass(frozen=True, slots=True)
class Gone:
    """Wagon to desk: these samples were wanted and are no longer kept."""

    device: int
    boot: int
    first: int
    count: int


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text, without its end: of the text mode, or what a program said between frames. It has no checksum."""

    text: str


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes that are no frame and no line; `why` in words."""

    size: int
    why: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """A whole frame of a kind that a newer minor version brought; it is passed over."""

    kind: int
    size: int


Frame = Hello | Samples | Marked | State | Want | Gone | Line | Damage | Unknown
