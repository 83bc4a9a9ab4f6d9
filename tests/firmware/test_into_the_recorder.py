"""From the wagon's bus to the desk's disk: firmware, real links, recorder, and the log read back."""

import os
import shutil
import socket
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from benchmarks.wiring.micropython import powered_up
from tests.firmware.test_links import Running
from wayrule.desk.recording import begin_recording
from wayrule.formats.rawlogframes import log_content
from wayrule.formats.rawlogreader import read_raw_log
from wayrule.formats.wire import Trip, recording_of
from wayrule.live.recorder import Recorder
from wayrule.live.status import WagonStatus
from wayrule.store.files import read_segments

ROOT = Path(__file__).parents[2]


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    made = Running(tmp_path / "wagon")
    yield made
    made.stop()


def until(recorder: Recorder, what: Callable[[WagonStatus], bool], seconds: float = 30) -> WagonStatus:
    """Wait for something to be so of the one wagon."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        wagons = recorder.status().wagons
        if wagons and what(wagons[0]):
            return wagons[0]
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds:g} s: {recorder.status()}")


def trips(path: Path) -> tuple[Trip, ...]:
    """What the log holds, read back from disk."""
    return log_content(read_raw_log(read_segments(path))).trips


def whole(path: Path, at_least: int) -> None:
    """The log holds so many samples, none missing, at 200 Hz, and they are a wagon that rolls."""
    (trip,) = trips(path)
    assert trip.missing == ()
    assert len(trip.seq) >= at_least
    recording = recording_of(trip, "monday")
    assert recording.field_mt is not None
    assert np.ptp(recording.field_mt[:, 0]) == pytest.approx(48, rel=0.02)  # 2 x 12000 counts of 0.002 mT
    steps = np.diff(trip.t_us)
    assert np.min(steps) > 0
    assert np.mean(np.abs(steps - 5000) < 5000) > 0.5


@pytest.mark.skipif(sys.platform == "win32", reason="not run: no pseudo-terminals here")
def test_over_a_cable(tmp_path: Path) -> None:
    import tty

    folder = tmp_path / "wagon"
    folder.mkdir()
    shutil.copy(ROOT / "firmware/settings.toml", folder)
    (folder / "checked.txt").write_text("passed\n", encoding="utf-8")
    desk, wagon = os.openpty()
    tty.setraw(desk)
    process = powered_up(folder, 30, desk)
    path, recorder = begin_recording(f"serial:{os.ttyname(wagon)}", tmp_path / "monday")
    try:
        status = until(recorder, lambda w: w.samples > 200)
        assert status.name == "Inspection van 7"
    finally:
        process.terminate()
        process.communicate()
        recorder.close()
        os.close(desk)
        os.close(wagon)
    whole(path, 200)


@pytest.mark.parametrize("link", ["tcp", "ws"])
def test_over_a_connection_that_breaks(link: str, running: Running, tmp_path: Path) -> None:
    """The wagon hangs up; the recorder comes back by itself, and what was sampled meanwhile is sent again."""
    part = {"tcp": "door", "ws": "page"}[link]
    where = f"127.0.0.1:{running.port(part)}"
    path, recorder = begin_recording(f"ws://{where}/wire" if link == "ws" else f"tcp:{where}", tmp_path / "monday")
    try:
        until(recorder, lambda w: w.samples > 60)
        (broken,) = [k for k in running.wagon.links if k is not running.wagon._network["udp"]]
        getattr(broken, "_stream", broken).close()
        status = until(recorder, lambda w: w.samples > 450 and not w.awaited)
        assert status.lost == 0
    finally:
        recorder.close()
    whole(path, 450)


def test_over_udp_with_loss_and_a_restart(running: Running, tmp_path: Path) -> None:
    """A go-between loses every tenth datagram either way; then the wagon is switched off and on again."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        desk_port = free.getsockname()[1]
    running.wagon._network["udp"]._to = ("127.0.0.1", desk_port)
    real, count = running.wagon._network["udp"]._socket, 0

    class Lossy:
        def sendto(self, data: bytes, to: tuple[str, int]) -> int:
            nonlocal count
            count += 1
            return len(data) if count % 10 == 0 else real.sendto(data, to)

        def __getattr__(self, name: str) -> object:
            return getattr(real, name)

    running.wagon._network["udp"]._socket = Lossy()
    path, recorder = begin_recording(f"udp:{desk_port}", tmp_path / "monday")
    try:
        until(recorder, lambda w: w.samples > 400 and w.awaited < 40)
        running.stop()
        again = Running(tmp_path / "wagon")
        again.wagon._network["udp"]._to = ("127.0.0.1", desk_port)
        status = until(recorder, lambda w: w.restarts == 1 and w.samples > 700 and not w.awaited)
        again.stop()
        assert status.boot == 2
    finally:
        recorder.close()
    first, second = trips(path)
    assert (first.boot, second.boot) == (1, 2)
    assert second.missing == ()
    assert len(first.seq) + len(second.seq) > 700
    assert sum(n for f, n in first.missing if f < first.seq[-1] - 300) == 0
