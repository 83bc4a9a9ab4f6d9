"""The recorder as a whole: the log first, then the listening; wants tell only what is on the disk."""

import threading
import time

import numpy as np
import pytest

from benchmarks.living.radio import counts_of
from tests.live.disks import FaultyDisk
from tests.live.stand_ins import until
from tests.wires import DEVICE, ID
from wayrule.formats.rawlogreader import read_raw_log
from wayrule.formats.wire import Column, Decoder, Gone, Hello, Marked, Samples, State, Want, encode
from wayrule.live import recorder as recording
from wayrule.live import writer as writing
from wayrule.live.links import LinkDownError, LinkEndedError
from wayrule.live.links.makebelieve import SimLink
from wayrule.live.recorder import Recorder
from wayrule.model import FieldSensor, Wheel
from wayrule.sim import HO_VAN

NAMES = ("bx_mT", "by_mT", "bz_mT", "gx_dps", "gy_dps", "gz_dps", "ax_g", "ay_g", "az_g")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(writing, "PERIOD_S", 0.02)
    monkeypatch.setattr(recording, "ANSWER_S", 0.05)


class HandLink:
    """A link that does what the test tells it."""

    spelling = "hand:"

    def __init__(self):
        self.orders, self.answers = [], []
        self.sink = None

    def run(self, sink, stop):
        self.sink = sink
        sink.up("van", self.answers.append)
        while not stop.wait(0.005):
            while self.orders:
                order = self.orders.pop(0)
                if isinstance(order, Exception):
                    raise order
                sink.came("van", order)

    def wants(self):
        frames = Decoder().feed(b"".join(self.answers))
        return [f for f in frames if isinstance(f, Want)]


def hello(boot=1):
    return encode(Hello(DEVICE, boot, 0, ID, "Van 7", "own 1", 200.0, tuple(Column(n, 16, 0.001) for n in NAMES)))


def samples(first, count, boot=1):
    seq = np.arange(first, first + count)
    return encode(Samples(DEVICE, boot, seq, seq * 5000, counts_of(DEVICE, boot, seq)))


@pytest.fixture
def hand(tmp_path):
    link, seen = HandLink(), []
    recorder = Recorder(tmp_path / "m.waylog", [link], watch=[seen.append])
    yield link, recorder, seen, tmp_path
    recorder.close()


def one(recorder):
    (wagon,) = recorder.status().wagons
    return wagon


def test_all_goes_to_the_log_and_whoever_watches_gets_the_frames(hand):
    link, recorder, seen, folder = hand
    link.orders += [hello(), samples(0, 8), b"ready\n", samples(8, 8)]
    until(lambda: recorder.status().wagons and one(recorder).samples == 16)
    assert sum(len(f) for h in seen for f in h.frames if isinstance(f, Samples)) == 16
    assert all(h.t_ns > 0 and h.source == 1 for h in seen)
    wagon = one(recorder)
    assert (wagon.name, wagon.id, wagon.presence, wagon.boot, wagon.link, wagon.peer) == (
        "Van 7", ID, "live", 1, "hand:", "van",
    )  # fmt: skip
    status = recorder.close()
    log = read_raw_log([("m", (folder / "m.waylog").read_bytes())])
    assert log.stream(1).data == hello() + samples(0, 8) + b"ready\n" + samples(8, 8)
    assert (status.writer.state, log.ended) == ("ended", True)


def test_what_is_missing_is_awaited_asked_for_and_given_up_when_gone(hand):
    link, recorder, _, _ = hand
    link.orders += [hello(), samples(0, 4), samples(12, 4)]
    until(lambda: any(w.count for w in link.wants()))
    want = next(w for w in link.wants() if w.count)
    assert (want.device, want.boot, want.first, want.count) == (DEVICE, 1, 4, 8)
    until(lambda: link.wants()[-1].safe == 4)
    assert (one(recorder).awaited, one(recorder).loss) == (8, 0.5)
    link.orders += [samples(4, 4), encode(Gone(DEVICE, 1, 8, 4)), samples(4, 4)]
    until(lambda: one(recorder).awaited == 0)
    until(lambda: one(recorder).repeated == 4)
    assert (one(recorder).lost, one(recorder).samples) == (4, 12)
    until(lambda: link.wants()[-1].safe == 16 and link.wants()[-1].count == 0)


