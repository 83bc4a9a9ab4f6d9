"""What a day of calibrating has found: part by part, what is known, what was refused and why, and what to do next."""

from dataclasses import dataclass
from typing import Literal

from wayrule.model.axlelearned import AxleLearned
from wayrule.model.calibration import Calibration
from wayrule.model.inertial import Seat
from wayrule.model.purpose import Purpose
from wayrule.model.recording import Problem
from wayrule.model.rolling import DistanceStep

Standing = Literal["known", "partly known", "not yet known"]


@dataclass(frozen=True, slots=True)
class CalibrationPart:
    """One part of the instrument.

    name       "axle angle", "distance" ...
    standing   how far it is known now, an earlier calibration included
    told       what was found today, a sentence each
    refused    what could not be used, and why, a sentence each
    todo       what would tell most next, one sentence; "" where nothing is left to do
    """

    name: str
    standing: Standing
    told: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    todo: str = ""

    def __post_init__(self) -> None:
        if self.standing not in ("known", "partly known", "not yet known"):
            raise ValueError(f"CalibrationPart {self.name}: expected how far it is known, came {self.standing!r}")
        if self.standing == "not yet known" and not self.todo:
            raise ValueError(f"CalibrationPart {self.name}: expected what to do about what is not known")


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationDay:
    """A day of calibrating.

    calibration   the wagon as it is known now; before: as it was, None where nothing was
    parts         in the order of the work
    purposes      (recording, what it was taken for), in the order given
    distance      today's calibration of the distance; None where no tape told
    problems      of the recordings
    axle          what the axle's field has taught today; None where nothing was fit for it
    seat          how the inertial sensor sits, to be looked at before it is accepted; None where nothing shows it
    """

    wagon_name: str
    calibration: Calibration
    before: Calibration | None
    parts: tuple[CalibrationPart, ...]
    purposes: tuple[tuple[str, Purpose], ...]
    distance: DistanceStep | None
    problems: tuple[Problem, ...]
    axle: AxleLearned | None = None
    seat: Seat | None = None

    def part(self, name: str) -> CalibrationPart:
        """A part by its name; KeyError for one that there is not."""
        for one in self.parts:
            if one.name == name:
                return one
        raise KeyError(f"{name!r} is none of {', '.join(one.name for one in self.parts)}")

    @property
    def todo(self) -> tuple[str, ...]:
        """What to do next, what tells most first: of parts not yet known, then of those partly known."""
        order = ("not yet known", "partly known", "known")
        return tuple(one.todo for standing in order for one in self.parts if one.standing == standing and one.todo)
