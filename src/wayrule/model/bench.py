"""What the bench says of a wagon before metal is cut: the field over a turn, the error budget, the verdict."""

import math
from dataclasses import dataclass
from typing import Literal

from wayrule.model.arrays import Array, frozen
from wayrule.model.wagon import Wagon
from wayrule.model.worksheet import Caution

Word = Literal["works", "poor", "fails"]
"""`works`: as well as the wheel's own diameter lets it; `poor`: it reads, but much is left on the table; `fails`: the
turns are not counted, or nothing of use is read."""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One cause of error, as standard deviations.

    cause           in a few words
    before_rad      of one reading of the axle's angle, before the harmonics are learnt from the run
    after_rad       of the same, after
    distance_mm     of the distance between two places of one run, after: it repeats with each turn or stays as it is,
                    however long the way
    share           of the way: it adds up, 0.004 is 4 mm on a metre
    root_mm         on a metre, of what grows with the root of the way
    how             in words, where the number comes from
    """

    cause: str
    before_rad: float
    after_rad: float
    distance_mm: float
    share: float
    root_mm: float
    how: str

    def on_mm(self, way_mm: float) -> float:
        """Sd of the distance over a way [mm].

        >>> BudgetLine("wheel", 0.0, 0.0, 0.0, 0.004, 0.0, "caliper").on_mm(2000.0)
        8.0
        """
        return math.sqrt(self.distance_mm**2 + (self.share * way_mm) ** 2 + self.root_mm**2 * way_mm / 1000.0)


@dataclass(frozen=True, slots=True)
class Budget:
    """The error budget of a wagon.

    lines             causes; they are independent, so their squares add
    way_mm            of which it speaks
    turns             of the wheel on that way
    speed_mm_s        of the wagon
    signal_mt         half axes of the ellipse that the field draws, greater and smaller
    range_mt          of the sensor; NaN where it is not stated
    nearest_mt        greatest component of the field with all at its nearest and strongest: play, springs, grade, cold
    farthest_mt       smaller half axis with all at its farthest and weakest
    reading_sd_mt     of one component: noise and steps
    resolution_um     sd of one reading as travel, over the turn; worst_um: where it is worst
    top_mm_s          speed from which turns may be miscounted at the sensor's rate; NaN where no rate is stated
    rate_hz           needed for 120 km/h at scale
    """

    lines: tuple[BudgetLine, ...]
    way_mm: float
    turns: float
    speed_mm_s: float
    signal_mt: tuple[float, float]
    range_mt: float
    nearest_mt: float
    farthest_mt: float
    reading_sd_mt: float
    resolution_um: float
    worst_um: float
    top_mm_s: float
    rate_hz: float

    @property
    def before_rad(self) -> float:
        """Sd of one reading of the axle's angle before the harmonics are learnt."""
        return math.sqrt(sum(line.before_rad**2 for line in self.lines))

    @property
    def after_rad(self) -> float:
        """The same after."""
        return math.sqrt(sum(line.after_rad**2 for line in self.lines))

    @property
    def repeats_mm(self) -> float:
        """Sd of the distance between two places from all that does not add up along the line."""
        return math.sqrt(sum(line.distance_mm**2 for line in self.lines))

    @property
    def adds_mm(self) -> float:
        """Sd of the distance over the way from what adds up."""
        return math.sqrt(sum(line.on_mm(self.way_mm) ** 2 - line.distance_mm**2 for line in self.lines))

    @property
    def distance_sd_mm(self) -> float:
        """Sd of the distance over the way, all together."""
        return math.hypot(self.repeats_mm, self.adds_mm)

    @property
    def dominant(self) -> BudgetLine:
        """The greatest line of those that do not add up."""
        return max(self.lines, key=lambda line: line.distance_mm)

    @property
    def saturates(self) -> bool:
        """Whether the nearest field leaves the sensor's range."""
        return self.nearest_mt > self.range_mt

    @property
    def signal_to_noise(self) -> float:
        """Smaller half axis over the sd of one reading."""
        return self.signal_mt[1] / self.reading_sd_mt if self.reading_sd_mt else math.inf


@dataclass(frozen=True, slots=True)
class Option:
    """One change, tried.

    change          in words, what to do
    distance_mm     sd of the distance from all that does not add up, with it
    gain            that of the wagon as it is, over it
    signal_mt       smaller half axis with it
    text            one line with the numbers
    """

    change: str
    distance_mm: float
    gain: float
    signal_mt: float
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """The answer.

    word        "works", "poor" or "fails"
    verdict     in sentences
    options     what could be changed, best first, each one tried
    phi_rad     (a,) axle angles of a turn
    field_mt    (a, 3) at the sensor: forward, left, up
    budget      line by line
    turning     whether the wheel still turns, in sentences
    remarks     floor, speed, disturbers, and what clashes
    missing     what the wagon file does not say, and what was taken instead
    """

    wagon: Wagon
    word: Word
    verdict: tuple[str, ...]
    options: tuple[Option, ...]
    phi_rad: Array
    field_mt: Array
    budget: Budget
    turning: tuple[str, ...]
    remarks: tuple[str, ...]
    missing: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def __post_init__(self) -> None:
        frozen(self, "phi_rad", (None,))
        frozen(self, "field_mt", (len(self.phi_rad), 3))
