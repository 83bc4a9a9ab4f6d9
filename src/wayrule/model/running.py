"""What a train meets on a line: curves, couplers, clearances, pull, speeds."""

from dataclasses import dataclass

from wayrule.model.arrays import Array, frozen
from wayrule.model.stock import Train


@dataclass(frozen=True, slots=True)
class Met:
    """The worst of one kind that a train meets.

    value, sd   in `unit`; sd NaN where it has none
    s_mm        where
    words       one sentence, with what was assumed
    """

    name: str
    value: float
    sd: float
    unit: str
    s_mm: float
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Running:
    """A train on a line.

    met          what it meets, kind by kind
    s_mm         (n,) chainages of the stations
    coupler_mm   (n,) largest sideways offset of coupler against coupler with a coupling there; NaN near open ends
    pull_n       (n, 2) pull at the engine's coupler with the train's middle there, towards growing and falling
                 chainage; NaN where a mass is not known
    assumed      one sentence each: what is not known and what was taken instead
    """

    train: Train
    met: tuple[Met, ...]
    s_mm: Array
    coupler_mm: Array
    pull_n: Array
    assumed: tuple[str, ...]

    def __post_init__(self) -> None:
        frozen(self, "s_mm", (None,))
        frozen(self, "coupler_mm", (len(self.s_mm),))
        frozen(self, "pull_n", (len(self.s_mm), 2))

    def worst(self, name: str) -> Met | None:
        """What it meets of a kind; None where it meets none."""
        return next((one for one in self.met if one.name == name), None)
