"""Raw logs as recordings: by wagon, over restarts, with marks from the desk, and everything missing told."""

import re

import numpy as np
import pytest

import wayrule
from tests.wires import DEVICE, ID
from wayrule.desk.opening import preview_of, read_recording
from wayrule.errors import RecordingError, UsageError
from wayrule.formats.rawlog import DATA, NOTE, packed
from wayrule.formats.rawlognotes import note_bytes
from wayrule.formats.wire import Column, Hello, Marked, Samples, encode
from wayrule.formats.wire.hello import device_of
from wayrule.sim import HO_VAN

SESSION = b"session1"
COLUMNS = (Column("wheel_mm", 16, 0.5), Column("gz_dps", 16, 0.01))


class Log:
    """A raw log put together block by block."""

    def __init__(self):
        self.blocks = []

    def data(self, t_s, data, source=1):
        self.blocks.append(packed(DATA, source, SESSION, len(self.blocks), round(t_s * 1e9), data))

    def note(self, t_s, what, source=0, **said):
        payload = note_bytes(what, said)
        self.blocks.append(packed(NOTE, source, SESSION, len(self.blocks), round(t_s * 1e9), payload))

    def save(self, folder, name="m.waylog"):
        (folder / name).write_bytes(b"".join(self.blocks))
        return folder / name


def hello(boot=1, identity=ID, name="Van 7"):
    return encode(Hello(device_of(identity), boot, 0, identity, name, "own 1", 100.0, COLUMNS))


def run(log, begin_s, *, boot=1, identity=ID, name="Van 7", n=400, first=0, source=1, drift=0.0, skip=()):
    """Samples at 100 Hz whose wheel rolls 1 mm a sample; the wagon's clock begins at `begin_s` of the recorder's."""
    log.data(begin_s + 0.001, hello(boot, identity, name), source)
    for at in range(first, first + n, 4):
        seq = np.arange(at, at + 4)
        counts = np.stack([2 * seq, np.sin(seq / 20) * 500], axis=1).astype(np.int32)
        t_us = np.round(seq * 10_000 * (1 + drift)).astype(np.int64)
        if at not in skip:
            frame = encode(Samples(device_of(identity), boot, seq, t_us, counts))
            log.data(begin_s + (at + 3) * 0.01 + 0.002, frame, source)


def test_one_wagon_keeps_its_own_clock_and_every_sample(tmp_path):
    log = Log()
    run(log, 50.0)
    log.note(55.0, "end", why="stopped")
    found = read_recording(log.save(tmp_path), HO_VAN)
    assert (found.name, found.n, found.t_s[0], found.problems) == ("m", 400, 0.0, ())
    assert found.wheel_mm == pytest.approx(np.arange(400.0))
    assert found.gyro_rad_s[:, 2] == pytest.approx(np.trunc(np.sin(np.arange(400) / 20) * 500) * 0.01 * np.pi / 180)
    assert len(found.sha256) == 64
    assert wayrule.travel(tmp_path / "m.waylog", HO_VAN).travels[0].distance_mm[-1] == pytest.approx(399.0, abs=0.5)


def test_marks_from_the_desk_come_onto_the_wagons_clock(tmp_path):
    log = Log()
    run(log, 50.0, n=2000, drift=100e-6)
    log.data(62.0, encode(Marked(DEVICE, 1, 1, 12_000_000, "bridge")))
    log.note(60.0, "mark", name="signal")
    log.note(71.0, "end", why="stopped")
    found = read_recording(log.save(tmp_path), HO_VAN)
    assert [(m.name, round(m.t_s, 2)) for m in found.marks] == [("signal", 10.0), ("bridge", 12.0)]
    # 10 s after its clock began, which is 100 ppm fast; the links' 2 ms are the least delay, which nobody sees
    assert found.marks[0].t_s == pytest.approx(10.0 * (1 + 100e-6) - 0.002, abs=0.001)


def test_a_restart_is_one_run_with_a_gap_on_the_recorders_clock(tmp_path):
    log = Log()
    run(log, 50.0, boot=3)
    log.note(57.0, "mark", name="signal")
    run(log, 60.0, boot=4)
    log.data(63.0, encode(Marked(DEVICE, 4, 1, 2_000_000, "bridge")))
    log.note(65.0, "end", why="stopped")
    found = read_recording(log.save(tmp_path), HO_VAN)
    assert found.n == 800
    assert found.t_s[400] - found.t_s[399] == pytest.approx(10.0 - 3.99, abs=1e-3)
    assert found.wheel_mm[400:] == pytest.approx(399 + np.arange(400.0)), "what counts up goes on"
    assert [(m.name, round(m.t_s, 2)) for m in found.marks] == [("signal", 7.0), ("bridge", 12.0)]
    assert "the wagon was switched on anew 1 time (at 10.000 s): its boots are put on the recorder's clock" in next(
        p.text for p in found.problems if p.kind == "restart"
    )


