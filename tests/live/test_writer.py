"""The log's writer: what it says is flushed can be read, whatever the disk did; real files, planned failures."""

import errno
import os
import time
from pathlib import Path

import pytest

from tests.live.disks import EIO, FULL, FaultyDisk
from wayrule.errors import WayruleError
from wayrule.formats.rawlogreader import RawLog, read_raw_log
from wayrule.live import writer as writing
from wayrule.live.clock import CLOCK, Clock
from wayrule.live.writer import LogWriter


def written(folder: Path) -> RawLog:
    return read_raw_log([(p.name, p.read_bytes()) for p in sorted(folder.glob("*.waylog"))])


def until(true, patience_s=5.0):
    """Wait for something another thread does."""
    end = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.01)


def feed(log, count, start=0, size=100):
    for k in range(start, start + count):
        log.put(1, CLOCK.host_ns(), k.to_bytes(4, "little") * (size // 4))


def numbers(read):
    return [int.from_bytes(p[:4], "little") for p in read.payloads]


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(writing, "PERIOD_S", 0.02)
    monkeypatch.setattr(writing, "FIRST_PAUSE_S", 0.05)


def test_what_came_is_there_in_order_and_ended(tmp_path):
    log = LogWriter(tmp_path / "monday.waylog")
    log.note("source", {"link": "udp:5005", "peer": "here"}, 1, standing=True)
    feed(log, 50)
    status = log.close()
    read = written(tmp_path)
    assert (numbers(read), read.ended, read.missing, read.damage) == (list(range(50)), True, (), ())
    assert read.session == log.session
    assert (status.state, status.waiting, status.dropped, len(status.files)) == ("ended", 0, 0, 1)
    assert status.written == (tmp_path / "monday.waylog").stat().st_size
    assert [n.what for n in read.notes][:2] == ["head", "source"]


def test_it_is_flushed_long_before_it_is_closed(tmp_path):
    log = LogWriter(tmp_path / "monday.waylog")
    feed(log, 10)
    until(lambda: log.status().flushed >= 11)
    read = written(tmp_path)
    assert numbers(read) == list(range(10))
    assert not read.ended
    assert log.status().longest_s > 0
    log.close()


def test_a_recording_that_is_there_is_never_touched(tmp_path):
    (tmp_path / "monday.waylog").write_bytes(b"years of work")
    with pytest.raises(
        WayruleError, match="expected a place that can be written, came File exists; choose another name"
    ):
        LogWriter(tmp_path / "monday.waylog")
    assert (tmp_path / "monday.waylog").read_bytes() == b"years of work"
    with pytest.raises(WayruleError, match="came No such file or directory"):
        LogWriter(tmp_path / "nowhere" / "monday.waylog")


def test_a_later_segment_passes_over_a_name_that_is_taken(tmp_path):
    (tmp_path / "m.2.waylog").write_bytes(b"years of work")
    disk = FaultyDisk(flush=[None, EIO])
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    feed(log, 5)
    until(lambda: len(log.status().files) == 2)
    assert log.close().files == (tmp_path / "m.waylog", tmp_path / "m.3.waylog")
    assert (tmp_path / "m.2.waylog").read_bytes() == b"years of work"


@pytest.mark.parametrize("call", ["flush", "write"])
def test_what_failed_is_written_anew_into_a_new_segment(tmp_path, call):
    disk = FaultyDisk(**{call: [None, None, EIO, EIO, None, None, EIO]})
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    log.note("source", {"link": "udp:", "peer": "here"}, 1, standing=True)
    for k in range(40):
        feed(log, 10, start=10 * k)
        time.sleep(0.01)
    status = log.close()
    read = written(tmp_path)
    assert numbers(read) == list(range(400))
    assert (read.missing, read.unlike, read.ended, status.waiting) == ((), 0, True, 0)
    assert disk.flushed_after_failing == [], "a flush that failed is never tried again on the same file"
    assert len(status.files) >= 3
    heads = [n for n in read.notes if n.what == "head"]
    assert [h.words["why"] for h in heads][:2] == ["began", "Input/output error"]
    for path in (p for p in status.files[1:] if p.stat().st_size):
        alone = read_raw_log([(path.name, path.read_bytes())])
        assert {s.link for s in alone.senders()} <= {"udp:"}, "each segment says who the senders are"


def test_a_write_that_takes_a_part_goes_on(tmp_path):
    disk = FaultyDisk(short=[7, 100, 3])
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    feed(log, 20)
    assert len(log.close().files) == 1
    assert numbers(written(tmp_path)) == list(range(20))


def test_no_room_stops_cleanly_and_goes_on_when_there_is_some(tmp_path):
    disk = FaultyDisk()
    log = LogWriter(tmp_path / "m.waylog", disk=disk, keep_free=1_000_000)
    feed(log, 10)
    until(lambda: log.status().flushed >= 11)
    disk.room = 900_000
    feed(log, 10, start=10)
    until(lambda: log.status().state == "full")
    assert log.status().why == "less than 1000000 bytes of room would be left"
    size = log.status().written
    time.sleep(0.2)
    assert (log.status().written, log.status().waiting > 0) == (size, True)
    disk.room = None
    until(lambda: log.status().state == "writing" and log.status().waiting == 0)
    assert log.close().dropped == 0
    read = written(tmp_path)
    assert (numbers(read), read.missing, read.ended) == (list(range(20)), (), True)
    assert [n.words["why"] for n in read.notes if n.what == "head"][
        1
    ] == "less than 1000000 bytes of room would be left"


def test_a_full_disk_does_not_fill_with_beginnings(tmp_path):
    disk = FaultyDisk(write=[None, *[FULL] * 400])
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    feed(log, 3)
    until(lambda: log.status().state == "full")
    assert log.status().why == "No space left on device"
    time.sleep(0.5)
    assert [p.name for p in tmp_path.iterdir()] == ["m.waylog"], "an empty new segment is taken away"
    disk.plan.clear()
    log.close()
    assert numbers(written(tmp_path)) == [0, 1, 2]


def test_what_memory_cannot_hold_is_counted_and_told(tmp_path):
    disk = FaultyDisk()
    log = LogWriter(tmp_path / "m.waylog", disk=disk, kept_in_memory=3000)
    disk.room = 0
    until(lambda: log.status().state == "full")
    feed(log, 100)
    dropped = log.status().dropped
    assert 0 < dropped < 10_000
    disk.room = None
    until(lambda: log.status().waiting == 0)
    log.close()
    read = written(tmp_path)
    (said,) = [n for n in read.notes if n.what == "dropped"]
    assert (said.numbers["bytes"], said.numbers["chunks"]) == (dropped, dropped / 100)
    assert numbers(read) == list(range(100 - dropped // 100)), "what was kept is the beginning, without a hole"


def test_an_end_on_a_disk_that_stays_full_says_what_is_not_there(tmp_path):
    disk = FaultyDisk()
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    until(lambda: log.status().waiting == 0)
    disk.room = 0
    feed(log, 5)
    status = log.close(patience_s=0.2)
    assert (status.state, status.waiting > 500) == ("full", True)
    assert not written(tmp_path).ended


def test_a_disk_that_is_gone_is_told_by_its_own_words(tmp_path):
    disk = FaultyDisk()
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    disk.plan["free"] = [EIO] * 1000
    until(lambda: log.status().state == "failing")
    assert (log.status().why, log.status().free) == ("Input/output error", 0)
    disk.plan.clear()
    feed(log, 5)
    log.close()
    assert numbers(written(tmp_path)) == list(range(5))


def test_a_new_file_before_one_grows_too_large(tmp_path):
    log = LogWriter(tmp_path / "m.waylog", largest_segment=4000)
    for k in range(30):
        feed(log, 5, start=5 * k)
        time.sleep(0.005)
    files = log.close().files
    assert len(files) > 3
    assert all(p.stat().st_size < 4000 + 30 * 150 for p in files)
    assert numbers(written(tmp_path)) == list(range(150))


def test_where_no_file_may_grow_large_it_goes_on_in_small_ones(tmp_path):
    class SmallFiles(FaultyDisk):
        def write(self, handle, data):
            left = 20_000 - self._paths[handle].stat().st_size
            if left <= 0:
                raise OSError(errno.EFBIG, os.strerror(errno.EFBIG))
            return super().write(handle, data[:left])

    disk = SmallFiles()
    log = LogWriter(tmp_path / "m.waylog", disk=disk)
    disk.room = 0
    until(lambda: log.status().state == "full")
    feed(log, 1000)
    disk.room = None
    until(lambda: log.status().waiting == 0, 20)
    assert len(log.close().files) >= 8
    assert numbers(written(tmp_path)) == list(range(1000))


def test_more_than_a_piece_at_once(tmp_path):
    log = LogWriter(tmp_path / "m.waylog")
    feed(log, 60, size=60_000)
    log.close()
    assert numbers(written(tmp_path)) == list(range(60))


def test_sleep_is_noted_by_either_clock(tmp_path):
    ahead = {"host": 0, "wall": 0.0}
    clock = Clock(lambda: CLOCK.host_ns() + ahead["host"], lambda: CLOCK.wall_s() + ahead["wall"])
    log = LogWriter(tmp_path / "m.waylog", clock=clock)
    for which, much in (("host", int(60e9)), ("wall", 90.0)):
        time.sleep(0.1)
        ahead[which] += much
    time.sleep(0.1)
    log.close()
    slept = [n.numbers["seconds"] for n in written(tmp_path).notes if n.what == "slept"]
    assert slept == [pytest.approx(60, abs=2), pytest.approx(90, abs=2)]
    walls = [n for n in written(tmp_path).notes if n.what == "time"]
    assert len(walls) >= 2, "the wall's clock stands beside the recorder's own"


def test_a_defect_of_the_writer_is_told_and_comes_out_at_the_end(tmp_path, monkeypatch):
    log = LogWriter(tmp_path / "m.waylog")
    monkeypatch.setattr(log, "_write_on", lambda: 1 / 0)
    until(lambda: log.status().state == "failing")
    assert "defect of the writer: ZeroDivisionError" in log.status().why
    with pytest.raises(ZeroDivisionError):
        log.close()
