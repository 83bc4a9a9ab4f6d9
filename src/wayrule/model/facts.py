"""What a person states about a line beside the recordings: laps, tapes, known places, level and straight."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

NAN = float("nan")

START_LEVEL_SD = 0.02
"""A model line starts within so much of level (one sigma of its gradient; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Control:
    """A place on the line whose coordinates or heading are known from outside.

    at              "start" or "end" of the first run named, or the name of a mark
    x_mm, y_mm      plan coordinates [mm], both or neither; NaN = unknown
    z_mm            height [mm], NaN = unknown
    heading_rad     direction of growing chainage, from x towards y [rad], NaN = unknown
    sd_mm           sd of x and of y [mm]; z_sd_mm and heading_sd_rad likewise; NaN where the value is unknown
    """

    at: str
    x_mm: float = NAN
    y_mm: float = NAN
    z_mm: float = NAN
    heading_rad: float = NAN
    sd_mm: float = NAN
    z_sd_mm: float = NAN
    heading_sd_rad: float = NAN

    def __post_init__(self) -> None:
        if not self.at:
            raise ValueError("Control.at: expected start, end or the name of a mark, came nothing")
        if math.isnan(self.x_mm) != math.isnan(self.y_mm):
            raise ValueError(f"Control {self.at}: x_mm and y_mm are known together or not at all")
        for value, sd in (("x_mm", "sd_mm"), ("z_mm", "z_sd_mm"), ("heading_rad", "heading_sd_rad")):
            if not math.isnan(getattr(self, value)) and not 0.0 < getattr(self, sd) < math.inf:
                raise ValueError(f"Control {self.at}: {value} is given, so {sd} must be > 0, came {getattr(self, sd)}")

    @property
    def has_plan(self) -> bool:
        """Whether x and y are known."""
        return not math.isnan(self.x_mm)

    @property
    def has_height(self) -> bool:
        """Whether z is known."""
        return not math.isnan(self.z_mm)

    @property
    def has_heading(self) -> bool:
        """Whether the heading is known."""
        return not math.isnan(self.heading_rad)


@dataclass(frozen=True, slots=True)
class Relation:
    """Where one place of the line lies as seen from another: a crossing, a bridge over the line itself, a turntable.

    at, to          "start" or "end" of the first run named, or the name of a mark: two different ones
    dx_mm, dy_mm    how far `to` lies ahead of `at` and to its left, along the line's heading there [mm], both or
                    neither; NaN = unknown
    dz_mm           how far it lies above [mm], NaN = unknown
    dheading_rad    its heading less that of `at`, whole turns apart [rad], left > 0; NaN = unknown
    sd_mm           sd of dx and of dy [mm]; z_sd_mm and heading_sd_rad likewise; NaN where the value is unknown

    Examples
    --------
    >>> bridge = Relation("under", "over", dx_mm=0.0, dy_mm=0.0, dz_mm=62.0, sd_mm=1.0, z_sd_mm=0.5)
    >>> bridge.has_plan, bridge.has_height, bridge.has_heading
    (True, True, False)
    """

    at: str
    to: str
    dx_mm: float = NAN
    dy_mm: float = NAN
    dz_mm: float = NAN
    dheading_rad: float = NAN
    sd_mm: float = NAN
    z_sd_mm: float = NAN
    heading_sd_rad: float = NAN

    def __post_init__(self) -> None:
        if not self.at or not self.to or self.at == self.to:
            raise ValueError(f"Relation: expected two different places, came {self.at!r} and {self.to!r}")
        if math.isnan(self.dx_mm) != math.isnan(self.dy_mm):
            raise ValueError(f"Relation {self.at}..{self.to}: dx_mm and dy_mm are known together or not at all")
        for value, sd in (("dx_mm", "sd_mm"), ("dz_mm", "z_sd_mm"), ("dheading_rad", "heading_sd_rad")):
            if not math.isnan(getattr(self, value)) and not 0.0 < getattr(self, sd) < math.inf:
                came = f"{value} is given, so {sd} must be > 0, came {getattr(self, sd)}"
                raise ValueError(f"Relation {self.at}..{self.to}: {came}")

    @property
    def has_plan(self) -> bool:
        """Whether dx and dy are known."""
        return not math.isnan(self.dx_mm)

    @property
    def tells_scale(self) -> bool:
        """Whether it knows a distance to 1 %, so that the line's length rests on it too."""
        return self.has_plan and self.sd_mm < 0.01 * math.hypot(self.dx_mm, self.dy_mm)

    @property
    def has_height(self) -> bool:
        """Whether dz is known."""
        return not math.isnan(self.dz_mm)

    @property
    def has_heading(self) -> bool:
        """Whether the change of heading is known."""
        return not math.isnan(self.dheading_rad)


@dataclass(frozen=True, slots=True)
class Tape:
    """A length along the track measured with a tape.

    what       "lap" (once round), "stops" (between a run's first two stops) or "MARK..MARK"
    length_mm  what the tape says [mm]
    sd_mm      how well [mm]
    """

    what: str
    length_mm: float
    sd_mm: float

    def __post_init__(self) -> None:
        if self.what not in ("lap", "stops") and self.marks is None:
            raise ValueError(f"Tape.what: expected lap, stops or MARK..MARK, came {self.what!r}")
        if not 0.0 < self.length_mm < math.inf:
            raise ValueError(f"Tape {self.what}: length_mm must be > 0, came {self.length_mm}")
        if not 0.0 < self.sd_mm < math.inf:
            raise ValueError(f"Tape {self.what}: sd_mm must be > 0, came {self.sd_mm}")

    @property
    def marks(self) -> tuple[str, str] | None:
        """The two marks between which it was stretched, or None for a lap or the stops."""
        first, dots, second = self.what.partition("..")
        return (first, second) if dots and first and second else None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of the line from `s0_mm` to `s1_mm` of chainage; on a closed line s1 may exceed the length."""

    s0_mm: float
    s1_mm: float

    def __post_init__(self) -> None:
        if not -math.inf < self.s0_mm < self.s1_mm < math.inf:
            raise ValueError(f"Stretch: expected s0_mm < s1_mm, came {self.s0_mm} and {self.s1_mm}")

    @property
    def length_mm(self) -> float:
        """Its length [mm]."""
        return self.s1_mm - self.s0_mm


@dataclass(frozen=True, slots=True)
class Facts:
    """All that was stated beside the recordings of one line; nothing stated is the default.

    laps      run name -> whole laps, where stated (the run ends where it began)
    turned    names of the runs whose marked front points against growing chainage
    relations   where one place of the line lies as seen from another
    level     stretches known to be level; straight: stretches known to be straight
    open      the line is open, however much its bends repeat
    not_turned   names of the runs whose marked front points along growing chainage, however they fit
    as_mounted   names of the runs whose wheel and inertial sensor sit as they say, whatever the accelerometer feels
    start_level_sd   how near to level the line's start is believed to be, one sigma of its gradient

    Examples
    --------
    >>> Facts(laps={"monday": 4}, tapes=(Tape("lap", 9012.0, 5.0),)).laps["monday"]
    4
    """

    laps: Mapping[str, int] = field(default_factory=dict)
    turned: frozenset[str] = frozenset()
    tapes: tuple[Tape, ...] = ()
    controls: tuple[Control, ...] = ()
    relations: tuple[Relation, ...] = ()
    level: tuple[Stretch, ...] = ()
    straight: tuple[Stretch, ...] = ()
    open: bool = False
    not_turned: frozenset[str] = frozenset()
    as_mounted: frozenset[str] = frozenset()
    start_level_sd: float = START_LEVEL_SD

    def __post_init__(self) -> None:
        for run, laps in self.laps.items():
            if laps < 1:
                raise ValueError(f"Facts.laps: run {run}: expected a whole number of laps >= 1, came {laps}")
        if self.open and self.laps:
            raise ValueError(f"Facts: an open line has no laps, came {dict(self.laps)}")
        if both := self.turned & self.not_turned:
            raise ValueError(f"Facts: turned and not turned at once: {', '.join(sorted(both))}")
        if not 0.0 < self.start_level_sd < math.inf:
            raise ValueError(f"Facts.start_level_sd must be > 0, came {self.start_level_sd}")
        object.__setattr__(self, "laps", MappingProxyType(dict(self.laps)))
