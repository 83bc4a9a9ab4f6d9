"""The page holds together: whole, self-contained, escaped, and honest for surveys that lack parts."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest

from tests.report import sample
from wayrule.model import Mark, Wagon, Wheel
from wayrule.report.canvas import VARIABLES
from wayrule.report.page import survey_page, travel_page

VOID = {"meta", "br", "hr", "img", "link", "input"}
WAGON = Wagon("Clerestory van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04))


class Balance(HTMLParser):
    """Counts elements, ids and what the page asks the network for; unbalanced tags fail."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("href", "src", "xlink:href", "action", "srcset", "data"):
                self.targets.append(value or "")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def read(page: str) -> tuple[Balance, str]:
    parser = Balance()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    assert len(parser.ids) == len(set(parser.ids))
    assert all(t.startswith("#") and t[1:] in parser.ids for t in parser.targets), parser.targets
    assert not re.search(r"url\(\s*['\"]?(?!#)|@import|<script|<link|<iframe", page)
    for svg in re.findall(r"<svg.*?</svg>", page, re.S):
        ElementTree.fromstring(svg)
    words = " ".join(" ".join(parser.words).replace("\xa0", " ").split())
    assert not re.search(r"\bnan\b|\binf\b|None|-0\.0\b", words), re.search(
        r".{60}(\bnan\b|\binf\b|None|-0\.0\b)", words
    )
    return parser, words


@pytest.fixture(scope="module")
def oval() -> str:
    return survey_page(sample.survey(), title="Heather Vale: the oval", facts=[("Surveyed", "12 May")])


def test_page_is_whole_and_asks_for_nothing_outside(oval):
    read(oval)
    assert oval.count("<svg") == 2 * (2 + 4 + 2 * 2)
    assert len(oval.encode()) < 2.5e6


def test_every_number_of_a_small_survey_appears(oval):
    """Worked by hand from the sample's own numbers with the rounding rule of numbers.py."""
    _, words = read(oval)
    for text in (
        "8.41 m round; it misses its own start by 4.1 mm in plan and 0.82 mm in height before adjustment.",
        "0.046 % of the length", "0.9 times what the error bars predict", "good to ±0.11 %",
        "R 358.0 ± 1.5 mm",  # 358^2 x 1.2e-5 = 1.54 mm
        "1:38 climbing (2.63 ± 0.04 %)",
        "1.24 ± 0.21 °", "0.82 ± 0.11 mm", "0.31 ± 0.09 mm", "dip of one rail (left)",
        "32.99 ± 0.04 mm", "−0.1234 ± 0.0021 deg/s", "0.800 deg (no error bar)",
        "2 laps of one closed line", "--closed-laps N", "roll a taped distance",
        "14 samples missing at 12.4 s", "ab" * 32, "Heather Vale Junction", "1.45 m", "12 May", "Clerestory van 7",
    ):  # fmt: skip
        assert text in words, text


def test_same_survey_gives_same_bytes():
    first, second = (survey_page(sample.only_plan(), title="Heather Vale") for _ in range(2))
    assert first == second


def test_hostile_text_stays_text():
    bad = "<script>alert('x')</script> $\\frac{1}{0}$ & \"q\" \x00 汽車 ]]>"
    s = sample.survey()
    s = replace(
        s,
        wagon_name=bad,
        marks=((1000.0, Mark(1.0, bad)),),
        inputs=(("run", bad, bad),),
        assumptions=(bad,),
        decisions=((bad,) * 4,),
        travels=(sample.travel(bad),),
    )
    page = survey_page(s, title=bad, facts=[(bad, bad)])
    read(page)
    assert "\x00" not in page
    assert "<script" not in page
    assert "汽車" in page


@pytest.mark.parametrize("name", sorted(sample.ODD))
def test_odd_surveys_make_an_honest_page(name):
    make, must_say = sample.ODD[name]
    _, words = read(survey_page(make(), title=name))
    for text in must_say:
        assert text in words, text


def test_travel_page_says_what_the_log_cannot_give():
    bare = replace(sample.travel(), imu=None, chainage_mm=np.full(4000, np.nan))
    _, words = read(travel_page([bare], WAGON, title="Morning pull"))
    assert "No gyro in this log: no heading, curvature or map." in words
    assert "No accelerometer in this log: no height, gradient or cant." in words
    assert "Speed against distance" in words
    # 2 laps of 8.40938 m; sd 0.0011 of it + 0.05 mm = 18.6 mm
    assert "16.819 ± 0.019 m in 1 min 20 s" in words


def test_travel_page_of_several_runs_and_of_none():
    _, words = read(travel_page([sample.travel("a"), sample.travel("b")], WAGON))
    assert "2 runs, 33.64 m and 2 min 40 s in all." in words
    _, words = read(travel_page([], WAGON))
    assert "No run was given." in words


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour, WCAG 2.1."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_words_stand_out_from_the_paper_in_light_and_dark(oval):
    """WCAG 2.1, 1.4.3: 4.5 to 1 for words (level AA); 1.4.11: 3 to 1 for lines that carry meaning."""
    schemes = re.findall(r":root \{(.*?)\}", oval, re.S)
    light, dark = (dict(re.findall(r"(--\w+): (#[0-9a-f]{6})", scheme)) for scheme in schemes[:2])
    assert light.keys() == dark.keys()
    for inks in (light, dark):
        paper = luminance(inks["--paper"])
        for name, least in {"--ink": 4.5, "--soft": 4.5, "--line": 4.5, "--mark": 4.5, "--second": 3.0}.items():
            low, high = sorted((paper, luminance(inks[name])))
            assert (high + 0.05) / (low + 0.05) >= least, name


def test_the_inks_of_page_and_drawings_are_the_same(oval):
    light = dict(re.findall(r"(--\w+): (#[0-9a-f]{6})", oval[oval.index(":root") : oval.index("@media")]))
    assert light == {variable: colour for colour, variable in VARIABLES.items()}
