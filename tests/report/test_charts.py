"""Charts for the browser: the right numbers in the right chart, in the colours of the house."""

import json
import re
from dataclasses import fields, replace
from importlib.resources import files
from typing import get_args, get_type_hints

import numpy as np
import pytest
from bokeh.document import Document

from tests.report import sample
from wayrule.model import Fault, Surveyed, surveyed_of
from wayrule.report.charts import CHART_OF, DARK, LIGHT, Look, track_charts

WORDS = dict.fromkeys(("map", "east", "north", "curvature", "profile", "cant", "chainage"), "x")


def line() -> Surveyed:
    return surveyed_of(sample.survey(), "sample")


def drawn(surveyed: Surveyed) -> dict[str, object]:
    made = track_charts(surveyed, LIGHT, WORDS)
    document = Document.from_json(json.loads(json.dumps(made["doc"], allow_nan=False)))
    return {name: document.get_model_by_id(ident) for name, ident in made["roots"].items()}


def test_every_kind_of_fault_has_its_chart() -> None:
    assert set(CHART_OF) == set(get_args(get_type_hints(Fault)["kind"]))


@pytest.mark.parametrize(("look", "scheme"), [(LIGHT, 0), (DARK, 1)])
def test_colours_are_those_of_the_house(look: Look, scheme: int) -> None:
    css = files("wayrule.report").joinpath("templates/sheet.css").read_text(encoding="utf-8")
    root = re.findall(r":root \{(.*?)\}", css, re.S)[scheme]
    house = dict(re.findall(r"--(\w+): (#\w{6})", root))
    assert {f.name: getattr(look, f.name) for f in fields(look)} == {f.name: house[f.name] for f in fields(look)}


def test_the_charts_hold_the_line_with_its_bands() -> None:
    surveyed = line()
    charts = drawn(surveyed)
    assert list(charts) == ["map", "curvature", "profile", "cant"]
    s = surveyed.stations
    curve = next(r for r in charts["profile"].renderers if r.name == "band").data_source.data
    np.testing.assert_allclose(curve["v"], s.z_mm, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(curve["h2"] - curve["v"], 2 * s.z_sd_mm, rtol=1e-3, atol=1e-3)
    assert charts["curvature"].x_range is charts["profile"].x_range is charts["cant"].x_range
    assert charts["map"].match_aspect


def test_a_quantity_that_is_not_known_has_no_chart() -> None:
    surveyed = line()
    none = np.full(len(surveyed.stations.s_mm), np.nan)
    without = replace(surveyed, stations=replace(surveyed.stations, cant_mm=none, cant_sd_mm=none), faults=())
    assert list(drawn(without)) == ["map", "curvature", "profile"]


def test_a_line_without_pieces_faults_and_marks_is_drawn() -> None:
    assert len(drawn(replace(line(), elements=(), faults=(), marks=()))) == 4
