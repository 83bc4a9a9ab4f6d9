"""The card of a run: lights that weigh as they should, limits as data, and no light without a reason."""

import math

import numpy as np
import pytest

from wayrule.model import Health, HealthItem, Limit, Spot

LIMIT = Limit("%", 1.0, 5.0, "our choice, no source")


@pytest.mark.parametrize(
    ("value", "light"),
    [(0.0, "green"), (0.999, "green"), (1.0, "amber"), (5.0, "red"), (math.inf, "red"), (math.nan, "unknown")],
)
def test_a_limit_holds_from_its_own_value_on(value, light):
    assert LIMIT.light(value) == light


@pytest.mark.parametrize(
    ("lights", "worst"),
    [
        (("green", "unknown"), "green"),
        (("amber", "green"), "amber"),
        (("amber", "red", "green"), "red"),
        ((), "unknown"),
    ],
)
def test_the_worst_item_decides_and_what_is_not_known_spoils_nothing(lights, worst):
    items = tuple(HealthItem(str(i), light, "why", "do") for i, light in enumerate(lights))
    assert Health("monday", items).light == worst


def test_a_light_without_a_reason_or_a_way_out_cannot_be_made():
    with pytest.raises(ValueError, match="expected a light of"):
        HealthItem("noise", "yellow", "why", "do")
    with pytest.raises(ValueError, match="expected a reason"):
        HealthItem("noise", "green", "")
    with pytest.raises(ValueError, match="what to do"):
        HealthItem("noise", "red", "why")


def test_spots_are_placed_by_the_runs_own_clock():
    item = HealthItem("knocks", "amber", "One.", "Look there.", (Spot(1.02, 1.2), Spot(9.9, 12.0)))
    t = np.arange(0.0, 10.0, 0.1)
    card = Health("monday", (item,)).placed(t, 100.0 * t)
    assert [spot.chainage_mm for spot in card.one("knocks").spots] == pytest.approx([110.0, 990.0])
    assert Health("empty", (item,)).placed(np.zeros(0), np.zeros(0)).one("knocks") == item


def test_an_item_that_is_not_on_the_card_is_named_with_those_that_are():
    with pytest.raises(KeyError, match=r"noise.*not on the card: knocks"):
        Health("monday", (HealthItem("knocks", "green", "None."),)).one("noise")
