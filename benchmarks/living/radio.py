"""A wagon on a bad radio link, over real sockets: loss, repeats, overtaking, an outage, a restart; and its truth.

It runs in a process of its own, as a wagon does: in the recorder's, the two would wait for each other.
"""

import heapq
import json
import socket
import subprocess
import sys
import threading
import time
from collections import deque
from dataclasses import asdict, dataclass, field

import numpy as np

from wayrule.formats.wire import Column, Decoder, Frame, Gone, Hello, Samples, Want, encode
from wayrule.formats.wire.frames import Counts, Numbers
from wayrule.formats.wire.hello import device_of
from wayrule.live.clock import CLOCK
from wayrule.model.arrays import Array

NAMES = ("bx_mT", "by_mT", "bz_mT", "gx_dps", "gy_dps", "gz_dps", "ax_g", "ay_g", "az_g")
RATE_HZ = 200
ROWS = 4
KEPT = 15_000
"""Samples the wagon holds: 75 s."""

DEAD_S = 2.0
"""Without a want for so long the wagon takes the link for dead (docs/wire.md)."""

BACK_FILL = 12
"""Kept frames sent with each live one."""


def counts_of(device: int, boot: int, seq: Numbers) -> Counts:
    """The readings that a sample must have: any other is a wrong one."""
    base = np.asarray(seq, dtype=np.uint64)[:, None] * np.uint64(0x9E3779B97F4A7C15)
    salt = (np.arange(len(NAMES), dtype=np.uint64) + np.uint64(device + 977 * boot)) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (base ^ salt) * np.uint64(0x94D049BB133111EB)
    return np.asarray((mixed >> np.uint64(40)) % np.uint64(60_001), dtype=np.int64).astype(np.int32) - 30_000


@dataclass(frozen=True, slots=True)
class Weather:
    """What befalls the link.

    lost, twice      share of datagrams, either way
    late_s           mean of the delay; a twentieth of them comes six times that later besides, and is overtaken
    outage_s         from, until, since the beginning; restart_s: when the wagon is switched off and on
    drift            of the wagon's clock
    """

    lost: float = 0.05
    twice: float = 0.02
    late_s: float = 0.005
    outage_s: tuple[float, float] = (0.0, 0.0)
    restart_s: float = float("inf")
    drift: float = 40e-6


@dataclass(slots=True)
class Boot:
    """From switching on to switching off: how many samples were made, and when its clock began [ns, the machine's]."""

    number: int
    begin_ns: int
    made: int = 0


class RadioWagon:
    """A process that is a wagon; what it did is known once it was stopped."""

    def __init__(self, desk: tuple[str, int], weather: Weather, seed: int = 1, identity: str = "0badc0de") -> None:
        told = json.dumps({"desk": desk, "weather": asdict(weather), "seed": seed, "identity": identity})
        self.device, self._drift = device_of(identity), weather.drift
        self.boots: list[Boot] = []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "benchmarks.living.radio", told],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self._process.stdout is not None
        self._process.stdout.readline()  # it runs

    def stand(self) -> None:
        """No more samples; what is kept is still sent."""
        assert self._process.stdin is not None
        self._process.stdin.write("stand\n")
        self._process.stdin.flush()

    def stop(self) -> None:
        """Switch it off."""
        out, _ = self._process.communicate("stop\n")
        self.boots = [Boot(**boot) for boot in json.loads(out)]

    def true_host_s(self, boot: int, wagon_s: Array) -> Array:
        """When the wagon's clock showed `wagon_s`, on the recorder's clock [s]."""
        begin = next(b.begin_ns for b in self.boots if b.number == boot)
        return np.asarray(begin * 1e-9 + wagon_s / (1 + self._drift))


