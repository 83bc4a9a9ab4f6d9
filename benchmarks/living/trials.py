"""Recorders killed, torn, full and damaged, at random: real processes, real files, a small file system."""

import contextlib
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchmarks.living.radio import ROWS, counts_of
from benchmarks.row import Row, at_least, at_most
from wayrule.errors import RecordingError
from wayrule.formats.rawlog import DATA, OVERHEAD
from wayrule.formats.rawlogreader import RawLog, read_raw_log, scan
from wayrule.formats.wire import Decoder, Samples, encode

KINDS: Final = ("kill", "torn", "flip", "full")
DEVICE, BOOT = 0x0DDBA11, 5
FRAMES: Final = 700
PACE_S: Final = 0.0005
WORKERS: Final = 4
ROOM: Final = 160 << 10
"""Bytes of the small file system: about half of what a child wants to write."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of one: kind, how many frames were flushed, and read; `wrong` says in words what must not be."""

    kind: str
    flushed: int
    read: int
    wrong: str = ""


def frame_bytes(count: int = FRAMES) -> list[bytes]:
    """Frames whose samples are known."""
    made = []
    for at in range(0, count * ROWS, ROWS):
        seq = np.arange(at, at + ROWS)
        made.append(encode(Samples(DEVICE, BOOT, seq, seq * 5000, counts_of(DEVICE, BOOT, seq))))
    return made


def trial(kind: str, seed: int, folder: Path, frames: list[bytes], source: Path, small: "Path | None") -> Trial:
    """One trial; `small`: a small file system, None: files that may not grow stand in for it."""
    rng = np.random.default_rng(seed)
    place = (small if kind == "full" and small else folder) / f"trial-{seed}"
    place.mkdir()
    limit = 48 << 10 if kind == "full" and not small else 0
    path = place / "log.waylog"
    ballast = place / "ballast"
    if kind == "full" and small:
        ballast.write_bytes(bytes(int(rng.integers(30, 70)) << 10))
    words = [str(path), str(source), str(PACE_S), str(limit)]
    with subprocess.Popen([sys.executable, "-m", "benchmarks.living.child", *words], stdout=subprocess.PIPE) as child:
        flushed = _run(child, kind, rng, ballast)
    files = {p.name: p.read_bytes() for p in place.glob("*.waylog")}
    for p in place.iterdir():
        p.unlink()
    place.rmdir()
    if kind == "torn":
        files = _torn(files, flushed, rng)
    hit: set[int] = set()
    if kind == "flip":
        files, hit = _flipped(files, rng)
    try:
        log = read_raw_log(list(files.items()))
    except RecordingError:  # not one whole block is left
        return Trial(kind, flushed, 0, "nothing could be read" if flushed or kind != "flip" else "")
    return _judge(kind, flushed, log, frames, hit, files)


def _run(child: "subprocess.Popen[bytes]", kind: str, rng: np.random.Generator, ballast: Path) -> int:
    """Let it run, kill it or free room at a random moment; how many frames it said are flushed."""
    assert child.stdout is not None
    said, end = "0 writing", 0.0
    first = child.stdout.readline()
    end = time.monotonic() + (rng.uniform(0.0, 0.5) if kind != "full" or rng.random() < 0.5 else 60.0)
    os.set_blocking(child.stdout.fileno(), False)
    rest = first
    while child.poll() is None and time.monotonic() < end:
        rest += child.stdout.read() or b""
        if kind == "full" and b"full" in rest and ballast.exists():
            time.sleep(rng.uniform(0.0, 0.3))
            with contextlib.suppress(OSError):
                ballast.unlink()
        time.sleep(0.005)
    child.kill()
    child.wait()
    rest += child.stdout.read() or b""
    lines = rest.decode().splitlines()
    said = lines[-1] if rest.endswith(b"\n") else lines[-2] if len(lines) > 1 else said
    return int(said.split()[0])


def _torn(files: dict[str, bytes], flushed: int, rng: np.random.Generator) -> dict[str, bytes]:
    """A power cut: what was not flushed is cut off anywhere, or holds anything."""
    name = max(files)
    data = files[name]
    rows = scan(data).rows
    there = [row for row in rows if row[0] == DATA][:flushed]
    last = there[-1] if there else rows[0]  # the head is flushed first
    safe = last[5] + last[6] + 4
    cut = int(rng.integers(safe, len(data) + 1))
    tail = {0: b"", 1: bytes(len(data) - cut), 2: rng.bytes(len(data) - cut)}[int(rng.integers(3))]
    return files | {name: data[:cut] + tail}


