"""The decoder: what was sent comes out, however it is cut, and nothing that was not sent."""

import zlib

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.wires import DEVICE, ID, batch
from wayrule.formats.wire import (
    Column,
    Damage,
    Decoder,
    Frame,
    Gone,
    Hello,
    Line,
    Marked,
    Samples,
    State,
    Unknown,
    Want,
    encode,
)
from wayrule.formats.wire.encoder import framed
from wayrule.formats.wire.frames import MAX_LINE, MAX_PACKET
from wayrule.formats.wire.hello import device_of

U32 = st.integers(0, 2**32 - 1)
CLOCK_US = st.integers(0, 2**32 * 10**6 - 1)
PRINTED = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=2, max_size=20)


HELLO = Hello(
    DEVICE,
    3,
    12_500_000,
    ID,
    "Inspection van 7",
    "own 1.0",
    200.0,
    (Column("bx_mT", 16, 0.0005), Column("gz_dps", 16, 1 / 131)),
)

ODD_FRAMES = st.one_of(
    st.builds(Marked, U32, U32, U32, CLOCK_US, PRINTED.filter(lambda s: len(s.encode()) <= 64)),
    st.builds(
        State,
        U32, U32, CLOCK_US,
        st.none() | st.integers(1, 65535), st.none() | st.integers(0, 254), st.none() | st.integers(-128, -1),
        U32, U32, U32,
    ),
    st.builds(Want, U32, U32, U32, U32, st.none() | U32),
    st.builds(Gone, U32, U32, U32, U32),
    st.builds(Line, PRINTED.filter(lambda s: s.isprintable())),
    st.just(HELLO),
    st.builds(batch, st.integers(1, 30), first=st.integers(0, 2**31), wide=st.integers(0, 9)),
)  # fmt: skip


def all_of(data: bytes) -> list[Frame]:
    """Everything in these bytes, taken at once."""
    decoder = Decoder()
    return [*decoder.feed(data), *decoder.end()]


def joined(frames: list[Frame]) -> list[object]:
    """Frames with neighbouring batches of samples put together, as plain things that compare."""
    out: list[object] = []
    for frame in frames:
        if not isinstance(frame, Samples):
            out.append(frame)
            continue
        rows = np.column_stack([frame.seq, frame.t_us, frame.counts]).tolist()
        key = (frame.device, frame.boot, frame.wide)
        if out and isinstance(out[-1], tuple) and out[-1][0] == key:
            out[-1] = (key, out[-1][1] + rows)
        else:
            out.append((key, rows))
    return out


@pytest.mark.parametrize(
    ("packet", "stuffed"),
    [
        ("00", "01 01"),
        ("00 00", "01 01 01"),
        ("00 11 00", "01 02 11 01"),
        ("11 22 00 33", "03 11 22 02 33"),
        ("11 22 33 44", "05 11 22 33 44"),
        ("11 00 00 00", "02 11 01 01 01"),
        (" ".join(f"{k:02x}" for k in range(1, 255)), "ff " + " ".join(f"{k:02x}" for k in range(1, 255))),
    ],
)
def test_stuffing_is_that_of_the_paper(packet: str, stuffed: str) -> None:
    """Cheshire and Baker 1999 (IEEE/ACM Trans. Networking 7); the usual examples, from memory."""
    assert cobs.encode(bytes.fromhex(packet)).hex(" ") == stuffed