def test_an_earlier_boot_is_asked_for_its_end_until_it_is_gone(hand):
    link, recorder, _, _ = hand
    link.orders += [hello(), samples(0, 4), hello(2), samples(0, 4, boot=2)]
    until(lambda: any(w.boot == 1 and w.first == 4 and w.count for w in link.wants()))
    link.orders += [samples(4, 8)]
    until(lambda: any(w.boot == 1 and w.first == 12 and w.count for w in link.wants()))
    link.orders += [encode(Gone(DEVICE, 1, 12, 2**32 - 13))]
    until(lambda: [w for w in link.wants() if w.boot == 1][-1].count == 0)
    assert one(recorder).lost == 0, "what was never taken is not lost"
    assert all(w.first >= 4 or w.count == 0 for w in link.wants() if w.boot == 2)


def test_nothing_is_called_safe_that_is_not_on_the_disk(tmp_path):
    disk, link = FaultyDisk(), HandLink()
    recorder = Recorder(tmp_path / "m.waylog", [link], disk=disk)
    link.orders += [hello(), samples(0, 4)]
    until(lambda: link.wants() and link.wants()[-1].safe == 4)
    disk.room = 0
    until(lambda: recorder.status().writer.state == "full")
    link.orders += [samples(4, 40)]
    until(lambda: one(recorder).samples == 44)
    before = len(link.wants())
    until(lambda: len(link.wants()) > before + 3)
    assert link.wants()[-1].safe == 4, "it came, and is not safe: the wagon is to keep it"
    disk.room = None
    until(lambda: link.wants()[-1].safe == 44)
    recorder.close()


def test_what_memory_cannot_hold_is_not_heard_either(tmp_path):
    disk, link = FaultyDisk(), HandLink()
    recorder = Recorder(tmp_path / "m.waylog", [link], disk=disk, kept_in_memory=3000)
    link.orders += [hello()]
    until(lambda: recorder.status().wagons)
    disk.room = 0
    link.orders += [samples(4 * k, 4) for k in range(100)]
    until(lambda: recorder.status().writer.dropped > 5000)
    assert one(recorder).samples < 400
    disk.room = None
    until(lambda: recorder.status().writer.waiting == 0)
    recorder.close()


def test_a_link_that_breaks_in_the_middle_of_a_frame(hand):
    link, recorder, _, folder = hand
    link.orders += [hello(), samples(0, 4), samples(4, 4)[:30], LinkDownError("pulled"), samples(4, 4)]
    until(lambda: recorder.status().wagons and one(recorder).samples == 8)
    recorder.close()
    log = read_raw_log([("m", (folder / "m.waylog").read_bytes())])
    states = [(n.words["state"], n.words.get("why")) for n in log.notes if n.what == "link"]
    assert states == [("up", None), ("down", "pulled"), ("up", None)]
    assert len(log.senders()) == 1, "the same peer is the same source"


def test_marks_have_names_of_their_own(hand):
    _, recorder, _, folder = hand
    assert [recorder.mark(n) for n in ("signal", "signal", " tunnel  mouth ", "", "signal")] == [
        "signal", "signal 2", "tunnel mouth", "mark", "signal 3",
    ]  # fmt: skip
    assert recorder.status().marks[-1] == "signal 3"
    recorder.close()
    log = read_raw_log([("m", (folder / "m.waylog").read_bytes())])
    assert [n.words["name"] for n in log.notes if n.what == "mark"][:2] == ["signal", "signal 2"]


def test_a_watcher_that_fails_is_told_and_the_log_goes_on(tmp_path):
    link = HandLink()

    def broken(_heard):
        raise ZeroDivisionError("watching")

    recorder = Recorder(tmp_path / "m.waylog", [link], watch=[broken])
    link.orders += [hello(), samples(0, 4)]
    until(lambda: recorder.status().defects)
    link.orders += [samples(4, 4)]
    until(lambda: one(recorder).samples == 8)
    status = recorder.close()
    assert "a watcher: ZeroDivisionError('watching')" in status.defects[0]
    assert read_raw_log([("m", (tmp_path / "m.waylog").read_bytes())]).stream(1).data.endswith(samples(4, 4))


def test_a_link_that_fails_as_none_should_is_a_defect_of_that_link_alone(tmp_path):
    bad, good = HandLink(), HandLink()
    bad.spelling = "bad:"
    bad.orders += [ValueError("no such thing")]
    recorder = Recorder(tmp_path / "m.waylog", [bad, good])
    good.orders += [hello(), samples(0, 4)]
    until(lambda: recorder.status().defects and recorder.status().wagons)
    links = {link.spelling: link for link in recorder.status().links}
    assert (links["bad:"].ended, links["hand:"].up) == (True, True)
    assert not recorder.ended
    recorder.close()


