"""Two hundred samples a second: the whole wagon program in a process of its own, over a pseudo-terminal."""

import os
import select
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from benchmarks.row import Row, at_most, between
from benchmarks.wiring.micropython import ROOT, powered_up
from wayrule.formats.wire import Decoder, Frame, Trip, gather

MISSED_LIMIT_PCT = 1.0
"""Samples that were due and not taken; on a computer that does other things besides a few are."""


def heard(folder: Path, seconds: float) -> tuple[list[Frame], bytes]:
    """All frames that come over the cable until the wagon is switched off; and what it wrote to its error output."""
    import tty

    desk, wagon = os.openpty()
    tty.setraw(wagon)
    process = powered_up(folder, seconds, wagon)
    os.close(wagon)
    decoder, frames = Decoder(), list[Frame]()
    deadline = time.monotonic() + seconds + 60
    while time.monotonic() < deadline:
        if not select.select([desk], [], [], 0.1)[0]:
            continue
        try:
            data = os.read(desk, 65536)
        except OSError:
            break  # switched off
        frames += decoder.feed(data)
    errors = process.communicate(timeout=20)[1]
    os.close(desk)
    return [*frames, *decoder.end()], errors


def missed(trip: Trip) -> tuple[int, int]:
    """(samples taken, samples missed) until the wagon last told its state."""
    last = trip.states[-1]
    return int(np.sum(trip.t_us <= last.t_us)), last.missed


def steady_rows(quick: bool) -> Iterator[Row]:
    """Rate, loss, and what was missed."""
    what = "the wagon's program under CPython, stand-in bus and clock, over a pseudo-terminal"
    if sys.platform == "win32":
        yield Row(what, "", "200 Hz", ok=False, why="not run: no pseudo-terminals here")
        return
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(ROOT / "firmware/settings.toml", folder)
        (Path(folder) / "checked.txt").write_text("passed\n", encoding="utf-8")
        frames, _ = heard(Path(folder), 5 if quick else 30)
    (trip,) = gather(frames).trips
    taken, late = missed(trip)
    span_s = (trip.t_us[-1] - trip.t_us[0]) / 1e6
    yield between(f"{what}, {span_s:.0f} s: samples a second, with those it says it missed",
                  (taken + late) / (trip.states[-1].t_us / 1e6), 199, 201, "Hz")  # fmt: skip
    yield at_most(
        f"{what}: samples missed because the computer was busy", 100 * late / (taken + late), MISSED_LIMIT_PCT, "%"
    )
    yield at_most(f"{what}: samples lost on the way", sum(count for _, count in trip.missing), 0, "samples")