def _flipped(files: dict[str, bytes], rng: np.random.Generator) -> tuple[dict[str, bytes], set[int]]:
    """One to twelve bits anywhere; and the sequence numbers of the blocks that they hit."""
    name = max(files)
    data = bytearray(files[name])
    bits = np.unique(rng.integers(0, 8 * len(data), int(rng.integers(1, 13))))
    blocks = scan(files[name]).rows
    begins = np.array([row[5] - (OVERHEAD - 4) for row in blocks])
    ends = np.array([row[5] + row[6] + 4 for row in blocks])
    hit = set()
    for bit in bits.tolist():
        data[bit // 8] ^= 1 << bit % 8
        at = int(np.searchsorted(ends, bit // 8, side="right"))
        if at < len(blocks) and begins[at] <= bit // 8:
            hit.add(blocks[at][3])
    return files | {name: bytes(data)}, hit


def _judge(kind: str, flushed: int, log: RawLog, frames: list[bytes], hit: set[int], files: dict[str, bytes]) -> Trial:
    """Nothing flushed is lost, nothing wrong is taken, and what is missing is named."""
    place = {data: number for number, data in enumerate(frames)}
    read = [place.get(payload, -1) for payload in log.payloads]
    wrong = []
    if -1 in read or read != sorted(set(read)):
        wrong.append("a block that was never written so, or not in order")
    samples = [f for f in Decoder().feed(log.stream(1).data) if isinstance(f, Samples)]
    if any(not np.array_equal(s.counts, counts_of(DEVICE, BOOT, s.seq)) for s in samples):
        wrong.append("a wrong sample")
    told = {k for a, b in log.missing for k in range(a, b + 1)}
    last = max([int(s) for s in log.sequence] + [n.sequence for n in log.notes])
    due = {s for s in hit if s < last}
    if told != due:
        wrong.append(f"missing blocks {sorted(due)}, told {sorted(told)}")
    lost = set(range(flushed)) - set(read)
    if len(lost) > len(hit):
        wrong.append(f"{len(lost)} flushed frames lost")
    if hit and not log.damage:
        wrong.append("damage that is not told")
    unread = sum(len(data) for data in files.values()) - _whole(files)
    if unread != sum(d.last - d.first for d in log.damage):
        wrong.append("bytes that are neither read nor told")
    return Trial(kind, flushed, len(read), "; ".join(wrong))


def _whole(files: dict[str, bytes]) -> int:
    """Bytes in whole blocks."""
    return sum(OVERHEAD + row[6] for data in files.values() for row in scan(data).rows)


@contextlib.contextmanager
def small_disks(folder: Path, count: int) -> Iterator["list[Path] | None"]:
    """Small file systems, where this user may mount some; else None."""
    made: list[Path] = []
    try:
        for k in range(count):
            place = folder / f"small-{k}"
            place.mkdir()
            words = ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(place)]
            if subprocess.run(words, check=False, capture_output=True).returncode:
                break
            made.append(place)
        yield made if len(made) == count else None
    except FileNotFoundError:
        yield None  # no mount here
    finally:
        for place in made:
            subprocess.run(["umount", str(place)], check=False)


def trials(count: int, seed: int = 1, kinds: tuple[str, ...] = KINDS) -> tuple[list[Trial], bool]:
    """So many trials, the kinds in turn; and whether the full disk was a real one."""
    frames = frame_bytes()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source = folder / "frames"
        source.write_bytes(b"".join(len(f).to_bytes(2, "little") + f for f in frames))
        with small_disks(folder, WORKERS) as disks, ThreadPoolExecutor(WORKERS) as pool:

            def work(worker: int) -> list[Trial]:
                mine = range(worker, count, WORKERS)
                small = disks[worker] if disks else None
                order = [kinds[(k // WORKERS + worker) % len(kinds)] for k in mine]
                return [
                    trial(kind, seed * 10**6 + k, folder, frames, source, small)
                    for k, kind in zip(mine, order, strict=True)
                ]

            done = [one for part in pool.map(work, range(WORKERS)) for one in part]
            return done, disks is not None


def trial_rows(quick: bool) -> Iterator[Row]:
    """A thousand of them."""
    count = 60 if quick else 1000
    done, real = trials(count)
    kinds = Counter(t.kind for t in done)
    words = ", ".join(f"{kinds[k]} {w}" for k, w in zip(KINDS, ("killed", "torn", "bits flipped", "full"), strict=True))
    disk = "a small file system" if real else "a limit on file size standing in for the small file system"
    wrong = [t for t in done if t.wrong]
    example = f" (the first: {wrong[0].kind}: {wrong[0].wrong})" if wrong else ""
    name = f"{count} trials ({words}; {disk})"
    yield at_most(f"{name}: a flushed sample lost, a wrong one taken, or a loss not told{example}", len(wrong), 0, "")
    yield at_least(
        f"{name}: frames flushed when it happened, in the mean", float(np.mean([t.flushed for t in done])), 50, ""
    )