def test_a_link_at_its_end(tmp_path):
    link = HandLink()
    recorder = Recorder(tmp_path / "m.waylog", [link])
    link.orders += [hello(), LinkEndedError("that was all")]
    until(lambda: recorder.ended)
    assert recorder.close().links[0].why == "that was all"


def test_restarts_states_marks_and_garbage_of_a_wagon(hand):
    link, recorder, _, _ = hand
    state = State(DEVICE, 2, 10, 3910, 71, -61, 3, 0, 120)
    link.orders += [
        hello(),
        samples(0, 4),
        b"\x00\x05\x02garbage that is no frame\x00",
        hello(2),
        samples(0, 4, boot=2),
    ]
    link.orders += [
        encode(state),
        encode(Marked(DEVICE, 2, 1, 20, "bridge")),
        encode(Marked(DEVICE, 2, 1, 20, "bridge")),
    ]
    until(lambda: recorder.status().wagons and one(recorder).marks == 1)
    wagon = one(recorder)
    assert (wagon.boot, wagon.restarts, wagon.samples, wagon.damage) == (2, 1, 8, 1)
    assert (wagon.battery_mv, wagon.battery_pct, wagon.radio_dbm, wagon.missed, wagon.kept) == (3910, 71, -61, 3, 120)


def test_a_sketch_that_prints_lines_is_a_wagon_too(hand):
    link, recorder, _, _ = hand
    link.orders += [b"ready\nt_ms,bx_mT,bz_mT\n0,1.25,2.5\n5,1.3", b"0,2.6\n10,1.3\n"]
    until(lambda: recorder.status().wagons and one(recorder).samples == 2 and one(recorder).lost == 1)
    assert one(recorder).key == "text-1"


def test_presence_fades(hand, monkeypatch):
    from wayrule.live import listener

    link, recorder, _, _ = hand
    link.orders += [hello()]
    until(lambda: recorder.status().wagons)
    monkeypatch.setattr(listener, "LIVE_S", 0.05)
    time.sleep(0.1)
    assert one(recorder).presence == "quiet"
    monkeypatch.setattr(listener, "QUIET_S", 0.05)
    assert one(recorder).presence == "away"


def test_the_distance_shown_is_about_that_of_the_wheel(tmp_path):
    recorder = Recorder(tmp_path / "m.waylog", [SimLink("sim:", laps=1, speed=40.0)], wagons=[HO_VAN])
    until(lambda: recorder.ended, 60)
    (seen,) = recorder.close().wagons
    # one lap of 15 m: the caliper's 0.4 %, and what the first turn costs until the ellipse is known
    assert seen.distance_mm == pytest.approx(15_000, rel=0.05)
    assert seen.turns == pytest.approx(seen.distance_mm / (np.pi * 10.5))


def test_odometers_of_every_kind():
    from wayrule.live.odometer import Odometer

    def meter(name, counts, wagon, scale=1.0, bits=16):
        said = Hello(DEVICE, 1, 0, ID, "Van 7", "own", 200.0, (Column(name, bits, scale),))
        made = Odometer(said, wagon)
        seq = np.arange(len(counts))
        for part in np.array_split(seq, 3):
            made.take(Samples(DEVICE, 1, part, part * 5000, np.array(counts, dtype=np.int32)[part, None]))
            made.take(Samples(DEVICE, 1, part, part * 5000, np.array(counts, dtype=np.int32)[part, None]))
        return made.turns, made.distance_mm

    encoder = wagon_with(Wheel(diameter_mm=10.0, ticks_per_turn=20.0))
    over = [32_760, 32_767, -32_762, -32_752, -32_742]  # a 16-bit counter that runs over: 34 counts
    assert meter("ticks_count", over, encoder) == (pytest.approx(1.7), pytest.approx(1.7 * np.pi * 10))
    assert meter("ticks_count", over, None) == (None, None)
    assert meter("wheel_mm_s", [1000] * 201, encoder, scale=0.1) == (None, pytest.approx(100.0))  # 100 mm/s for 1 s
    assert meter("wheel_cm", [0, 5, 12, 11], encoder) == (None, pytest.approx(110.0))
    assert meter("gz_dps", [1, 2, 3], encoder) == (None, None)


def wagon_with(wheel):
    from dataclasses import replace

    return replace(HO_VAN, wheel=wheel, sensor=FieldSensor())


def test_threads_end(tmp_path):
    before = threading.active_count()
    recorder = Recorder(tmp_path / "m.waylog", [HandLink(), HandLink()])
    recorder.close()
    until(lambda: threading.active_count() <= before)
