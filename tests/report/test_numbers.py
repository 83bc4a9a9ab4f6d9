"""Digits and words of numbers, against printed worked examples and the rule itself."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayrule.report.numbers import (
    duration,
    grouped,
    last_place,
    one_in,
    pair,
    rounded,
    significant,
    with_sd,
)

# Particle Data Group, Review of Particle Physics, Introduction, section 5.3 "Rounding": both worked examples.
PDG = [(0.827, 0.119, "0.83", "0.12"), (0.827, 0.367, "0.8", "0.4")]

# Two more, as printed in the documentation of an independent program that follows the same rule (pdground, README).
INDEPENDENT = [(12.2135, 0.03215, "12.214", "0.032"), (12.2135, 0.06515, "12.21", "0.07")]

# JCGM 100:2008 (GUM), 7.2.6: y = 10.057 62 ohm with u = 27 mohm is given as 10.058 ohm; 28.05 kHz becomes 28 kHz.
GUM = [(10.05762, 0.027, "10.058", "0.027"), (1000.0, 28.05, "1000", "28")]

# The edges of the rule, worked by hand: 354 | 355, 949 | 950, and a carry into the next decade.
EDGES = [
    (1.0, 0.354, "1.00", "0.35"),
    (1.0, 0.355, "1.0", "0.4"),
    (1.0, 0.949, "1.0", "0.9"),
    (1.0, 0.950, "1.0", "1.0"),
    (1.0, 0.9996, "1.0", "1.0"),
    (123456.0, 1234.0, "123\u202f500", "1200"),
]


@pytest.mark.parametrize(("value", "sd", "number", "spread"), PDG + INDEPENDENT + GUM + EDGES)
def test_digits_against_worked_examples(value, sd, number, spread):
    assert pair(value, sd) == (number, spread)


def undo(text: str) -> Decimal:
    return Decimal(text.replace("\u202f", "").replace("\N{MINUS SIGN}", "-"))


@given(
    st.floats(-1e9, 1e9, allow_nan=False),
    st.floats(1e-6, 1e6, allow_nan=False, allow_infinity=False),
)
def test_pair_rounds_to_the_nearest_and_keeps_the_sd_to_five_percent_or_so(value, sd):
    number, spread = pair(value, sd)
    place = Decimal(1).scaleb(last_place(sd))
    assert abs(undo(number) - Decimal(repr(value))) <= place / 2
    assert undo(number) % place == 0
    # 0.355 -> 0.4 is the coarsest the rule allows: 12.7 %
    assert abs(float(undo(spread)) / sd - 1) < 0.128
    assert len(spread.replace(".", "").replace("\u202f", "").strip("0")) <= 2


@given(st.floats(-1e12, 1e12, allow_nan=False), st.integers(1, 8))
def test_significant_keeps_its_digits(value, digits):
    text = significant(value, digits)
    if value == 0:
        assert text == "0"
        return
    assert abs(float(undo(text)) / value - 1) <= 0.5 * 10.0 ** (1 - digits) * (1 + 1e-9)


@given(st.floats(-1e12, 1e12, allow_nan=False), st.integers(-6, 6))
def test_no_negative_zero_is_ever_written(value, place):
    text = rounded(value, place)
    assert not (text.startswith("\N{MINUS SIGN}") and undo(text) == 0)


@pytest.mark.parametrize("sd", [0.0, -1.0, math.nan, math.inf])
def test_an_sd_that_is_none_has_no_last_place(sd):
    with pytest.raises(ValueError, match=r"last_place: expected a finite sd > 0, came"):
        last_place(sd)


@pytest.mark.parametrize(
    ("value", "sd", "text"),
    [
        (358.24, 1.93, "358.2 ± 1.9 mm"),
        (358.24, math.nan, "358 mm (no error bar)"),
        (358.24, math.inf, "358 mm (no error bar)"),
        (358.24, 0.0, "358.240 mm (held fixed)"),
        (math.nan, 1.0, "not known"),
        (-0.02, 3.0, "0.0 ± 3.0 mm"),
    ],
)
def test_value_with_sd_in_words(value, sd, text):
    assert with_sd(value, sd, "mm").replace("\xa0", " ") == text


def test_one_in_n_by_hand():
    """Pencil and paper: 1/0.025 = 40, 1/0.033 = 30.3; a slope of 1:5000 is level to a railwayman."""
    assert [one_in(g) for g in (0.025, -0.033, 1 / 144, 1 / 5000, 0.0)] == ["1:40", "1:30", "1:144", "level", "level"]


def test_groups_of_three_from_five_digits_on():
    """ISO 80000-1, 7.3.1: groups of three separated by a small space; four digits need none."""
    assert [grouped(d) for d in ("999", "1234", "12345", "1234567.25")] == [
        "999",
        "1234",
        "12\u202f345",
        "1\u202f234\u202f567.25",
    ]


@given(st.floats(0, 1e5))
def test_duration_never_says_sixty(seconds):
    text = duration(seconds).replace("\xa0", " ")
    assert "60" not in text.split()
    assert text.endswith((" s", " min"))