@dataclass(slots=True)
class Inside:
    """The wagon itself, in its own process."""

    desk: tuple[str, int]
    weather: Weather
    seed: int
    identity: str
    boots: list[Boot] = field(default_factory=list)
    _ring: deque[tuple[int, int, int, bytes]] = field(default_factory=deque)
    _unsent: deque[bytes] = field(default_factory=deque)
    _air: list[tuple[float, int, bytes]] = field(default_factory=list)
    _done: threading.Event = field(default_factory=threading.Event)
    _quiet: threading.Event = field(default_factory=threading.Event)

    @property
    def device(self) -> int:
        """Its number on the wire."""
        return device_of(self.identity)

    def obey(self) -> None:
        """Take orders from whoever started it."""
        for line in sys.stdin:
            (self._quiet if line.strip() == "stand" else self._done).set()
        self._done.set()

    def _hello(self, boot: Boot, t_us: int) -> Hello:
        columns = tuple(Column(name, 16, 0.001) for name in NAMES)
        return Hello(self.device, boot.number, t_us, self.identity, "Radio van 3", "stand-in", RATE_HZ, columns)

    def run(self) -> None:
        """Until it is switched off."""
        rng, sock = np.random.default_rng(self.seed), socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        sock.bind(("127.0.0.1", 0))
        sock.setblocking(False)
        begin, decoder, number = time.monotonic(), Decoder(), 0
        heard, said = begin, -10.0
        self.boots.append(Boot(3, CLOCK.host_ns()))
        with sock:
            while not self._done.is_set():
                now = time.monotonic() - begin
                boot = self.boots[-1]
                if now > self.weather.restart_s and len(self.boots) == 1:
                    self._unsent.extend(data for _, _, _, data in self._ring)  # from its flash, in order
                    boot = Boot(boot.number + 1, CLOCK.host_ns())
                    self.boots.append(boot)
                    said = -10.0
                t_us = self._clock(boot)
                alive = begin + now - heard < DEAD_S
                if now - said > 2.0:
                    said = now
                    number = self._send([encode(self._hello(boot, t_us))], now, number, rng)
                live = self._sampled(boot, t_us) if not self._quiet.is_set() else []
                if alive:
                    back = [self._unsent.popleft() for _ in range(min(BACK_FILL, len(self._unsent)))]
                    number = self._send([*live, *back], now, number, rng)
                else:
                    self._unsent.extend(live)
                out = self.weather.outage_s[0] <= now < self.weather.outage_s[1]
                while self._air and self._air[0][0] <= time.monotonic() - begin:
                    _, _, data = heapq.heappop(self._air)
                    if not out:
                        sock.sendto(data, self.desk)
                for frame in self._received(sock, decoder, rng, out):
                    heard = time.monotonic()
                    self._wanted(frame, now, rng)
                due_s = self._air[0][0] - (time.monotonic() - begin) if self._air else 1.0
                time.sleep(min(max(due_s, 0.0001), 0.001))

    def _clock(self, boot: Boot) -> int:
        return int((CLOCK.host_ns() - boot.begin_ns) * (1 + self.weather.drift) / 1000)

    def _sampled(self, boot: Boot, t_us: int) -> list[bytes]:
        """Frames whose samples are due by now."""
        made = []
        while (boot.made + ROWS - 1) * 1_000_000 // RATE_HZ <= t_us:
            seq = np.arange(boot.made, boot.made + ROWS)
            stamps = seq * 1_000_000 // RATE_HZ
            data = encode(Samples(self.device, boot.number, seq, stamps, counts_of(self.device, boot.number, seq)))
            self._ring.append((boot.number, boot.made, ROWS, data))
            if len(self._ring) > KEPT // ROWS:
                self._ring.popleft()
            boot.made += ROWS
            made.append(data)
        return made

    def _send(self, frames: list[bytes], now: float, number: int, rng: np.random.Generator) -> int:
        """Into the air, with what the weather does to each."""
        for data in frames:
            for _ in range(1 + int(rng.random() < self.weather.twice)):
                if rng.random() < self.weather.lost:
                    continue
                late = rng.exponential(self.weather.late_s)
                late += rng.exponential(6 * self.weather.late_s) * (rng.random() < 0.05)
                number += 1
                heapq.heappush(self._air, (now + late, number, data))
        return number

    def _received(self, sock: socket.socket, decoder: Decoder, rng: np.random.Generator, out: bool) -> list[Frame]:
        frames: list[Frame] = []
        while True:
            try:
                data = sock.recv(2048)
            except (BlockingIOError, ConnectionError):
                return frames
            if not out and rng.random() >= self.weather.lost:
                frames += decoder.feed(data)

    def _wanted(self, frame: Frame, now: float, rng: np.random.Generator) -> None:
        """All before `safe` is safe; `count` from `first` on are to come again."""
        if not isinstance(frame, Want) or frame.device != self.device:
            return
        safe = frame.first if frame.safe is None else frame.safe
        self._ring = deque(k for k in self._ring if k[0] != frame.boot or k[1] + k[2] > safe)
        if not frame.count:
            return
        end = frame.first + frame.count
        again = [k for k in self._ring if k[0] == frame.boot and k[1] < end and k[1] + k[2] > frame.first]
        if again:
            waiting = set(self._unsent)
            self._unsent.extend(data for *_, data in again if data not in waiting)
        elif frame.boot != self.boots[-1].number or frame.first < self.boots[-1].made:
            self._send([encode(Gone(self.device, frame.boot, frame.first, frame.count))], now, 10**9, rng)


def main(told: str) -> None:
    """Be a wagon."""
    said = json.loads(told)
    wagon = Inside(tuple(said["desk"]), Weather(**said["weather"]), said["seed"], said["identity"])
    threading.Thread(target=wagon.obey, daemon=True).start()
    print("runs", flush=True)
    wagon.run()
    print(json.dumps([asdict(boot) for boot in wagon.boots]))


if __name__ == "__main__":
    main(sys.argv[1])
