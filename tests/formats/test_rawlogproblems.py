"""What a raw log does not hold is said exactly, in sentences."""

import numpy as np
import pytest

from wayrule.formats.rawlog import DATA, HEAD, NOTE, Block, pack
from wayrule.formats.rawlognotes import note_bytes
from wayrule.formats.rawlogproblems import link_breaks, log_problems
from wayrule.formats.rawlogreader import read_raw_log

SESSION = b"session1"


def block(sequence, payload=b"abcd", kind=DATA, source=1):
    return pack(Block(kind, source, SESSION, sequence, 10**9 + sequence * 10**8, payload))


def note(sequence, what, source=0, **said):
    return block(sequence, note_bytes(what, said), HEAD if what == "head" else NOTE, source)


def texts(*parts, name="m.waylog"):
    return [p.text for p in log_problems(read_raw_log([(name, b"".join(parts))]))]


def test_a_log_that_is_whole_has_no_problem():
    assert texts(note(0, "head", segment=1, why="began"), block(1), note(2, "end", why="stopped")) == []


PARTS = [
    note(0, "head", segment=1, why="began"), block(1), block(3)[:20], block(5),
    note(6, "head", segment=2, why="Input/output error"),
    note(7, "dropped", bytes=1200, chunks=3, why="memory was full"),
    note(8, "slept", seconds=61.25), block(9), block(9, b"ABCD"), block(10, b"?", kind=9),
    pack(Block(DATA, 1, b"session2", 1, 0, b"")), note(13, "mark", name="x"),
]  # fmt: skip


def test_each_thing_has_its_sentence():
    torn, end = len(PARTS[0] + PARTS[1]), sum(map(len, PARTS))
    lost, damage, tail, *rest = texts(*PARTS, block(14)[:30])
    assert lost == (
        "5 blocks of the log are missing (2 to 4, 11 to 12, between 0.100 and 1.300 s): their bytes are lost."
    )
    assert damage == f"20 bytes of the log are no whole block (m.waylog from byte {torn} to {torn + 19}): passed over."
    assert tail == (
        f"30 bytes of the log at the end are no whole block (m.waylog from byte {end} to {end + 29}): passed over."
    )
    assert rest == [
        "1200 bytes came and could not be kept: memory was full (told at 0.700 s): lost.",
        "a new file began: Input/output error (segment 2, at 0.600 s): "
        "what was not known to be on the disk was written again.",
        "the recording machine slept, was held up or had its clock set, for 61.25 s (until 0.800 s): "
        "nothing came meanwhile.",
        "1 block of the log came twice and differ (under one number): the first was taken.",
        "1 block of another recording (in this log's files): left out.",
        "1 block of a kind that this version does not know (in the log): left out.",
        "The log was not ended (its last block is of 1.300 s): what came up to 0.2 s before the end may be missing.",
    ]


def test_many_places_are_counted():
    parts = [block(k) for k in range(0, 12, 2)]
    assert texts(*parts)[0] == (
        "5 blocks of the log are missing (1, 3, 5 and 2 more, between 0.000 and 1.000 s): their bytes are lost."
    )


def test_a_log_without_its_beginning():
    assert (
        texts(block(5))[0]
        == "5 blocks of the log are missing (0 to 4, between 0.000 and 0.000 s): their bytes are lost."
    )


def test_when_a_link_was_down():
    log = read_raw_log(
        [("m", note(0, "link", 1, state="up") + note(1, "link", 1, state="down", why="unplugged")
          + note(4, "link", 1, state="up") + note(5, "link", 2, state="down"))]
    )  # fmt: skip
    assert link_breaks(log)[0] == pytest.approx((1, 1.1, 1.4))
    assert link_breaks(log)[1][:2] == pytest.approx((2, 1.5))
    assert np.isnan(link_breaks(log)[1][2])
