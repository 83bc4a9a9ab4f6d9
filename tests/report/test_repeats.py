"""Run against run, as a person reads it."""

import dataclasses

from tests.report.sample import survey
from wayrule.model import Repeat
from wayrule.report.lengths import MODEL
from wayrule.report.page import survey_page
from wayrule.report.repeats import repeat_sentence, repeat_table

NAN = float("nan")
REPEATS = (
    Repeat("curvature", "D1", 34.5, 287.4, 5, 8958.0, 7.5e-6, 1.5e-5, NAN, NAN),
    Repeat("gradient", "D1", 34.5, 287.4, 5, 8958.0, 2.1e-5, 4.2e-5, 6e-5, 4e-5),
    Repeat("cant", "D2", 287.4, 804.6, 5, 8958.0, 0.0007, 0.0007, 0.0007, 0.0007),
)


def test_a_row_has_what_was_seen_and_promised_in_a_readers_units():
    rows = repeat_table(REPEATS, MODEL).rows
    assert [cell.replace("\u00a0", " ") for cell in rows[0]] == [
        "D1: 34 mm to 290 mm", "curvature, 1/m", "0.0075", "0.015", "–", "–", "5",
    ]  # fmt: skip
    assert rows[1][1:6] == ("gradient, ‰", "0.021", "0.042", "0.060", "0.040")
    assert rows[2][1:4] == ("cant, mm", "0.00070", "0.00070")


def test_the_sentence_names_the_extremes():
    said = repeat_sentence(REPEATS)
    assert "by 0.50 to 1.5 times what the error bars promise (most in the gradient, band D1)" in said


def test_one_pass_says_that_nothing_can_be_compared():
    assert "nothing can be compared run against run" in repeat_sentence(())
    page = survey_page(dataclasses.replace(survey(), repeats=()), title="Heather Vale")
    assert "nothing can be compared run against run" in page
    assert "Run against run" in survey_page(dataclasses.replace(survey(), repeats=REPEATS), title="Heather Vale")