def test_the_checksum_is_that_of_the_standards() -> None:
    """Check value of CRC-32 over "123456789": ITU-T V.42 and IEEE 802.3, in every catalogue of checksums."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert zlib.crc32(b"123456789" + (0xCBF43926).to_bytes(4, "little")) == 0xDEBB20E3 ^ 0xFFFFFFFF  # its residue
    assert framed(b"\x08" + b"123456789")[-5:-1] == zlib.crc32(b"\x08123456789").to_bytes(4, "little")


@given(st.lists(ODD_FRAMES, max_size=6), st.lists(st.integers(1, 400), max_size=20), st.integers(1, 40))
@settings(max_examples=60, deadline=None)
def test_what_was_sent_comes_out_however_it_is_cut(frames: list[Frame], cuts: list[int], rows: int) -> None:
    data = b"".join(
        encode(f, rows if isinstance(f, Samples) and f.counts.shape[1] * 4 * rows < 900 else 4) for f in frames
    )
    decoder, out, at = Decoder(), [], 0
    for cut in cuts:
        out += decoder.feed(data[at : at + cut])
        at += cut
    out += [*decoder.feed(data[at:]), *decoder.end()]
    assert joined(out) == joined(frames)


@given(st.binary(max_size=3000), st.lists(st.integers(1, 700), max_size=12))
@settings(max_examples=150, deadline=None)
def test_any_bytes_cut_anyhow_mean_the_same(data: bytes, cuts: list[int]) -> None:
    decoder, out, at = Decoder(), [], 0
    for cut in cuts:
        out += decoder.feed(data[at : at + cut])
        at += cut
        assert decoder.held <= MAX_PACKET + MAX_LINE
    out += [*decoder.feed(data[at:]), *decoder.end()]
    assert joined(out) == joined(all_of(data))
    assert not any(isinstance(f, Samples) for f in out)


@given(st.binary(max_size=300).filter(lambda b: 0 not in b), st.integers(0, 5))
@settings(max_examples=60, deadline=None)
def test_the_frame_after_noise_is_found(noise: bytes, at: int) -> None:
    frames = [batch(4, first=4 * k) for k in range(6)]
    pieces = [encode(f) for f in frames]
    pieces.insert(at, noise)
    got = [f for f in all_of(b"".join(pieces)) if isinstance(f, Samples)]
    assert sum(len(f) for f in got) == 24


@pytest.mark.parametrize("where", [*range(0, 111, 7), 110])
def test_a_flipped_bit_loses_its_frame_and_no_other(where: int) -> None:
    one = encode(batch(4))
    data = bytearray(one + encode(batch(4, first=4)) + encode(batch(4, first=8)))
    data[len(one) + where] ^= 0x10
    seqs = np.concatenate([f.seq for f in all_of(bytes(data)) if isinstance(f, Samples)])
    assert seqs.tolist() == [0, 1, 2, 3, 8, 9, 10, 11]


def test_frames_of_unequal_length_stay_in_order() -> None:
    data = b"".join(encode(batch(n, first=f), rows=n) for n, f in ((4, 0), (3, 4), (4, 7), (1, 11)))
    (samples,) = all_of(data)
    assert isinstance(samples, Samples)
    assert samples.seq.tolist() == list(range(12))


def test_two_wagons_and_two_boots_do_not_mix() -> None:
    other = Samples(7, 1, np.arange(2), np.array([10, 20]), np.zeros((2, 3), dtype=np.int32))
    found = [f for f in all_of(encode(batch(2)) + encode(other) + encode(batch(2, boot=4))) if isinstance(f, Samples)]
    assert [(f.device, f.boot, len(f)) for f in found] == [(DEVICE, 3, 2), (7, 1, 2), (DEVICE, 4, 2)]


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"\x02\x09\x00", "a packet of samples with 3 bytes, too short for its head"),
        (bytes([2, 9, 0, 0]) + bytes(20), "a packet of samples with 0 rows of 9 columns"),
        (bytes([2, 9, 0, 2]) + bytes(20 + 39), "a packet of samples with 63 bytes, 64 by its head"),
        (b"\x05\0\0\0", "a packet of kind 5 with 4 bytes, too short for it"),
        (bytes([1, 2, 0, 0]) + bytes(16), "a hello of wire version 2.0; this program speaks 1"),
        (bytes([1, 1, 0, 0]) + bytes(16) + b"\xff\xfe", "a hello whose text is not UTF-8"),
    ],
)
def test_a_packet_that_cannot_be_says_why(body: bytes, why: str) -> None:
    assert all_of(framed(body)) == [Damage(len(body), why)]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("id", "expected key=value, came 'id'"),
        ("id=a1\nid=a2", "expected id once, came it twice"),
        ("name=x", "expected id as 1 to 16 bytes in hexadecimal, came ''"),
        ("id=a1", f"expected device {device_of('a1'):08x} for id a1, came {DEVICE:08x}"),
        (f"id={ID}", "expected 1 to 32 columns, came 0"),
        (f"id={ID}\ncolumn=bx_mT 16", "expected column=NAME BITS SCALE [OFFSET], came 'bx_mT 16'"),
        (f"id={ID}\ncolumn=bx_mT 12 1", "expected 16 or 32 bits for column bx_mT, came '12'"),
        (f"id={ID}\ncolumn=b 16 1", "expected a column such as bx_mT, gz_dps, ax_g, ticks_count or temp_C, came 'b'"),
        (f"id={ID}\ncolumn=bx_mT 16 0", "expected a scale other than 0 for column bx_mT, came 0"),
        (f"id={ID}\ncolumn=bx_mT 16 inf", "expected a number for column bx_mT, came 'inf'"),
        (f"id={ID}\ncolumn=bx_mT 32 1\ncolumn=by_mT 16 1", "expected the 16-bit columns before the 32-bit ones"),
        (f"id={ID}\ncolumn=bx_mT 16 1\ncolumn=Bx_mt 16 1", "expected each column once, came bx_mt twice"),
        (f"id={ID}\ncolumn=bx_mT 16 1", "expected a number for rate_hz, came ''"),
        (f"id={ID}\ncolumn=bx_mT 16 1\nrate_hz=0", "expected rate_hz between 0 and 100000, came 0"),
    ],
)
def test_a_hello_that_cannot_be_says_why(text: str, why: str) -> None:
    head = bytes([1, 1, 0, 0]) + DEVICE.to_bytes(4, "little") + bytes(12)
    (found,) = all_of(framed(head + text.encode()))
    assert isinstance(found, Damage)
    assert f"a hello that cannot be understood: {why}" in found.why


def test_what_a_later_version_adds_is_passed_over() -> None:
    hello = encode(HELLO)
    body = cobs.decode(hello[1:-1])[:-4]
    later = framed(body[:2] + b"\x07" + body[3:] + b"\ncolour=green")
    longer = framed(cobs.decode(encode(Want(1, 2, 3, 4, 1))[1:-1])[:-4] + b"more")
    out = all_of(later + longer + framed(b"\x0e1234"))
    assert isinstance(out[0], Hello)
    assert (out[0].minor, out[0].columns) == (7, HELLO.columns)
    assert out[1:] == [Want(1, 2, 3, 4, 1), Unknown(14, 5)]


def test_text_comes_line_by_line_and_frames_after_it_are_found() -> None:
    decoder = Decoder()
    assert decoder.feed(b"t_ms,bx_mT\r\n0,1.") == [Line("t_ms,bx_mT")]
    assert decoder.feed(b"5\n") == [Line("0,1.5")]
    assert decoder.feed(b"Traceback\n" + encode(Want(1, 1, 1, 1))) == [Line("Traceback"), Want(1, 1, 1, 1)]
    assert decoder.feed(b"12 \xb0C\n\x1b[0m\n\n") == [
        Damage(6, "neither a frame nor a line of text"),
        Damage(5, "neither a frame nor a line of text"),
    ]
    assert [*decoder.feed(b"last"), *decoder.end()] == [Line("last")]


@pytest.mark.parametrize("byte", [b"a", b"\x02", b"\xff"])
def test_what_never_ends_is_not_kept(byte: bytes) -> None:
    decoder = Decoder()
    for _ in range(50):
        assert decoder.feed(byte * 1000) == []
        assert decoder.held <= MAX_PACKET + MAX_LINE
    (lost,) = [f for f in decoder.feed(b"\0") if isinstance(f, Damage)]
    assert lost.size >= 50_000
    assert decoder.feed(encode(Want(1, 1, 1, 1))) == [Want(1, 1, 1, 1)]


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        (Want(-1, 0, 0, 0), "Want: argument out of range"),
        (Damage(3, "x"), "Damage has no packet"),
        (Samples(1, 1, np.arange(1), np.arange(1), np.array([[40000]], dtype=np.int32)), "16 bits cannot hold"),
    ],
)
def test_what_has_no_place_on_the_wire_is_refused(frame: Frame, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        encode(frame)


def test_frames_hold_no_more_than_fits() -> None:
    with pytest.raises(ValueError, match="expected 1 to 49 rows in a frame, came 50"):
        encode(batch(60), rows=50)
    with pytest.raises(ValueError, match="a packet of 2004 bytes, longer than 1024"):
        framed(bytes(2000))
    (samples,) = all_of(encode(batch(60), rows=49))
    assert isinstance(samples, Samples)
    assert samples.same(batch(60))
    assert not samples.same(batch(60, seed=2))


def test_a_pause_or_a_step_in_the_numbers_begins_a_frame() -> None:
    seq, t_us = np.array([0, 1, 5, 6, 7]), np.array([0, 70_000, 75_000, 74_000, 80_000])
    one = Samples(1, 1, seq, t_us, np.zeros((5, 1), dtype=np.int32))
    data = encode(one, rows=5)
    assert data.count(b"\0") == 8
    (back,) = all_of(data)
    assert one.same(back)
