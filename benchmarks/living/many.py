"""Fifty wagons at 200 Hz on loopback: all recorded and decoded by one process held to one core."""

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from benchmarks.living.radio import NAMES, RATE_HZ, ROWS, counts_of
from benchmarks.row import Row, at_least, at_most
from wayrule.formats.rawlogframes import log_content
from wayrule.formats.rawlogreader import read_raw_log
from wayrule.formats.wire import Column, Decoder, Hello, Samples, encode
from wayrule.formats.wire.hello import device_of
from wayrule.live.links.replay import FileLink
from wayrule.live.links.udp import UdpLink
from wayrule.live.recorder import Recorder

WAGONS = 50
SECONDS, QUICK_S = 30.0, 5.0


def identity(number: int) -> str:
    """Of a wagon."""
    return f"{0xC0FFEE00 + number:08x}"


def send(port: int, wagons: int, seconds: float) -> None:
    """Be so many wagons, each with a socket of its own, at the right pace."""
    socks = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(wagons)]
    devices = [device_of(identity(k)) for k in range(wagons)]
    columns = tuple(Column(name, 16, 0.001) for name in NAMES)
    frames = int(seconds * RATE_HZ) // ROWS
    seq = np.arange(frames * ROWS)
    ready = []
    for k, device in enumerate(devices):
        hello = encode(Hello(device, 1, 0, identity(k), f"Wagon {k + 1}", "stand-in", RATE_HZ, columns))
        counts = counts_of(device, 1, seq)
        stamps = seq * 1_000_000 // RATE_HZ
        rows = [slice(at, at + ROWS) for at in range(0, len(seq), ROWS)]
        ready.append([hello, *(encode(Samples(device, 1, seq[r], stamps[r], counts[r])) for r in rows)])
    print("ready", flush=True)
    sys.stdin.readline()
    begin = time.monotonic()
    for k, sock in enumerate(socks):
        sock.sendto(ready[k][0], ("127.0.0.1", port))
    for at in range(frames):
        for k, sock in enumerate(socks):  # spread over the frame's time, as wagons that know nothing of each other are
            due = begin + (at + k / wagons) * ROWS / RATE_HZ
            left = due - time.monotonic()
            if left > 0:
                time.sleep(left)
            sock.sendto(ready[k][at + 1], ("127.0.0.1", port))
    print(json.dumps(frames * ROWS * wagons), flush=True)


def many_rows(quick: bool) -> Iterator[Row]:
    """Recorded, decoded, read back, replayed."""
    seconds = QUICK_S if quick else SECONDS
    name = f"{WAGONS} wagons x {RATE_HZ} Hz on UDP for {seconds:.0f} s, one process on one core"
    with tempfile.TemporaryDirectory() as folder, one_core():
        path = Path(folder) / "many.waylog"
        link = UdpLink("udp:", "127.0.0.1", 0)
        words = ["-m", "benchmarks.living.many", str(link.port), str(WAGONS), str(seconds)]
        with subprocess.Popen(
            [sys.executable, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as wagons:
            assert wagons.stdout is not None
            assert wagons.stdin is not None
            wagons.stdout.readline()
            recorder = Recorder(path, [link])
            busy, begin = time.process_time(), time.monotonic()
            wagons.stdin.write("go\n")
            wagons.stdin.flush()
            made = int(wagons.stdout.readline())
            took, busy = time.monotonic() - begin, time.process_time() - busy
        time.sleep(0.5)
        status = recorder.close()
        heard = sum(w.samples for w in status.wagons)
        log = read_raw_log([(path.name, path.read_bytes())])
        content = log_content(log)
        right = sum(int(np.sum(np.all(t.counts == counts_of(t.device, t.boot, t.seq), axis=1))) for t in content.trips)
        yield at_least(f"{name}: decoded as they came, of those sent", 100 * heard / made, 100, "%")
        yield at_least(f"{name}: read back right, of those sent", 100 * right / made, 100, "%")
        yield at_most(f"{name}: processor time, over the time it took", 100 * busy / took, 100, "%")
        own = f"of which the disk itself took {status.writer.slowest_s:.2g} s for one flush"
        yield at_most(f"{name}: longest from receipt to disk, {own}", status.writer.longest_s, 0.2, "s")
        yield from replay_rows(path, Path(folder) / "again.waylog")


def replay_rows(path: Path, again: Path) -> Iterator[Row]:
    """The saved log: how fast it is decoded, and whether a replay of it gives the same samples to the bit."""
    log = read_raw_log([(path.name, path.read_bytes())])
    streams = [log.stream(sender.source).data for sender in log.senders()]
    begin = time.perf_counter()
    count = sum(len(f) for data in streams for f in Decoder().feed(data) if isinstance(f, Samples))
    took = time.perf_counter() - begin
    yield at_least("decoder on a saved log", count / took / 1e6, 1.0, "million samples/s")
    begin = time.perf_counter()
    read = log_content(read_raw_log([(path.name, path.read_bytes())]))
    took = time.perf_counter() - begin
    yield at_least(
        "a saved log, from its file's bytes to samples in order", count / took / 1e6, 0.3, "million samples/s"
    )
    recorder = Recorder(again, [FileLink("file:", path, float("inf"))])
    while not recorder.ended:
        time.sleep(0.05)
    recorder.close()
    other = log_content(read_raw_log([(again.name, again.read_bytes())]))
    ours = {(t.device, t.boot): t for t in read.trips}
    unlike = len(ours) != len(other.trips) or any(
        not all(np.array_equal(getattr(t, f), getattr(ours[(t.device, t.boot)], f)) for f in ("seq", "t_us", "counts"))
        for t in other.trips
    )
    yield at_most(
        "replay of a saved log, recorded again: wagons whose samples are not the same bits", int(unlike), 0, ""
    )


class one_core:  # noqa: N801  reads as a phrase
    """Hold this process to one core where the system can."""

    def __enter__(self) -> None:
        self._before = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else None
        if self._before:
            os.sched_setaffinity(0, {min(self._before)})

    def __exit__(self, *_: object) -> None:
        if self._before:
            os.sched_setaffinity(0, self._before)


if __name__ == "__main__":
    send(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]))
