"""The bench's figure and table."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from wayrule.model import Bench
from wayrule.report.bench import budget_table, field_figure, field_png, field_svg
from wayrule.report.canvas import NARROW
from wayrule.sim.wagons import HO_VAN
from wayrule.wagon.verdict import bench


@pytest.fixture(scope="module")
def found() -> Bench:
    return bench(HO_VAN)


def test_the_svg_stands_alone_and_follows_light_and_dark(found: Bench):
    text = field_svg(found)
    root = ET.fromstring(text)
    assert root.tag.endswith("svg")
    assert "prefers-color-scheme:dark" in text
    assert "http" not in text.replace("http://www.w3.org", "")
    words = "".join(root.itertext())
    for word in ("forward", "left", "up", "mT", "Axle angle"):
        assert word in words


def test_the_curves_are_the_field(found: Bench):
    lines = field_figure(found).axes[0].get_lines()
    for column in range(3):
        np.testing.assert_allclose(np.asarray(lines[column].get_ydata())[:-1], found.field_mt[:, column])
    assert (
        len({line.get_linestyle() if column == 0 else str(line._dash_pattern) for column, line in enumerate(lines[:3])})
        == 3
    )


def test_the_png_is_twice_the_pages_pixels(found: Bench):
    picture = Image.open(io.BytesIO(field_png(found)))
    assert picture.size == (1520, 600)


def test_the_range_is_drawn_where_it_is_near(found: Bench):
    tight = replace(found, budget=replace(found.budget, range_mt=3.0))
    assert len(field_figure(tight).axes[0].get_lines()) == len(field_figure(found).axes[0].get_lines()) + 2
    assert any("full range" in text.get_text() for text in field_figure(tight, NARROW).axes[0].texts)


def test_names_do_not_lie_over_each_other(found: Bench):
    flat = replace(found, field_mt=np.zeros_like(found.field_mt) + 1.0)
    axes = field_figure(flat).axes[0]
    places = sorted(text.xy[1] for text in axes.texts if text.get_text() in ("forward", "left", "up"))
    low, high = axes.get_ylim()
    assert min(np.diff(places)) > 0.04 * (high - low)


def test_the_table_has_every_line_and_the_sum(found: Bench):
    table = budget_table(found)
    assert table.rows[-1][0] == "all together"
    for line in found.budget.lines:
        assert line.cause in " ".join(row[0] for row in table.rows) + table.note
