"""The card of a run as a plain mapping, for `survey.json` and for a machine's reader."""

import dataclasses
from typing import Any

from wayrule.model import Health


def health_content(health: Health | None) -> dict[str, Any] | None:
    """The card: its light, and each item with reason, places, value and limit; None where nobody looked.

    >>> from wayrule.model import HealthItem
    >>> card = health_content(Health("monday", (HealthItem("knocks", "green", "No knock."),)))
    >>> card["light"], card["items"][0]["name"]
    ('green', 'knocks')
    """
    if health is None:
        return None
    return {"light": health.light, "items": [dataclasses.asdict(item) for item in health.items]}
