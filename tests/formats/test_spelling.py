"""Every spelling of a stated fact, and the one line for each way of getting it wrong."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.refusals import value_or_one_line
from wayrule.errors import UsageError
from wayrule.formats.spelling import facts_from_words, parse_pair, parse_run, parse_stretch, parse_tape, run_names
from wayrule.model import Stretch, Tape


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: parse_run("m.csv@lap=4"), "m.csv@lap=4: expected laps after the @ of a run, came 'lap'"),
        (lambda: parse_run("m.csv@laps=four"), "expected a whole number of laps, 1 or more, came 'four'"),
        (lambda: parse_run("m.csv@laps=0"), "came '0'; write m.csv@laps=4"),
        (lambda: parse_tape("lap:9012"), "--tape lap:9012: expected three parts WHAT:MM:SD"),
        (lambda: parse_tape("lap:9012,5:5"), "expected a taped length as a number of mm (point for the decimals)"),
        (lambda: parse_tape("lap:9012:good"), "expected its standard deviation as a number of mm"),
        (lambda: parse_tape("lap:9012:0"), "above 0 mm, came 9012 and 0; say how well the tape was read"),
        (lambda: parse_tape("loop:9012:5"), "expected lap, stops or MARK..MARK before the first colon, came 'loop'"),
        (lambda: parse_stretch("1200"), "--level 1200: expected two parts FROM:TO"),
        (lambda: parse_stretch("a:b", "--straight"), "--straight a:b: expected a chainage as a number of mm"),
        (lambda: parse_stretch("nan:3"), "expected a chainage as a number of mm"),
        (lambda: parse_stretch("1800:1200"), "expected FROM below TO, came 1800 and 1200; on a closed line"),
        (lambda: facts_from_words(["a.csv"], closed_laps=0), "--closed-laps: expected a whole number of laps"),
        (lambda: facts_from_words(["a.csv", "b.csv"], closed_laps=4), "came 2 runs; write the laps behind each run"),
        (lambda: facts_from_words(["a.csv@laps=3"], closed_laps=4), "came @laps=3 and --closed-laps 4; leave one"),
        (lambda: facts_from_words(["mon.csv"], turned=["man.csv"]), "came 'man.csv'; did you mean mon.csv?"),
        (
            lambda: facts_from_words(["a.csv@laps=3"], open_line=True),
            "--open: expected an open line, or laps of a closed",
        ),
        (
            lambda: facts_from_words(["a.csv"], turned=["a.csv"], not_turned=["a"]),
            "a: expected a run that is turned or is not, came --turned and --not-turned; leave one of them off",
        ),
        (lambda: facts_from_words(["a.csv"], not_turned=["b.csv"]), "--not-turned: expected one of the runs given"),
        (lambda: facts_from_words(["a.csv"], as_mounted=["b.csv"]), "--as-mounted: expected one of the runs given"),
        (lambda: facts_from_words(["a.csv"], start_level=0.0), "--start-level: expected a number of per mille above 0"),
        (lambda: parse_pair("1200"), "--between 1200: expected two places A:B"),
        (lambda: parse_pair("a:b:c"), "expected two places A:B, came 'a:b:c'"),
        (lambda: parse_pair("5: 5"), "expected two different places"),
        (lambda: parse_pair("inf:5"), "expected a chainage in mm or the name of a mark, came 'inf'"),
        (lambda: facts_from_words([], turned=["man.csv"]), "give the runs first"),
    ],
)
def test_each_wrong_spelling_is_one_line(call, words):
    with pytest.raises(UsageError) as caught:
        call()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_right_spellings():
    assert parse_run(r"C:\runs\m.csv@laps=12") == (r"C:\runs\m.csv", 12)
    assert parse_tape("Stops:1500.25:1") == Tape("stops", 1500.25, 1.0)
    assert parse_tape("km 1:2 .. box:700:2") == Tape("km 1:2..box", 700.0, 2.0)
    assert parse_stretch("-5:1e3") == Stretch(-5.0, 1000.0)


def test_runs_of_one_name_in_two_folders_stay_apart():
    assert run_names(["x/a/r.csv", "y/a/r.csv", "r.csv"]) == ("x-a-r", "y-a-r", "r")
    assert run_names(["r.csv", "r.csv"]) == ("r", "r-2")


def test_what_overrules_a_choice_reaches_the_facts():
    _, facts = facts_from_words(
        ["a.csv", "b.csv"], open_line=True, not_turned=["b.csv"], as_mounted=["a"], start_level=5.0
    )
    assert facts.open
    assert (facts.not_turned, facts.as_mounted) == (frozenset({"b"}), frozenset({"a"}))
    assert facts.start_level_sd == pytest.approx(0.005)


def test_facts_are_keyed_by_run_name():
    paths, facts = facts_from_words(
        ["d/mon.csv"], closed_laps=4, turned=["d/mon.csv"], tapes=["lap:9012:5"], level=["0:10"], straight=["5:9"]
    )
    assert paths == {"mon": "d/mon.csv"}
    assert dict(facts.laps) == {"mon": 4}
    assert facts.turned == {"mon"}
    assert facts.tapes == (Tape("lap", 9012.0, 5.0),)
    assert (facts.level, facts.straight) == ((Stretch(0.0, 10.0),), (Stretch(5.0, 9.0),))


@given(st.text(max_size=30), st.sampled_from([parse_run, parse_tape, parse_stretch]))
def test_any_text_gives_a_value_or_one_line(text, parse):
    value = value_or_one_line(lambda: parse(text), UsageError)
    assert value is None or value


@given(st.lists(st.text(st.sampled_from("ab/\\.@-2"), min_size=1, max_size=8), min_size=1, max_size=5))
def test_run_names_are_all_different(paths):
    names = run_names(paths)
    assert len({n.lower() for n in names}) == len(paths)


@given(st.floats(1.0, 1e6), st.floats(0.1, 50.0))
def test_a_tape_reads_back_as_written(length_mm, sd_mm):
    tape = Tape("bridge..signal", length_mm, sd_mm)
    assert parse_tape(f"{tape.what}:{tape.length_mm!r}:{tape.sd_mm!r}") == tape
