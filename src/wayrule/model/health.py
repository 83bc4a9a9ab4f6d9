"""Whether a run's instrument can be trusted: a card of items, each green, amber, red or not known, with its reason."""

import dataclasses
import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from wayrule.model.arrays import Array

Light = Literal["green", "amber", "red", "unknown"]

WORSE: Final[tuple[Light, ...]] = ("unknown", "green", "amber", "red")
"""From what weighs least to what weighs most: what is not known neither spoils a card nor saves one."""


@dataclass(frozen=True, slots=True)
class Limit:
    """From where on an item is amber, and from where on red; a limit is data, not code.

    amber, red   in `unit`; the worse it is, the larger (a share that falls is told as what is missing)
    source       document and clause, or "our choice, no source", with the reason
    """

    unit: str
    amber: float
    red: float
    source: str

    def light(self, value: float) -> Light:
        """What a value is worth; NaN is not known.

        >>> one = Limit("g", 0.5, 2.0, "our choice, no source")
        >>> one.light(0.1), one.light(0.5), one.light(7.0), one.light(float("nan"))
        ('green', 'amber', 'red', 'unknown')
        """
        if math.isnan(value):
            return "unknown"
        return "red" if value >= self.red else "amber" if value >= self.amber else "green"


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in a run something was: from when to when [s on its clock], how far it had rolled by then and where on the
    line that was [mm]; NaN where it is not known."""

    first_s: float
    last_s: float
    rolled_mm: float = math.nan
    chainage_mm: float = math.nan


@dataclass(frozen=True, slots=True)
class HealthItem:
    """One item of the card.

    name     short, "field strength"
    light    green: trust it; amber: look; red: do not trust what depends on it; unknown: the run does not say
    reason   one sentence with the figures behind the light, or why there is none
    todo     what to do about it, one sentence; "" where nothing is to be done
    spots    where, the worst first
    value    what was held against `limit`, in its unit; NaN where nothing was
    limit    None where nothing was measured against one
    """

    name: str
    light: Light
    reason: str
    todo: str = ""
    spots: tuple[Spot, ...] = ()
    value: float = math.nan
    limit: Limit | None = None

    def __post_init__(self) -> None:
        if self.light not in WORSE:
            raise ValueError(f"HealthItem {self.name}: expected a light of {', '.join(WORSE)}, came {self.light!r}")
        if not self.reason or (self.light in ("amber", "red") and not self.todo):
            raise ValueError(f"HealthItem {self.name}: expected a reason, and where it is {self.light} what to do")


@dataclass(frozen=True, slots=True)
class Health:
    """The card of one run, or of a window of one.

    >>> fine = HealthItem("knocks", "green", "No knock.")
    >>> loud = HealthItem("noise", "amber", "Twice the wagon file's.", "Look at the sensor's supply.")
    >>> Health("monday", (fine, loud)).light
    'amber'
    """

    run: str
    items: tuple[HealthItem, ...]

    @property
    def light(self) -> Light:
        """The worst of its items."""
        return max((one.light for one in self.items), key=WORSE.index, default="unknown")

    def of(self, *lights: Light) -> tuple[HealthItem, ...]:
        """The items of these lights, in order."""
        return tuple(one for one in self.items if one.light in lights)

    def one(self, name: str) -> HealthItem:
        """An item by its name.

        Raises
        ------
        KeyError   for a name that is not on the card
        """
        for item in self.items:
            if item.name == name:
                return item
        raise KeyError(f"{name!r} is not on the card: {', '.join(item.name for item in self.items)}")

    def placed(self, t_s: Array, chainage_mm: Array) -> "Health":
        """The same with every spot's place on the line: chainage at its first moment.

        t_s, chainage_mm : (n,)   of the run, NaN where it has no place
        """
        if not len(t_s):
            return self

        def there(spot: Spot) -> Spot:
            at = min(int(np.searchsorted(t_s, spot.first_s)), len(t_s) - 1)
            return dataclasses.replace(spot, chainage_mm=float(chainage_mm[at]))

        return Health(
            self.run,
            tuple(dataclasses.replace(one, spots=tuple(there(spot) for spot in one.spots)) for one in self.items),
        )
