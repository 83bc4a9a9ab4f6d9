"""What the bytes of all sources say while they come: which wagons are there, what each has sent, what is missing."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from wayrule.formats.wire import (
    Damage,
    Decoder,
    Frame,
    Gone,
    Hello,
    Ledger,
    Line,
    Marked,
    Samples,
    State,
    TextLog,
    Want,
)
from wayrule.live.odometer import Odometer
from wayrule.live.status import Presence, WagonStatus
from wayrule.model import Wagon

LIVE_S, QUIET_S = 1.0, 10.0
"""Heard so recently a wagon is live, or quiet."""

RATE_S: Final = 2.0
"""The rate is told over so long a time."""

MOST_WAGONS: Final = 256
MOST_BOOTS: Final = 16
"""Of one wagon in one recording; the oldest is forgotten beyond it."""

ASKED: Final = 1000
"""Samples asked for at once: five seconds, which a link sends in one."""

LAST: Final = 2**32 - 1
"""The greatest number a sample can have."""

Asked = tuple[int, int]
"""Device and boot."""


@dataclass(frozen=True, slots=True)
class Heard:
    """Frames as they were decoded: from which source, and when their last byte came [ns of the recorder's clock]."""

    source: int
    t_ns: int
    frames: tuple[Frame, ...]


@dataclass(slots=True)
class _Wagon:
    """What is known of one wagon."""

    source: int
    first_ns: int
    heard_ns: int
    boot: int = 0
    hello: Hello | None = None
    state: State | None = None
    ledgers: dict[int, Ledger] = field(default_factory=dict)
    counts: deque[tuple[int, int]] = field(default_factory=deque)
    odometer: Odometer | None = None
    before_turns: float = 0.0
    before_mm: float = 0.0
    marks: set[tuple[int, int]] = field(default_factory=set)
    text: TextLog | None = None


class Listener:
    """Takes bytes source by source; all its calls come from one thread."""

    def __init__(self, wagons: Iterable[Wagon] = ()) -> None:
        self._files = tuple(wagons)
        self._decoders: dict[int, Decoder] = {}
        self._wagons: dict[int | str, _Wagon] = {}
        self._damage: dict[int, int] = {}

    def take(self, source: int, t_ns: int, data: bytes) -> Heard:
        """Bytes of a source; returns what they said."""
        frames = self._decoders.setdefault(source, Decoder()).feed(data)
        for frame in frames:
            if isinstance(frame, Damage):
                self._damage[source] = self._damage.get(source, 0) + 1
            elif isinstance(frame, Line):
                self._line(frame, source, t_ns)
            elif isinstance(frame, Hello | Samples | Marked | State | Gone):
                self._frame(frame, source, t_ns)
        return Heard(source, t_ns, tuple(frames))

    def restarted(self, source: int) -> None:
        """The link to a source was made anew: half a frame from before is no part of what comes now."""
        if source in self._decoders:
            self._decoders[source].end()

    # ------------------------------------------------------------------------------------------ what was heard

    def _known(self, key: int | str, source: int, t_ns: int) -> _Wagon | None:
        wagon = self._wagons.get(key)
        if wagon is None and len(self._wagons) < MOST_WAGONS:
            wagon = self._wagons[key] = _Wagon(source, t_ns, t_ns)
        if wagon is not None:
            wagon.source, wagon.heard_ns = source, t_ns
        return wagon

    def _line(self, line: Line, source: int, t_ns: int) -> None:
        """A line of the text mode, or what a program says between its frames."""
        known = self._wagons.get(f"text-{source}")
        text = known.text if known and known.text else TextLog()
        row = text.take(line.text)
        if known is None and not text.header:
            return
        wagon = self._known(f"text-{source}", source, t_ns)
        if wagon is not None:
            wagon.text = text
            if row is not None and text.rows:
                wagon.counts.append((t_ns, 1))

    def _frame(self, frame: Hello | Samples | Marked | State | Gone, source: int, t_ns: int) -> None:
        wagon = self._known(frame.device, source, t_ns)
        if wagon is None:
            return
        ledger = wagon.ledgers.get(frame.boot)
        if ledger is None:
            ledger = wagon.ledgers[frame.boot] = Ledger()
            if len(wagon.ledgers) > MOST_BOOTS:
                del wagon.ledgers[min(wagon.ledgers)]
        if frame.boot > wagon.boot:
            self._booted(wagon, frame.boot)
        match frame:
            case Hello() if frame.boot == wagon.boot:
                self._hello(wagon, frame)
            case State() if frame.boot == wagon.boot:
                wagon.state = frame
            case Marked():
                wagon.marks.add((frame.boot, frame.number))
            case Gone():
                ledger.give_up(frame)
            case Samples():
                wagon.counts.append((t_ns, ledger.note(frame.seq)))
                if wagon.odometer is not None and frame.boot == wagon.boot:
                    wagon.odometer.take(frame)

    def _booted(self, wagon: _Wagon, boot: int) -> None:
        """Switched on anew: the distance goes on from where it was."""
        if wagon.odometer is not None:
            wagon.before_turns += wagon.odometer.turns or 0.0
            wagon.before_mm += wagon.odometer.distance_mm or 0.0
        wagon.boot, wagon.odometer, wagon.state = boot, None, None

    def _hello(self, wagon: _Wagon, hello: Hello) -> None:
        wagon.hello = hello
        if wagon.odometer is None:
            named = [file for file in self._files if file.name == hello.name]
            alone = self._files[0] if len(self._files) == 1 else None
            wagon.odometer = Odometer(hello, named[0] if named else alone)

    # ------------------------------------------------------------------------------------------ what to say of it

    def safe(self) -> dict[Asked, int]:
        """Of each boot of each wagon: all samples before this number have come."""
        return {
            (device, boot): ledger.safe
            for device, wagon in self._wagons.items()
            if isinstance(device, int)
            for boot, ledger in wagon.ledgers.items()
        }

    def wants(self, on_disk: dict[Asked, int], holes_before: dict[Asked, frozenset[int]]) -> list[tuple[int, Want]]:
        """(source, want) for every boot heard: what is safe on disk, and what to send again.

        Parameters
        ----------
        on_disk : of each boot, the number before which all is on the disk
        holes_before : where its holes began a while ago; only those that still do are asked for, since datagrams
            overtake each other
        """
        told = []
        for device, wagon in self._wagons.items():
            if not isinstance(device, int):
                continue
            for boot, ledger in wagon.ledgers.items():
                safe = on_disk.get((device, boot), 0)
                before = holes_before.get((device, boot), frozenset())
                ask = [(first, min(count, ASKED)) for first, count in ledger.asked() if count and first in before]
                if not ask and boot < wagon.boot and not ledger.closed and not ledger.awaited:
                    ask = [(ledger.end, LAST - ledger.end)]  # what it kept of that boot beyond what was heard
                told += [(wagon.source, Want(device, boot, first, count, safe)) for first, count in ask or [(safe, 0)]]
        return told

    def holes(self) -> dict[Asked, frozenset[int]]:
        """Where each boot's holes begin now."""
        return {
            (device, boot): frozenset(first for first, count in ledger.asked() if count)
            for device, wagon in self._wagons.items()
            if isinstance(device, int)
            for boot, ledger in wagon.ledgers.items()
        }

    def statuses(self, now_ns: int, senders: dict[int, tuple[str, str]]) -> tuple[WagonStatus, ...]:
        """Of every wagon heard, in the order of first hearing; `senders`: source -> link and peer."""
        return tuple(self._status(key, wagon, now_ns, senders) for key, wagon in self._wagons.items())

    def _status(self, key: int | str, wagon: _Wagon, now_ns: int, senders: dict[int, tuple[str, str]]) -> WagonStatus:
        silent_s = (now_ns - wagon.heard_ns) * 1e-9
        presence: Presence = "live" if silent_s < LIVE_S else "quiet" if silent_s < QUIET_S else "away"
        while wagon.counts and (now_ns - wagon.counts[0][0]) * 1e-9 > RATE_S:
            wagon.counts.popleft()
        over_s = min(RATE_S, max((now_ns - wagon.first_ns) * 1e-9, LIVE_S))
        link, peer = senders.get(wagon.source, ("", ""))
        hello, state, ledgers, meter = wagon.hello, wagon.state, wagon.ledgers.values(), wagon.odometer
        turns, way_mm = (meter.turns, meter.distance_mm) if meter else (None, None)
        return WagonStatus(
            key=f"{key:08x}" if isinstance(key, int) else key,
            name=hello.name if hello else "", id=hello.id if hello else "", firmware=hello.firmware if hello else "",
            source=wagon.source, link=link, peer=peer, presence=presence,
            boot=wagon.boot, restarts=max(len(wagon.ledgers) - 1, 0),
            rate_hz=sum(count for _, count in wagon.counts) / over_s,
            samples=wagon.text.rows if wagon.text else sum(ledger.new for ledger in ledgers),
            awaited=sum(ledger.awaited for ledger in ledgers),
            lost=wagon.text.dropped if wagon.text else sum(ledger.given_up for ledger in ledgers),
            repeated=sum(ledger.repeated for ledger in ledgers),
            missed=state.missed if state else 0, kept=state.kept if state else 0,
            damage=self._damage.get(wagon.source, 0),
            battery_mv=state.battery_mv if state else None, battery_pct=state.battery_pct if state else None,
            radio_dbm=state.radio_dbm if state else None,
            turns=None if turns is None else turns + wagon.before_turns,
            distance_mm=None if way_mm is None else way_mm + wagon.before_mm,
            marks=len(wagon.marks),
        )  # fmt: skip
