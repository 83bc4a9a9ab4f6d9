"""The card on page and terminal: every light in a word and a shape, every item with its place, in light and dark."""

import re
from dataclasses import replace

import pytest

from tests.report import sample
from tests.report.test_page import WAGON, luminance, read
from wayrule.model import Health, HealthItem, Spot
from wayrule.report.healthcard import SIGNS, cards
from wayrule.report.healthwords import health_lines, health_sentence, where
from wayrule.report.page import survey_page, travel_page

CARD = Health(
    "morning <pull>",
    (
        HealthItem("knocks", "green", "No knock."),
        HealthItem("lifted wagon", "amber", "Touched by 2.7 deg.", "Begin anew.", (Spot(35.8, 37.9, 6280.0, 1234.0),)),
        HealthItem("battery", "unknown", "No cell voltage was recorded."),
        HealthItem(
            "locked or sliding wheel", "red", "The wheel turned too little by 61 +- 1 mm.", "Oil it.",
            tuple(Spot(float(i), float(i)) for i in range(5)),
        ),
    ),
)  # fmt: skip


def looked_at():
    return replace(sample.travel(), health=CARD)


def test_red_comes_first_and_everything_stands_in_words():
    _, words = read(travel_page([looked_at()], WAGON))
    assert "morning <pull>: red, 2 items to look at" in words
    assert words.index("locked or sliding wheel red") < words.index("lifted wagon amber") < words.index("knocks green")
    assert (
        "The wheel turned too little by 61 ± 1 mm. Where: 0.00 s; 1.00 s; 2.00 s and 2 more What to do: Oil it."
        in words
    )
    assert "Where: 35.8 to 37.9 s, 1.23 m of the line What to do: Begin anew." in words
    assert "battery not known No cell voltage was recorded." in words


def test_each_light_has_a_shape_of_its_own():
    assert len(set(SIGNS.values())) == 4
    (card,) = cards([looked_at()])
    for line in (*card.look, *card.rest):
        assert SIGNS[line.light] in line.sign
        assert 'aria-hidden="true"' in line.sign


def test_a_survey_shows_the_cards_of_its_runs_and_says_so_at_the_top():
    runs = [looked_at(), sample.travel("evening.csv")]
    _, words = read(survey_page(replace(sample.survey(), travels=tuple(runs)), title="Oval"))
    said = "Health of the runs: red (morning <pull>: locked or sliding wheel, lifted wagon)."
    assert said in words
    assert words.index(said) < words.index("Health of the instrument")
    assert "Health" not in read(survey_page(sample.survey(), title="Oval"))[1]
    assert health_sentence(sample.survey().travels) == ""


def test_the_terminal_names_all_items_and_tells_the_bad_ones():
    assert health_lines(CARD) == [
        "Health of morning <pull>: red. Green: knocks. Not known: battery.",
        "- red: locked or sliding wheel: The wheel turned too little by 61 +- 1 mm. Where: 0.00 s; 1.00 s; 2.00 s "
        "and 2 more. Oil it.",
        "- amber: lifted wagon: Touched by 2.7 deg. Where: 35.8 to 37.9 s, 1.23\xa0m of the line. Begin anew.",
    ]
    assert health_lines(None) == []
    fine = Health("b", (HealthItem("knocks", "green", "No knock."),))
    assert health_sentence([replace(sample.travel(), health=fine)]) == "Health of the runs: green."


def test_a_place_is_told_from_the_runs_start_while_there_is_no_line():
    item = HealthItem("knocks", "amber", "One.", "Look.", (Spot(3.0, 3.1, 4970.0),))
    assert where(item).replace("\xa0", " ") == "3.00 s, 4.97 m from the run's start"


@pytest.mark.parametrize("dark", [False, True])
def test_signs_stand_out_from_the_paper(dark: bool):
    """WCAG 2.1, success criterion 1.4.11: at least 3 to 1 for what is no text (here 4.5, as for text)."""
    page = travel_page([looked_at()], WAGON)
    papers = re.findall(r"--paper: (#[0-9a-f]{6})", page)
    signs = re.findall(r"--green: (#\w{6}); --amber: (#\w{6}); --red: (#\w{6})", page)
    paper = luminance(papers[dark])
    for colour in signs[dark]:
        light, deep = sorted((luminance(colour), paper), reverse=True)
        assert (light + 0.05) / (deep + 0.05) >= 4.5, colour
