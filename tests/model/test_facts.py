"""Stated facts cannot be made wrong."""

import dataclasses
import math

import pytest

from wayrule.model import Control, Facts, Relation, Stretch, Tape


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Control(""), "Control.at: expected start, end or the name of a mark, came nothing"),
        (lambda: Control("start", x_mm=1.0, sd_mm=1.0), "x_mm and y_mm are known together or not at all"),
        (lambda: Control("end", x_mm=1.0, y_mm=2.0), "x_mm is given, so sd_mm must be > 0, came nan"),
        (lambda: Control("end", z_mm=1.0, z_sd_mm=0.0), "z_mm is given, so z_sd_mm must be > 0, came 0.0"),
        (lambda: Control("end", heading_rad=1.0, heading_sd_rad=math.inf), "heading_sd_rad must be > 0"),
        (lambda: Relation("a", "a", dz_mm=1.0, z_sd_mm=1.0), "expected two different places, came 'a' and 'a'"),
        (lambda: Relation("a", ""), "expected two different places, came 'a' and ''"),
        (lambda: Relation("a", "b", dx_mm=1.0, sd_mm=1.0), "Relation a..b: dx_mm and dy_mm are known together"),
        (lambda: Relation("a", "b", dx_mm=1.0, dy_mm=0.0), "Relation a..b: dx_mm is given, so sd_mm must be > 0"),
        (lambda: Relation("a", "b", dz_mm=1.0, z_sd_mm=-1.0), "dz_mm is given, so z_sd_mm must be > 0, came -1.0"),
        (lambda: Relation("a", "b", dheading_rad=0.0), "dheading_rad is given, so heading_sd_rad must be > 0"),
        (lambda: Tape("loop", 1.0, 1.0), "Tape.what: expected lap, stops or MARK..MARK, came 'loop'"),
        (lambda: Tape("a..", 1.0, 1.0), "Tape.what"),
        (lambda: Tape("lap", -1.0, 1.0), "Tape lap: length_mm must be > 0, came -1.0"),
        (lambda: Tape("lap", 1.0, math.nan), "Tape lap: sd_mm must be > 0, came nan"),
        (lambda: Stretch(5.0, 5.0), "expected s0_mm < s1_mm, came 5.0 and 5.0"),
        (lambda: Facts(laps={"monday": 2}, open=True), "an open line has no laps"),
        (lambda: Facts(turned=frozenset({"m"}), not_turned=frozenset({"m"})), "turned and not turned at once: m"),
        (lambda: Facts(start_level_sd=0.0), "start_level_sd must be > 0, came 0.0"),
        (lambda: Facts(laps={"monday": 0}), "run monday: expected a whole number of laps >= 1, came 0"),
    ],
)
def test_a_wrong_fact_cannot_exist(make, words):
    with pytest.raises(ValueError) as caught:
        make()
    assert words in str(caught.value)


def test_a_control_says_what_is_known():
    control = Control("bridge", z_mm=12.0, z_sd_mm=0.5)
    assert (control.has_plan, control.has_height, control.has_heading) == (False, True, False)


@pytest.mark.parametrize(("apart_mm", "tells"), [((300.0, 400.0), True), ((60.0, 0.0), False), ((0.0, 0.0), False)])
def test_only_a_distance_known_to_a_hundredth_tells_the_scale(apart_mm, tells):
    """1 mm of 500 mm is 0.2 %, of 60 mm 1.7 %; one place twice closes at any scale."""
    assert Relation("a", "b", *apart_mm, sd_mm=1.0).tells_scale is tells
    assert not Relation("a", "b", dz_mm=500.0, z_sd_mm=1.0).tells_scale


def test_facts_do_not_follow_the_callers_later_changes():
    laps = {"monday": 4}
    facts = Facts(laps=laps)
    laps["monday"] = 9
    assert facts.laps["monday"] == 4
    with pytest.raises(TypeError):
        facts.laps["monday"] = 5
    with pytest.raises(dataclasses.FrozenInstanceError):
        facts.turned = frozenset({"monday"})
