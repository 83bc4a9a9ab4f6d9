"""The raw log: its bytes as they are written down, and reading back whatever happened to them."""

import json
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.errors import RecordingError
from wayrule.formats.rawlog import (
    DATA,
    HEAD,
    MAX_PAYLOAD,
    NOTE,
    OVERHEAD,
    Block,
    is_raw_log,
    pack,
    segment_name,
    segment_number,
)
from wayrule.formats.rawlognotes import LONGEST_TEXT, note_bytes, read_note
from wayrule.formats.rawlogreader import read_raw_log, scan

SESSION = b"session1"


def data(sequence, payload=b"abcdefgh", source=1, session=SESSION):
    return pack(Block(DATA, source, session, sequence, 1_000_000 * sequence, payload))


def note(sequence, what, source=0, **said):
    return pack(Block(NOTE, source, SESSION, sequence, 1_000_000 * sequence, note_bytes(what, said)))


def read(*parts):
    return read_raw_log([("monday.waylog", b"".join(parts))])


def test_a_block_byte_by_byte():
    # by hand from the table in formats/rawlog.py; the checksums by their definition, bit by bit
    made = pack(Block(DATA, 2, bytes(range(8)), 5, 7, b"123456789"))
    header = "8b574c0a 01 02 0200 09000000 0001020304050607 0500000000000000 0700000000000000"
    assert made[:36] == bytes.fromhex(header)
    assert made[36:40] == bitwise_crc32(made[:36]).to_bytes(4, "little")
    assert made[40:49] == b"123456789"
    assert made[49:] == bitwise_crc32(made[:36] + made[40:49]).to_bytes(4, "little")
    # check value of CRC-32 (ITU-T V.42, IEEE 802.3) for the nine digits; in every catalogue of CRCs
    assert bitwise_crc32(b"123456789") == 0xCBF43926 == zlib.crc32(b"123456789")


def bitwise_crc32(octets):
    """ITU-T V.42, clause 8.1.1.6.2: generator 04C11DB7, lowest bit first, preset to ones, result inverted."""
    rest = 0xFFFFFFFF
    for octet in octets:
        rest ^= octet
        for _ in range(8):
            rest = rest >> 1 ^ (0xEDB88320 if rest & 1 else 0)
    return rest ^ 0xFFFFFFFF


def test_what_was_written_is_read():
    log = read(
        note(0, "source", 1, link="udp:5005", peer="192.168.4.7:40000"),
        data(1),
        data(2, b"", source=9),
        data(3, b"xyz"),
        note(4, "mark", name="Vale bridge"),
        note(5, "end", why="stopped"),
    )
    assert (log.stream(1).data, log.stream(1).ends.tolist()) == (b"abcdefghxyz", [8, 11])
    assert log.stream(1).t_ns.tolist() == [1_000_000, 3_000_000]
    assert [(s.source, s.link, s.peer) for s in log.senders()] == [(1, "udp:5005", "192.168.4.7:40000"), (9, "", "")]
    assert [(n.what, n.words.get("name")) for n in log.notes if n.what == "mark"] == [("mark", "Vale bridge")]
    assert (log.blocks, log.missing, log.damage, log.ended) == (6, (), (), True)


