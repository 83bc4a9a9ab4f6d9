"""Steps of a calibration that may find nothing: what they found, and why they did not, side by side."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from wayrule.errors import WayruleError
from wayrule.model import Shown

Found = TypeVar("Found")


@dataclass(slots=True)
class Attempts:
    """What the steps of one part have told so far.

    >>> part = Attempts()
    >>> part.run(lambda: 5)
    5
    """

    told: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    shown: list[Shown] = field(default_factory=list)

    def run(self, step: Callable[[], Found]) -> Found | None:
        """What a step finds; None where it refuses, and its reason is kept."""
        try:
            return step()
        except WayruleError as error:
            self.refused.append(str(error))
            return None

    def news(self, shown: Shown) -> None:
        """Keep what a step has shown."""
        self.shown.append(shown)
        self.told.append(shown.text)
