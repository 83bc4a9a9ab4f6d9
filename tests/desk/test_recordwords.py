"""A recording in progress, in words: each trouble has its sentence."""

from dataclasses import replace
from pathlib import Path

from wayrule.desk.recordwords import health_words, status_content, status_sentences, wagon_table, way_words
from wayrule.live.status import LinkStatus, RecorderStatus, WagonStatus, WriterStatus

WRITER = WriterStatus("writing", "", (Path("m.waylog"),), 2_000_000, 0, 90, 0, 0.11, 0.03, 80_000_000)
WAGON = WagonStatus(
    "0badc0de", "Van 7", "a1", "own 1", 1, "udp:", "10.0.0.7:47870", "live", 3, 0, 199.6, 4000, 0, 0, 0, 0, 0, 0,
    None, None, None, None, None, 0,
)  # fmt: skip
STATUS = RecorderStatus(100.0, WRITER, (LinkStatus("udp:", True, 1, False, ""),), (WAGON,), (), ())


def sentences(**writer):
    lines = status_sentences(replace(STATUS, writer=replace(WRITER, **writer)))
    return [line.replace("\u00a0", " ") for line in lines]


def test_all_is_well():
    assert sentences() == [
        "m.waylog: 1 min 40 s, 2.00 MB written, 80.0 MB free (about 1 h 07 min); on the disk after 0.11 s at most."
    ]
    assert "free;" in sentences(free=10**12)[0], "room for months needs no telling"
    assert wagon_table(STATUS).rows == (
        ("Van 7", "udp: 10.0.0.7:47870", "live", "200 Hz", "4000", "0", "-", "good"),
    )  # fmt: skip
    assert status_content(STATUS)["wagons"][0]["name"] == "Van 7"


def test_what_the_disk_does_is_told():
    assert sentences(state="full", why="no room is left", waiting=1_200_000)[1] == (
        "NOT WRITING: no room is left. What was written is safe; what comes is kept in memory (1.20 MB). "
        "Make room, and it goes on."
    )
    assert sentences(state="failing", why="Input/output error", waiting=500)[1] == (
        "NOT WRITING: Input/output error. A new file is tried again and again; what comes is kept in memory (500 B)."
    )
    assert sentences(dropped=3_000)[1] == "3.00 kB came while memory was full, and are lost."
    assert sentences(state="ended", waiting=70_000)[1] == "70.0 kB could not be written."
    assert sentences(longest_s=0.9, slowest_s=0.8)[1].startswith("The disk is slow: one flush took 0.80 s")
    assert sentences(files=(Path("m.waylog"), Path("m.2.waylog")))[0].startswith("m.waylog and 1 more: ")


def test_links_marks_and_defects_are_told():
    links = (
        LinkStatus("tcp:van8", False, 0, False, "Connection refused"), LinkStatus("udp:", False, 0, False, ""),
        LinkStatus("sim:", False, 0, True, "the run is over"),
    )  # fmt: skip
    told = status_sentences(replace(STATUS, links=links, marks=("signal", "bridge"), defects=("listening: x",)))[1:]
    assert told == (
        "tcp:van8: Connection refused; tried again.",
        "udp:: nothing heard yet.",
        "sim: has ended: the run is over.",
        "Marks: signal, bridge.",
        "DEFECT (listening: x); the log goes on.",
    )


def test_how_a_wagon_fares():
    ill = replace(
        WAGON, battery_mv=3910, battery_pct=71, radio_dbm=-61, restarts=1, awaited=8, lost=4, missed=2, damage=3,
        distance_mm=12_340.0, samples=388,
    )  # fmt: skip
    assert health_words(ill) == (
        "cell 3.91 V (71 %), radio -61 dBm, restarted: 1 time, awaited: 8 samples, lost: 4 samples, "
        "not taken in time: 2 samples, garbled: 3 pieces"
    )
    assert wagon_table(replace(STATUS, wagons=(ill,))).rows[0][5:7] == ("3 %", "about 12.34 m")
    assert way_words(replace(WAGON, turns=31.4)) == "about 31 turns"
    assert wagon_table(replace(STATUS, wagons=())).empty == "No wagon was heard."
