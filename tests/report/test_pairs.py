"""What lies between two places, as a person reads it."""

import dataclasses

from tests.report.sample import survey
from wayrule.model import Between
from wayrule.report.lengths import MODEL
from wayrule.report.page import survey_page
from wayrule.report.pairs import pair_sentence, pair_table

NAN = float("nan")
PAIR = Between(
    "Vale bridge", "2500", 1503.0, 2500.0, 889.42, 0.31, 997.0, 0.55, -4.21, 0.12, 3.14159, 0.0021, 61.02, 0.08, 2488.0
)  # fmt: skip


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_sentence_names_every_quantity_with_its_sigma():
    said = plain(pair_sentence(PAIR, MODEL))
    assert said == (
        "From Vale bridge to 2.50 m: 889.42 ± 0.31 mm apart in plan, 997.0 ± 0.6 mm along the track, "
        "4.21 ± 0.12 mm lower, turned 180.00 ± 0.12 ° (left-hand), gap to the track at 2.49 m 61.02 ± 0.08 mm."
    )


def test_what_is_not_known_is_said():
    flat = dataclasses.replace(PAIR, rise_mm=NAN, rise_sd_mm=NAN, gap_mm=NAN, gap_sd_mm=NAN, foot_mm=NAN)
    said = plain(pair_sentence(flat, MODEL))
    assert "rise not known" in said
    assert "gap" not in said
    (row,) = pair_table([flat], MODEL).rows
    assert row[3] == "not known"
    assert row[5] == "–"


def test_the_page_has_a_section_only_where_places_were_asked_for():
    asked = survey_page(dataclasses.replace(survey(), pairs=(PAIR,)), title="Heather Vale")
    assert 'id="between"' in asked
    assert "Vale bridge to 2.50" in plain(asked)
    assert 'id="between"' not in survey_page(dataclasses.replace(survey(), pairs=()), title="Heather Vale")
