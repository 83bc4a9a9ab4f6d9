"""The card of a run's health in words: for the terminal and for the page."""

import math
from collections.abc import Sequence
from typing import Final

from wayrule.model import Health, HealthItem, Light, Spot, Travel
from wayrule.report.lengths import metres

LIGHT_WORDS: Final[dict[Light, str]] = {"green": "green", "amber": "amber", "red": "red", "unknown": "not known"}

MOST_SPOTS: Final = 3
"""So many places are told in words."""


def health_lines(health: Health | None) -> list[str]:
    """The card for a terminal: red and amber items a line each, the others by their names; nothing where nobody looked.

    >>> card = Health("monday", (HealthItem("knocks", "green", "No knock."), HealthItem("battery", "unknown", "Why.")))
    >>> health_lines(card)
    ['Health of monday: green (knocks). Not known: battery.']
    """
    if health is None:
        return []
    lines = [
        f"- {item.light}: {item.name}: {item.reason}{_where(item)} {item.todo}"
        for item in by_weight(health, "red", "amber")
    ]
    names = {light: ", ".join(item.name for item in health.of(light)) for light in LIGHT_WORDS}
    green = f" ({names['green']})" if health.light == "green" else ""
    head = f"Health of {health.run}: {LIGHT_WORDS[health.light]}{green}."
    if names["green"] and not green:
        head += f" Green: {names['green']}."
    if names["unknown"]:
        head += f" Not known: {names['unknown']}."
    return [head, *lines]


def health_sentence(travels: Sequence[Travel]) -> str:
    """The health of all runs in one sentence; "" where nobody looked.

    >>> import numpy as np
    >>> z = np.zeros(2)
    >>> card = Health("monday", (HealthItem("knocks", "amber", "Two knocks.", "Look."),))
    >>> health_sentence([Travel("monday", np.arange(2.0), z, z, z, z, np.ones(2), z, 0.0, "", health=card)])
    'Health of the runs: amber (monday: knocks).'
    """
    cards = [travel.health for travel in travels if travel.health is not None]
    if not cards:
        return ""
    worst = Health("all", tuple(item for card in cards for item in card.items)).light
    if worst in ("green", "unknown"):
        return f"Health of the runs: {LIGHT_WORDS[worst]}."
    told = "; ".join(
        f"{card.run}: {', '.join(item.name for item in by_weight(card, 'red', 'amber'))}"
        for card in cards
        if card.of("red", "amber")
    )
    return f"Health of the runs: {LIGHT_WORDS[worst]} ({told})."


def by_weight(health: Health, *lights: Light) -> list[HealthItem]:
    """Items of these lights, those of the first light first."""
    return [item for light in lights for item in health.of(light)]


def where(item: HealthItem) -> str:
    """The item's places in words, the worst first; "" where it has none.

    >>> where(HealthItem("knocks", "amber", "Two.", "Look.", (Spot(9.891, 10.0, 850.0, 1068.4),)))
    '9.89 s, 1.07\xa0m of the line'
    """
    told = [_place(spot) for spot in item.spots[:MOST_SPOTS]]
    more = len(item.spots) - len(told)
    return f"{'; '.join(told)}{f' and {more} more' if more > 0 else ''}"


def _where(item: HealthItem) -> str:
    return f" Where: {where(item)}." if item.spots else ""


def _place(spot: Spot) -> str:
    """When, and where on the line; how far from the run's start while there is no line."""
    when = f"{spot.first_s:.2f} s"
    if spot.last_s - spot.first_s >= 0.5:
        when = f"{spot.first_s:.1f} to {spot.last_s:.1f} s"
    if math.isfinite(spot.chainage_mm):
        return f"{when}, {metres(spot.chainage_mm)} of the line"
    return f"{when}, {metres(spot.rolled_mm)} from the run's start" if math.isfinite(spot.rolled_mm) else when
