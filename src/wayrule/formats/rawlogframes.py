"""What a raw log says once its bytes are decoded: each wagon's trips, lines of text, and when what was received."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.formats.rawlogreader import RawLog, Stream
from wayrule.formats.wire import Damage, Decoder, Frame, Hello, Samples, State, Trip, gather
from wayrule.formats.wire.textlines import is_header
from wayrule.model.arrays import Array

MOST_STAMPS: Final = 10_000
"""Of the pieces of a stream so many, spread evenly in time, give a stamp each for the tie: a second's work."""

LEAD: Final = 2200
"""Bytes before such a piece that are decoded first, so that a frame cut by its begin is whole: two longest frames."""


@dataclass(frozen=True, slots=True, eq=False)
class Stamps:
    """Moments that both clocks have stamped: of the wagon since switching on, and of the recorder at receipt [s]."""

    wagon_s: Array
    recorder_s: Array


@dataclass(frozen=True, slots=True)
class TextStream:
    """Lines that one source printed."""

    source: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LogContent:
    """What a log holds.

    trips    of every wagon and boot, in the order of first hearing
    texts    of sources that print lines with a header
    damage   pieces that were neither frame nor line, by source
    """

    trips: tuple[Trip, ...]
    texts: tuple[TextStream, ...]
    damage: dict[int, tuple[Damage, ...]]


def log_content(log: RawLog) -> LogContent:
    """Decode all that a log holds.

    A wagon that was heard over two links, or came back under another address, is one wagon.
    """
    frames: list[Frame] = []
    texts: list[TextStream] = []
    damage: dict[int, tuple[Damage, ...]] = {}
    for sender in log.senders():
        decoder = Decoder()
        came = [*decoder.feed(log.stream(sender.source).data), *decoder.end()]
        frames += came
        heard = gather(came)
        if any(is_header(line) for line in heard.lines):
            texts.append(TextStream(sender.source, heard.lines))
        if heard.damage:
            damage[sender.source] = heard.damage
    return LogContent(gather(frames).trips, tuple(texts), damage)


def clock_stamps(log: RawLog) -> dict[tuple[int, int], Stamps]:
    """(device, boot) -> moments on both clocks."""
    stamps: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for sender in log.senders():
        for key, wagon_s, recorder_s in stamped(log.stream(sender.source)):
            stamps.setdefault(key, []).append((wagon_s, recorder_s))
    return {key: Stamps(*np.array(pairs).T) for key, pairs in stamps.items()}


def stamped(stream: Stream) -> Iterator[tuple[tuple[int, int], float, float]]:
    """((device, boot), wagon's clock, recorder's clock) [s] of frames that ended in one piece of the stream in many."""
    if not len(stream.ends):
        return
    spacing_ns = int(stream.t_ns[-1] - stream.t_ns[0]) // MOST_STAMPS + 1
    bins = (stream.t_ns - stream.t_ns[0]) // spacing_ns
    for at in np.flatnonzero(np.diff(bins, prepend=-1)).tolist():
        begin = int(stream.ends[at - 1]) if at else 0
        decoder = Decoder()
        if begin and stream.data[begin - 1]:  # the piece before did not end with a frame
            decoder.feed(stream.data[max(0, begin - LEAD) : begin])
        for key, t_us in latest(decoder.feed(stream.data[begin : int(stream.ends[at])])).items():
            yield key, t_us * 1e-6, float(stream.t_ns[at]) * 1e-9


def latest(frames: list[Frame]) -> dict[tuple[int, int], int]:
    """(device, boot) -> the latest time of the wagon's clock that its frames tell [us].

    >>> latest([State(7, 1, 500, None, None, None, 0, 0, 0), State(7, 1, 900, None, None, None, 0, 0, 0)])
    {(7, 1): 900}
    """
    found: dict[tuple[int, int], int] = {}
    for frame in frames:
        if isinstance(frame, Hello | State):
            t_us = frame.t_us
        elif isinstance(frame, Samples) and len(frame):
            t_us = int(frame.t_us.max())
        else:
            continue
        key = (frame.device, frame.boot)
        found[key] = max(found.get(key, t_us), t_us)
    return found
