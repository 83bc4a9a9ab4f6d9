"""Dirt is planted where the list says it is, and nowhere else."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.sim.dirt import dirty

HEADER = "t_s,gx_dps,wheel_mm"
ROWS = [f"{i / 200:.6f},{i % 7 + 1},{i}" for i in range(400)]
CLEAN = "\n".join([HEADER, *ROWS]) + "\n"


SINGLE = ["repeated rows", "out of order", "all zero", "nan", "wrong columns"]


def made(kinds, seed=1):
    text, planted = dirty(CLEAN, kinds, np.random.default_rng(seed))
    header, *lines = text.splitlines()
    assert header == HEADER
    return text, lines, {p.kind: p.rows for p in planted}


def test_nothing_asked_nothing_done():
    assert dirty(CLEAN, {}, np.random.default_rng(1)) == (CLEAN, ())


def test_repeated_rows():
    _, lines, planted = made({"repeated rows": 5})
    assert len(lines) == 405
    assert [lines.count(ROWS[i]) for i in planted["repeated rows"]] == [2] * 5
    assert list(dict.fromkeys(lines)) == ROWS


def test_out_of_order():
    _, lines, planted = made({"out of order": 4})
    assert sorted(lines) == sorted(ROWS)
    back = [i for i in range(1, 400) if float(lines[i].split(",")[0]) < float(lines[i - 1].split(",")[0])]
    assert len(back) == 4
    assert [ROWS.index(lines[i]) for i in back] == list(planted["out of order"])


def test_gap_and_burst():
    _, lines, planted = made({"gap": 30, "burst": 20})
    assert set(ROWS) - set(lines) >= {ROWS[i] for i in planted["gap"]}
    assert len(lines) == 370
    stamps = [float(line.split(",")[0]) for line in lines if int(line.split(",")[2]) in planted["burst"]]
    assert np.diff(stamps) == pytest.approx(1e-6, abs=1e-9)
    assert not set(planted["gap"]) & set(planted["burst"])


def test_zero_nan_and_wrong_columns():
    _, lines, planted = made({"all zero": 3, "nan": 2, "wrong columns": 2})
    assert [lines[i].split(",")[1:] for i in planted["all zero"]] == [["0", "0"]] * 3
    assert [lines[i].split(",")[1:] for i in planted["nan"]] == [["nan", "nan"]] * 2
    assert [lines[i].count(",") for i in planted["wrong columns"]] == [1, 1]
    touched = {i for rows in planted.values() for i in rows}
    assert len(touched) == 7
    assert all(lines[i] == ROWS[i] for i in range(400) if i not in touched)


def test_cut_last_line():
    text, lines, planted = made({"cut last line": 1})
    assert planted["cut last line"] == (399,)
    assert ROWS[399].startswith(lines[-1])
    assert len(lines[-1]) < len(ROWS[399])
    assert not text.endswith("\n")


def test_all_at_once_repeats_from_its_seed():
    kinds = {
        "repeated rows": 6, "out of order": 5, "gap": 20, "burst": 10, "all zero": 4, "nan": 3, "wrong columns": 2,
        "cut last line": 1,
    }  # fmt: skip
    assert made(kinds, 3) == made(kinds, 3)
    assert made(kinds, 3)[0] != made(kinds, 4)[0]
    rows = [i for found in made(kinds, 3)[2].values() for i in found]
    assert len(rows) == len(set(rows)) == sum(kinds.values())


@settings(max_examples=40, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["repeated rows", "out of order", "all zero", "nan", "wrong columns"]), st.integers(1, 9)
    ),
    st.integers(0, 2**32),
)
def test_rows_that_are_not_on_the_list_are_unchanged(kinds, seed):
    text, planted = dirty(CLEAN, kinds, np.random.default_rng(seed))
    touched = {i for p in planted for i in p.rows}
    assert len(touched) == sum(kinds.values())
    kept = set(text.splitlines())
    assert all(row in kept for i, row in enumerate(ROWS) if i not in touched)


@pytest.mark.parametrize(
    ("text", "kinds", "words"),
    [
        (CLEAN, {"mud": 1}, "expected kinds from burst, gap"),
        ("time,x\n1,2\n", {"nan": 1}, "expected a header with t_s, came 'time,x'"),
        ("t_s,x\n1,2\n", {"nan": 1}, "at least 10 rows are needed for 1 of a kind, came 1"),
        ("t_s,x\n1,2\n", {"gap": 1}, "a block of 1 rows needs 16 rows, came 1"),
    ],
)
def test_impossible_orders_are_refused(text, kinds, words):
    with pytest.raises(ValueError, match=words):
        dirty(text, kinds, np.random.default_rng(1))