def test_a_torn_end_is_told_and_all_before_it_is_there():
    log = read(data(0), data(1), data(2)[:30])
    assert (log.sequence.tolist(), log.missing, log.ended) == ([0, 1], (), False)
    (torn,) = log.damage
    assert (torn.first, torn.last, torn.at_end) == (2 * (OVERHEAD + 8), 2 * (OVERHEAD + 8) + 30, True)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_single_flipped_bit_costs_one_block_and_is_told(draw):
    parts = [data(k, bytes([k]) * (3 * k)) for k in range(12)]
    whole = bytearray(b"".join(parts))
    at = draw.draw(st.integers(0, 8 * len(whole) - 1))
    whole[at // 8] ^= 1 << at % 8
    ends = np.cumsum([len(p) for p in parts])
    hit = int(np.searchsorted(ends, at // 8, side="right"))
    log = read(bytes(whole))
    assert log.sequence.tolist() == [k for k in range(12) if k != hit]
    assert all(payload == bytes([k]) * (3 * k) for k, payload in zip(log.sequence, log.payloads, strict=True))
    assert log.missing == (((hit, hit),) if hit < 11 else ())
    assert [(d.first, d.last) for d in log.damage] == [(int(ends[hit]) - len(parts[hit]), int(ends[hit]))]


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_pieces_cut_out_put_in_and_doubled_never_make_a_wrong_block(draw):
    parts = [data(k, bytes([k]) * (k % 7)) for k in range(20)]
    whole = b"".join(parts)
    a, b = sorted(draw.draw(st.tuples(st.integers(0, len(whole)), st.integers(0, len(whole)))))
    junk = draw.draw(st.binary(max_size=200))
    kind = draw.draw(st.sampled_from(["cut", "insert", "zero", "double"]))
    changed = {
        "cut": whole[:a] + whole[b:],
        "insert": whole[:a] + junk + whole[a:],
        "zero": whole[:a] + bytes(b - a) + whole[b:],
        "double": whole[:b] + whole[a:],
    }[kind]
    if not any(p in changed for p in parts):
        return
    log = read(changed)
    assert set(zip(log.sequence.tolist(), log.payloads, strict=True)) == {
        (k, bytes([k]) * (k % 7)) for k, p in enumerate(parts) if p in changed
    }
    gone = {k for first, last in log.missing for k in range(first, last + 1)}
    assert gone == set(range(int(log.sequence[-1]) + 1)) - set(log.sequence.tolist())


@given(st.binary(max_size=3000))
@settings(max_examples=80, deadline=None)
def test_anything_at_all_is_scanned_to_its_end(junk):
    found = scan(junk + data(3) + junk)
    assert [row[3] for row in found.rows] == [3]
    assert sum(d.last - d.first for d in found.damage) == 2 * len(junk)


def test_a_length_that_lies_leads_nowhere():
    # a header that is whole in itself and claims more than the file, or the longest payload, holds
    header = bytearray(data(1)[:36])
    header[8:12] = (60_000).to_bytes(4, "little")
    liar = bytes(header) + zlib.crc32(bytes(header)).to_bytes(4, "little")
    assert read(data(0), liar, data(2)).sequence.tolist() == [0, 2]
    header[8:12] = (0xFFFFFFFF).to_bytes(4, "little")
    liar = bytes(header) + zlib.crc32(bytes(header)).to_bytes(4, "little")
    assert read(data(0), liar, data(2)).missing == ((1, 1),)


def test_a_payload_under_the_header_of_another_block_is_not_taken():
    a, b = data(1, b"aaaaaaaa"), data(2, b"bbbbbbbb")
    assert read(data(0), a[:40] + b[40:], data(3)).sequence.tolist() == [0, 3]


def test_the_longest_payload_and_one_more():
    assert read(data(0, bytes(MAX_PAYLOAD))).sequence.tolist() == [0]
    with pytest.raises(ValueError, match="a payload of 65537"):
        data(0, bytes(MAX_PAYLOAD + 1))


def test_a_recording_in_several_files_is_one_whatever_their_order():
    first, second = data(0) + data(1) + data(2)[:50], data(4) + data(2) + data(3)
    log = read_raw_log([("m.2.waylog", second), ("m.waylog", first)])
    assert (log.sequence.tolist(), log.missing, log.again, log.unlike) == ([0, 1, 2, 3, 4], (), 0, 0)
    log = read_raw_log([("m.waylog", first + data(2)), ("m.2.waylog", second + data(2))])
    assert (log.sequence.tolist(), log.again) == ([0, 1, 2, 3, 4], 2)


def test_twice_under_one_number_and_unlike_is_told():
    assert read(data(0), data(1), data(1, b"ABCDEFGH")).unlike == 1


def test_blocks_of_another_recording_are_left_out():
    # what stood on the disk before, or a log that was itself sent over a link
    other = b"".join(data(k, b"otherwise", session=b"session2") for k in range(3))
    log = read(data(0), data(1), data(2, other)[:100], other, data(3), data(4))
    assert (log.sequence.tolist(), log.foreign, log.missing) == ([0, 1, 3, 4], 4, ((2, 2),)), (
        "one whole in the torn one"
    )


def test_not_one_whole_block_is_one_line():
    with pytest.raises(RecordingError, match="at least one whole block of a raw log, came 20 bytes without one"):
        read(data(0)[:20])


def test_what_a_raw_log_is():
    assert is_raw_log(data(0))
    assert is_raw_log(b"\0" * 5000 + data(0)), "its start is damaged"
    assert not is_raw_log(b"t_s,gz_dps\n0,1\n")
    assert not is_raw_log(b"text with \x8bWL\n in it" * 9)
    assert not is_raw_log(b"")


def test_names_of_segments():
    assert [segment_name("a.b.waylog", k) for k in (1, 2, 30)] == ["a.b.waylog", "a.b.2.waylog", "a.b.30.waylog"]
    names = [
        "a.waylog",
        "a.2.waylog",
        "a.02.waylog",
        "a.1.waylog",
        "a.x.waylog",
        "ab.2.waylog",
        "a.2.waylog2",
        "a.²2.waylog",
    ]
    assert [segment_number(name, "a.waylog") for name in names] == [1, 2, None, None, None, None, None, None]


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"[]",
        b"{}",
        b'{"what":5}',
        b'{"what":"nonsense"}',
        b"\xff",
        b"[" * 60_000,
        b'{"what":"mark","a":' + b"9" * 9000,
    ],
)
def test_a_note_that_is_none_is_counted_not_believed(payload):
    assert read_note(payload, 0, 0, 0) is None
    log = read(data(0), pack(Block(NOTE, 0, SESSION, 1, 0, payload)), pack(Block(77, 0, SESSION, 2, 0, b"")))
    assert (log.unknown, log.notes) == (2, ())


def test_numbers_of_a_note_are_numbers():
    payload = json.dumps({"what": "time", "wall_s": 1e300, "bytes": True, "a": float("nan"), "seconds": 5}).encode()
    found = read_note(payload, 0, 0, 0)
    assert found is not None
    assert found.numbers == {"seconds": 5.0}
    with pytest.raises(ValueError, match="expected a note that has a name"):
        note_bytes("nonsense", {})
    assert json.loads(note_bytes("mark", {"name": "x" * 900}))["name"] == "x" * LONGEST_TEXT


def test_only_an_end_that_is_the_last_block_ends():
    assert not read(note(0, "end", why="stopped"), data(1)).ended
    assert read(data(0), note(1, "end", why="stopped")).ended
    assert not read(pack(Block(HEAD, 0, SESSION, 0, 0, note_bytes("head", {"segment": 1})))).ended
