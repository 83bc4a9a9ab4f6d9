"""The axle's figure, table and words: what they show is what was learnt, in a person's units."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from wayrule.model import AxleLearned
from wayrule.report.axle import axle_figure, axle_svg, axle_words, orders_table
from wayrule.report.canvas import NARROW
from wayrule.run.axle import learn_axle
from wayrule.sim.spin import crooked_wheel, pushed, spin_recording
from wayrule.sim.wagons import HO_VAN


@lru_cache
def learnt(offset_mt: float = 0.0) -> AxleLearned:
    rng = np.random.default_rng(3)
    wheel = crooked_wheel(HO_VAN, rng)
    wheel = replace(wheel, iron_mt=wheel.iron_mt + np.array([offset_mt, 0.0, 0.0]))
    recording = spin_recording(HO_VAN, wheel, *pushed(25.0, 200.0, rng), rng, temp_c=21.0)
    return learn_axle(recording, place_mm=HO_VAN.sensor.place_mm, noise_mt=HO_VAN.sensor.noise_mt)


def test_curves_hold_what_was_learnt_in_degrees_about_a_zero_in_the_middle() -> None:
    upper, lower = axle_figure(learnt(), 10.5).axes
    assert np.allclose(upper.lines[0].get_ydata(), np.degrees(learnt().ring_error_rad))
    assert np.allclose(lower.lines[0].get_ydata(), np.degrees(learnt().left_rad))
    for axes in (upper, lower):
        low, high = axes.get_ylim()
        assert low == -high
        assert axes.get_xlim() == (0.0, 360.0)


def test_every_word_of_the_figure_lies_on_it() -> None:
    for figure in (axle_figure(learnt(), 10.5), axle_figure(learnt(), 10.5, NARROW)):
        figure.canvas.draw()
        for axes in figure.axes:
            box = axes.get_tightbbox()
            assert box is not None
            assert box.x0 >= 0
            assert box.y0 >= 0
            assert box.y1 <= figure.bbox.height


def test_words_say_what_remains_as_travel_and_the_limits() -> None:
    said = axle_words(learnt(), 10.5)
    assert "From 25 turns at 21 °C, ring 2.66 × 1.27 mT" in said
    assert f"good to {math.degrees(learnt().sd_rad):.2f}°" in said
    assert "No turn is lost up to 80 turns/s (2639 mm/s), and through gaps up to 0.23 s." in said
    assert "No turn is lost up to 80 turns/s" in axle_svg(learnt(), 10.5)


def test_table_has_six_orders_with_their_causes_and_says_where_turns_are_lost() -> None:
    table = orders_table(learnt(), 10.5)
    assert [row[0] for row in table.rows][:3] == [
        "1× a turn: offset", "2× a turn: gain and phase", "3× a turn: shape"
    ]  # fmt: skip
    assert float(table.rows[1][1]) == pytest.approx(math.degrees(learnt().orders[1].raw_rad), abs=0.006)
    assert table.note == ""
    lost = orders_table(learnt(9.0), 10.5)
    assert lost.rows[0][1] == "lost"
    assert "larger than its ring" in lost.note
