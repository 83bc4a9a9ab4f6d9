"""The card of a run's health for the page: a light is a shape and a word besides its colour."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wayrule.model import HealthItem, Light, Travel
from wayrule.report.healthwords import LIGHT_WORDS, by_weight, where
from wayrule.report.numbers import NO_BREAK

SIGNS: Final[dict[Light, str]] = {
    "green": '<circle cx="10" cy="10" r="8.6" class="f"/><path d="M5.8 10.4l2.9 2.9 5.6-6.2" class="l"/>',
    "amber": '<path d="M10 1.4L19 18H1z" class="f"/><path d="M10 7.2v5M10 14.6v.9" class="l"/>',
    "red": '<path d="M6.4 1.4h7.2l5 5v7.2l-5 5H6.4l-5-5V6.4z" class="f"/><path d="M6.8 6.8l6.4 6.4M13.2 6.8l-6.4 6.4" '
    'class="l"/>',
    "unknown": '<circle cx="10" cy="10" r="8.2" class="e"/><path d="M7.4 7.8a2.6 2.6 0 1 1 3.6 2.4c-.7.3-1 .8-1 1.6M10 '
    '14.3v.4" class="q"/>',
}
"""Light -> its sign, 20 by 20: a disc with a tick, a triangle with a mark, an octagon with a cross, a dashed ring."""


UNIT: Final = re.compile(r"(?<=\d) (?=(?:mm|mT|mg|deg|°C|g|K|V|s|%)(?:\W|$))")
"""The blank between a number and its unit, which a line's end must not part."""


@dataclass(frozen=True, slots=True)
class Line:
    """One item: its light, the light's word and sign (SVG), its name, reason, places and what to do."""

    light: Light
    word: str
    sign: str
    name: str
    reason: str
    where: str
    todo: str


@dataclass(frozen=True, slots=True)
class Card:
    """The card of one run: its light, a head, what needs a look, and the rest."""

    light: Light
    sign: str
    head: str
    look: tuple[Line, ...]
    rest: tuple[Line, ...]


def cards(travels: Sequence[Travel]) -> tuple[Card, ...]:
    """A card for each run that was looked at.

    >>> cards([])
    ()
    """
    found = []
    for health in (travel.health for travel in travels if travel.health is not None):
        look, rest = by_weight(health, "red", "amber"), by_weight(health, "green", "unknown")
        many = (
            "nothing to look at"
            if not look
            else "1 item to look at"
            if len(look) == 1
            else f"{len(look)} items to look at"
        )
        found.append(
            Card(
                health.light,
                _sign(health.light),
                f"{health.run}: {LIGHT_WORDS[health.light]}, {many}",
                tuple(_line(item) for item in look),
                tuple(_line(item) for item in rest),
            )
        )
    return tuple(found)


def _line(item: HealthItem) -> Line:
    reason = UNIT.sub(NO_BREAK, item.reason.replace(" +- ", f"{NO_BREAK}±{NO_BREAK}").replace("degC", "°C"))
    return Line(item.light, LIGHT_WORDS[item.light], _sign(item.light), item.name, reason, where(item), item.todo)


def _sign(light: Light) -> str:
    return (
        f'<svg class="sign {light}" viewBox="0 0 20 20" width="20" height="20" aria-hidden="true">{SIGNS[light]}</svg>'
    )
