"""Frames to trips: all that one wagon sent between switching on and off, each sample once and in order."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from wayrule.formats.wire.frames import (
    Counts,
    Damage,
    Frame,
    Hello,
    Line,
    Marked,
    Numbers,
    Samples,
    State,
)
from wayrule.model.arrays import frozen


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """One boot of one wagon.

    hello          what the counts mean; None if none came: then they mean nothing
    seq, t_us      (n,) rising numbers, and the wagon's clock
    counts         (n, k)
    marks, states  as they came, each once
    repeated       samples that came more than once, alike
    clashing       samples that came again with other readings; the first is kept
    missing        (first, count) of the holes between first and last sample
    """

    device: int
    boot: int
    hello: Hello | None
    seq: Numbers
    t_us: Numbers
    counts: Counts
    marks: tuple[Marked, ...] = ()
    states: tuple[State, ...] = ()
    repeated: int = 0
    clashing: int = 0
    missing: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        frozen(self, "seq", (None,), dtype=np.int64)
        frozen(self, "t_us", (len(self.seq),), dtype=np.int64)
        frozen(self, "counts", (len(self.seq), None), dtype=np.int32)


@dataclass(frozen=True, slots=True)
class Heard:
    """All that a stream held.

    trips    in the order in which they were first heard
    lines    text that came beside frames, or instead of them
    damage   what was neither
    """

    trips: tuple[Trip, ...]
    lines: tuple[str, ...]
    damage: tuple[Damage, ...]


@dataclass(slots=True)
class _Growing:
    hello: Hello | None = None
    samples: list[Samples] = field(default_factory=list)
    marks: dict[int, Marked] = field(default_factory=dict)
    states: dict[int, State] = field(default_factory=dict)


def gather(frames: Iterable[Frame]) -> Heard:
    """Sort frames by wagon and boot; duplicates go, order is restored, what is missing is named.

    >>> one = Samples(7, 1, np.array([3, 4]), np.array([30, 40]), np.array([[1], [2]], dtype=np.int32))
    >>> late = Samples(7, 1, np.array([0, 3]), np.array([0, 30]), np.array([[9], [1]], dtype=np.int32))
    >>> (trip,) = gather([one, late]).trips
    >>> trip.seq, trip.counts[:, 0], trip.repeated, trip.missing
    (array([0, 3, 4]), array([9, 1, 2], dtype=int32), 1, ((1, 2),))
    """
    growing: dict[tuple[int, int], _Growing] = {}
    lines: list[str] = []
    damage: list[Damage] = []
    for frame in frames:
        if isinstance(frame, Line):
            lines.append(frame.text)
        elif isinstance(frame, Damage):
            damage.append(frame)
        elif isinstance(frame, Hello | Samples | Marked | State):
            _put(growing.setdefault((frame.device, frame.boot), _Growing()), frame)
    trips = tuple(_trip(device, boot, grown) for (device, boot), grown in growing.items())
    return Heard(trips, tuple(lines), tuple(damage))


def _put(grown: _Growing, frame: Hello | Samples | Marked | State) -> None:
    match frame:
        case Hello():
            grown.hello = grown.hello or frame
        case Samples():
            grown.samples.append(frame)
        case Marked():
            grown.marks.setdefault(frame.number, frame)
        case State():
            grown.states.setdefault(frame.t_us, frame)


def _trip(device: int, boot: int, grown: _Growing) -> Trip:
    width = _width(grown)
    whole = [s for s in grown.samples if s.counts.shape[1] == width]
    empty = Samples(device, boot, np.zeros(0, int), np.zeros(0, int), np.zeros((0, width), np.int32))
    seq, t_us, counts = (np.concatenate([getattr(s, f) for s in [empty, *whole]]) for f in ("seq", "t_us", "counts"))
    seq, t_us, counts, repeated, clashing = _once(seq, t_us, counts)
    strange = sum(len(s) for s in grown.samples) - sum(len(s) for s in whole)
    holes = np.flatnonzero(np.diff(seq) > 1)
    return Trip(
        device=device,
        boot=boot,
        hello=grown.hello,
        seq=seq,
        t_us=t_us,
        counts=counts,
        marks=tuple(grown.marks[k] for k in sorted(grown.marks)),
        states=tuple(grown.states[k] for k in sorted(grown.states)),
        repeated=repeated,
        clashing=clashing + strange,
        missing=tuple((int(seq[h]) + 1, int(seq[h + 1] - seq[h]) - 1) for h in holes),
    )


def _width(grown: _Growing) -> int:
    """How many columns the samples have: as the hello says, or as the first ones have."""
    if grown.hello:
        return len(grown.hello.columns)
    return grown.samples[0].counts.shape[1] if grown.samples else 0


def _once(seq: Any, t_us: Any, counts: Any) -> tuple[Any, Any, Any, int, int]:
    """Each number once and rising; the first to come stays. How many were repeated, and how many clashed."""
    if not np.any(np.diff(seq) <= 0):
        return seq, t_us, counts, 0, 0
    order = np.argsort(seq, kind="stable")
    seq, t_us, counts = seq[order], t_us[order], counts[order]
    first = np.concatenate(([True], np.diff(seq) != 0))
    kept = np.flatnonzero(first)[np.cumsum(first) - 1]
    alike = (t_us == t_us[kept]) & np.all(counts == counts[kept], axis=1)
    return seq[first], t_us[first], counts[first], int(np.sum(~first & alike)), int(np.sum(~alike))