def test_a_boot_of_a_moment_is_left_out_and_told(tmp_path):
    log = Log()
    run(log, 50.0, boot=3, n=8)
    run(log, 60.0, boot=4)
    found = read_recording(log.save(tmp_path), HO_VAN)
    assert found.n == 400
    assert "boot 3 sent 8 samples only (before the next): left out." in [p.text for p in found.problems]


def test_several_wagons_need_a_name(tmp_path):
    log = Log()
    run(log, 50.0)
    run(log, 50.0, identity="beef", name="Coach 2", source=2, n=200)
    path = log.save(tmp_path)
    key = f"{DEVICE:08x}"
    with pytest.raises(RecordingError, match=re.escape(f"came Van 7 ({key}), Coach 2")):
        read_recording(path, HO_VAN)
    for wanted in ("van 7", ID, key):
        assert read_recording(f"{path}@wagon={wanted}", HO_VAN).n == 400
    assert read_recording(f"{path}@wagon=Coach 2", HO_VAN).name == "m-Coach-2"
    with pytest.raises(RecordingError, match="expected a wagon called Van 9, came Van 7"):
        read_recording(f"{path}@wagon=Van 9", HO_VAN)
    (tmp_path / "t.csv").write_text("t_s,wheel_mm\n0,1\n")
    with pytest.raises(UsageError, match="expected @wagon= behind a raw log"):
        read_recording(f"{tmp_path / 't.csv'}@wagon=Van 7", HO_VAN)


def test_one_wagon_over_two_links_is_one(tmp_path):
    log = Log()
    run(log, 50.0, n=200)
    run(log, 50.0, first=100, n=200, source=2)
    assert read_recording(log.save(tmp_path), HO_VAN).n == 300


def test_what_never_came_is_told_and_left_open(tmp_path):
    log = Log()
    run(log, 50.0, skip=(100, 104))
    del log.blocks[30]
    path = log.save(tmp_path)
    found = read_recording(path, HO_VAN)
    assert found.n == 388
    texts = " ".join(p.text for p in found.problems)
    assert "1 block of the log is missing (30, between" in texts
    assert "12 samples never came, in 2 holes of up to 8" in texts
    assert "The log was not ended" in texts


def test_a_hello_that_is_lost_is_taken_from_another_boot(tmp_path):
    log = Log()
    run(log, 50.0, boot=3)
    run(log, 60.0, boot=4)
    log.blocks = [b for b in log.blocks if hello(3) not in b]
    assert read_recording(log.save(tmp_path), HO_VAN).n == 800
    other = Log()
    run(other, 50.0)
    del other.blocks[0]
    with pytest.raises(RecordingError, match="expected a hello that says what the counts mean"):
        read_recording(other.save(tmp_path, "o.waylog"), HO_VAN)


def test_a_sketch_that_prints_lines(tmp_path):
    log = Log()
    lines = "".join(f"{10 * k},{k}\n" for k in range(300))
    text = ("hello there\nt_ms,wheel_mm\n" + lines + "12,1,4\n").encode()
    for k in range(0, len(text), 37):
        log.data(50 + k * 1e-3, text[k : k + 37])
    path = log.save(tmp_path)
    found = read_recording(path, HO_VAN)
    assert found.wheel_mm == pytest.approx(np.arange(300.0))
    assert "1 line that are no row (all through): dropped." in [p.text for p in found.problems]
    assert [u.theirs for u in preview_of(path, HO_VAN).columns] == ["t_ms", "wheel_mm"]


def test_nothing_that_speaks_is_one_line(tmp_path):
    log = Log()
    log.data(1.0, b"ready\n")
    with pytest.raises(RecordingError, match="came no frame and no header of a text log; see what the sender prints"):
        read_recording(log.save(tmp_path), HO_VAN)


def test_import_shows_what_the_columns_of_a_raw_log_are(tmp_path):
    log = Log()
    run(log, 50.0)
    path = log.save(tmp_path)
    result = wayrule.import_recording(path, HO_VAN, out=tmp_path / "m.csv")
    assert result.understood.separator == "frames"
    assert [row[:2] for row in result.column_table().rows][1:] == [
        ("wheel_mm", "wheel distance"), ("gz_dps", "rate of turn about z"),
    ]  # fmt: skip
    again = read_recording(tmp_path / "m.csv", HO_VAN)
    assert again.wheel_mm == pytest.approx(np.arange(400.0))


def test_later_segments_are_read_with_the_first(tmp_path):
    log = Log()
    run(log, 50.0)
    whole = log.blocks
    log.blocks = whole[:50]
    path = log.save(tmp_path)
    log.blocks = whole[50:]
    log.save(tmp_path, "m.2.waylog")
    assert read_recording(path, HO_VAN).n == 400
