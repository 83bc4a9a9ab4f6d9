"""From frames to recordings: loss, duplicates, disorder, restarts and other wagons change no sample."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.wires import DEVICE, ID, batch
from wayrule.errors import RecordingError
from wayrule.formats.recording import read_recording
from wayrule.formats.wire import (
    Column,
    Damage,
    Decoder,
    Gone,
    Hello,
    Ledger,
    Line,
    Marked,
    Samples,
    State,
    encode,
    gather,
    recording_of,
    text_recording,
)
from wayrule.units import DEG, G_MM_S2

SCALES = {"bx_mT": 0.002, "bz_mT": 0.002, "gz_dps": 2**-7, "ax_g": 2**-14, "ay_g": 2**-14, "az_g": 2**-14}

COLUMNS = tuple(Column(name, 16, scale) for name, scale in SCALES.items())


def hello(boot: int = 3, columns: tuple[Column, ...] = COLUMNS) -> Hello:
    return Hello(DEVICE, boot, 0, ID, "Inspection van 7", "own 1", 200.0, columns)


def rolling(n: int = 400, boot: int = 3) -> Samples:
    """A wagon that rolls on the level: a field that turns, 1 g upwards."""
    k = np.arange(n)
    turning = 12000 * np.column_stack([np.cos(k / 20), np.sin(k / 20)])
    rest = np.column_stack([np.full(n, 128), 3 + k % 2, -5 + k % 3, np.full(n, 16384)])
    return Samples(DEVICE, boot, k, 1_000_000 + 5000 * k, np.column_stack([np.round(turning), rest]).astype(np.int32))


def part(samples: Samples, at: np.ndarray) -> Samples:
    return Samples(samples.device, samples.boot, samples.seq[at], samples.t_us[at], samples.counts[at], samples.wide)


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_whatever_the_network_does_each_sample_is_there_once(data: st.DataObject) -> None:
    whole = batch(60)
    order = data.draw(st.lists(st.integers(0, 59), min_size=1, max_size=120))
    pieces = [part(whole, np.array([k])) for k in order]
    stream = b"".join(encode(p) for p in pieces)
    (trip,) = gather(Decoder().feed(stream)).trips
    came = sorted(set(order))
    assert trip.seq.tolist() == came
    assert np.array_equal(trip.counts, whole.counts[came])
    assert np.array_equal(trip.t_us, whole.t_us[came])
    assert trip.repeated == len(order) - len(came)
    assert sum(count for _, count in trip.missing) == came[-1] - came[0] + 1 - len(came)
    assert trip.clashing == 0


@given(st.lists(st.lists(st.integers(0, 80), max_size=30), max_size=12), st.integers(0, 80), st.integers(0, 30))
@settings(max_examples=150, deadline=None)
def test_the_ledger_is_a_set(batches: list[list[int]], gone_from: int, gone: int) -> None:
    ledger, seen, low = Ledger(), set(), None
    for numbers in batches:
        before = len(seen)
        if numbers and low is None:
            low = min(numbers)
        seen |= {k for k in numbers if low is not None and k >= low}
        assert ledger.note(np.array(numbers, dtype=np.int64)) == len(seen) - before
    if low is not None:
        holes = set(range(low, max(seen))) - seen
        assert {k for first, count in ledger.missing() for k in range(first, first + count)} == holes
        assert (ledger.end, ledger.awaited, ledger.new) == (max(seen) + 1, len(holes), len(seen))
        assert ledger.safe == (min(holes) if holes else ledger.end)
        assert ledger.asked(1) == [next(ledger.missing(), (ledger.end, 0))]
        assert ledger.repeated == sum(map(len, batches)) - len(seen)
        closed = holes & set(range(gone_from, gone_from + gone))
        assert ledger.give_up(Gone(DEVICE, 3, gone_from, gone)) == len(closed) == ledger.given_up
        assert ledger.awaited == len(holes - closed)


def test_an_earlier_boot_is_closed_once_nothing_is_kept_beyond() -> None:
    ledger = Ledger()
    ledger.note(np.arange(10, 20))
    ledger.give_up(Gone(DEVICE, 3, 25, 1000))  # what lies between is still on its way
    assert not ledger.closed
    ledger.note(np.arange(20, 25))
    ledger.give_up(Gone(DEVICE, 3, 25, 1000))
    assert ledger.closed
    assert (ledger.end, ledger.given_up) == (25, 0)


def test_the_ledger_is_bounded() -> None:
    ledger = Ledger()
    ledger.note(np.arange(0, 100_000, 2))
    assert len(list(ledger.missing())) < 4096
    assert ledger.given_up + ledger.awaited == 49_999
    assert Ledger().give_up(Gone(1, 1, 0, 10)) == 0
    assert (Ledger().safe, Ledger().end) == (0, 0)


def test_each_boot_and_wagon_is_a_trip_of_its_own() -> None:
    other = Samples(7, 3, np.arange(3), np.arange(3), np.zeros((3, 1), dtype=np.int32))
    mark = Marked(DEVICE, 3, 1, 1_200_000, "Home signal")
    heard = gather([Line("hi"), hello(), rolling(20), mark, other, Damage(3, "x"), hello(4), rolling(10, boot=4), mark])
    assert [(t.device, t.boot, len(t.seq), t.hello is None) for t in heard.trips] == [
        (DEVICE, 3, 20, False),
        (7, 3, 3, True),
        (DEVICE, 4, 10, False),
    ]
    assert heard.trips[0].marks == (mark,)
    assert (heard.lines, heard.damage) == (("hi",), (Damage(3, "x"),))


def test_other_readings_under_one_number_are_counted_and_not_taken() -> None:
    (trip,) = gather([batch(5), batch(5, seed=2), batch(5, columns=3)]).trips
    assert np.array_equal(trip.counts, batch(5).counts)
    assert (trip.clashing, trip.repeated) == (10, 0)


def test_a_trip_is_the_recording_that_text_would_have_been() -> None:
    samples = rolling()
    lines = ["t_s," + ",".join(c.name for c in COLUMNS)]
    for t_us, row in zip(samples.t_us.tolist(), samples.counts.tolist(), strict=True):
        lines.append(",".join([repr(t_us / 1e6), *(repr(k * c.scale) for k, c in zip(row, COLUMNS, strict=True))]))
    text = read_recording(text_recording(lines)[0], "monday")
    (trip,) = gather(Decoder().feed(encode(hello()) + encode(samples))).trips
    wire = recording_of(trip, "monday", sha256="ab")
    assert np.array_equal(wire.t_s, text.t_s)
    for name in ("field_mt", "gyro_rad_s", "acc_mm_s2"):
        assert np.array_equal(getattr(wire, name), getattr(text, name), equal_nan=True)
    assert wire.gyro_rad_s is not None
    assert wire.acc_mm_s2 is not None
    assert wire.gyro_rad_s[0, 2] == 128 / 128 * DEG  # 2**-7 deg/s a count
    assert wire.acc_mm_s2[0, 2] == G_MM_S2
    assert (wire.sha256, wire.problems) == ("ab", ())


def test_what_never_came_is_told_by_sample() -> None:
    at = np.r_[0:100, 140:300, 301:400]
    states = [State(DEVICE, 3, t, mv, None, None, 0, 0, 0) for t, mv in ((1_000_000, 4000), (2_995_000, 3900))]
    mark = Marked(DEVICE, 3, 1, 1_500_000, "Home signal")
    (trip,) = gather([hello(), part(rolling(), at), *states, mark]).trips
    recording = recording_of(trip, "monday")
    assert [p.text for p in recording.problems] == [
        "41 samples never came, in 2 holes of up to 40 (from sample 100 on): left open."
    ]
    assert [(m.t_s, m.name) for m in recording.marks] == [(1.5, "Home signal")]
    assert recording.battery_v is not None
    assert recording.battery_v[[0, -1]].tolist() == [4.0, 3.9]


def test_rows_that_are_wrong_are_placed_by_their_sample() -> None:
    samples = rolling()
    counts = samples.counts.copy()
    counts[50] = 0
    dead = Samples(DEVICE, 3, samples.seq + 1000, samples.t_us, counts)
    (trip,) = gather([hello(), dead]).trips
    assert "sample 1050, at 1.250 s" in recording_of(trip, "monday").problems[0].text


@pytest.mark.parametrize("bits", [16, 32])
def test_an_encoder_s_counter_runs_over_where_its_column_does(bits: int) -> None:
    k = np.arange(300)
    counts = ((k * 400 + 2**15) % 2**16 - 2**15)[:, None] if bits == 16 else (k * 400)[:, None]
    samples = Samples(DEVICE, 3, k, 5000 * k, counts.astype(np.int32), wide=bits == 32)
    (trip,) = gather([hello(columns=(Column("ticks_count", bits, 1.0),)), samples]).trips
    recording = recording_of(trip, "monday")
    assert recording.ticks_count is not None
    assert np.array_equal(recording.ticks_count, k * 400.0)


def test_without_a_hello_counts_mean_nothing() -> None:
    (trip,) = gather([rolling()]).trips
    with pytest.raises(RecordingError, match=r"400 samples of device .*, boot 3, without one") as refused:
        recording_of(trip, "monday")
    assert "says hello every two seconds" in str(refused.value)


def test_garbled_lines_are_dropped_where_they_carry_a_check() -> None:
    def checked(line: str) -> str:
        check = 0
        for byte in line.encode():
            check ^= byte
        return f"{line}*{check:02X}"

    lines = ["boot 3", *map(checked, ("t_ms,bx_mT", "0,1.25", "5,1.31", "10,1.40", "t_ms,bx_mT"))]
    lines[3] = lines[3].replace("1.31", "1.3")
    assert text_recording([*lines, "15,1.5", "# low"]) == (b"t_ms,bx_mT\n0,1.25\n10,1.40\n", 2)
