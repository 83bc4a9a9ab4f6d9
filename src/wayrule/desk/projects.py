"""A project folder as a person thinks of it: layouts, what each of them holds, and what is next."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from wayrule import store
from wayrule.desk.opening import PathName
from wayrule.errors import WayruleError

Next = Literal["wagon", "recording", "survey", "look"]


@dataclass(frozen=True, slots=True)
class SurveyHeld:
    """A survey that a layout holds.

    path     from the project folder on
    faults   how many it found
    problem  why it cannot be read; "" for a good one, whose numbers then are known
    """

    path: str
    name: str
    length_mm: float = float("nan")
    closed: bool = False
    stations: int = 0
    faults: int = 0
    wagon: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """One layout: its files by kind, each by its path from the project folder on."""

    name: str
    wagons: tuple[str, ...]
    recordings: tuple[str, ...]
    calibrations: tuple[str, ...]
    surveys: tuple[SurveyHeld, ...]

    @property
    def next(self) -> Next:
        """What is missing first, in the order of the work."""
        if any(not survey.problem for survey in self.surveys):
            return "look"
        return "wagon" if not self.wagons else "survey" if self.recordings else "recording"


def layouts(project: PathName) -> tuple[Layout, ...]:
    """The layouts of a project folder: one for each folder in it, and one for what lies in it directly.

    A folder with nothing but calibrations serves all layouts and is told with what lies in the project directly.

    Raises
    ------
    WayruleError   when there is no such folder
    """
    root = Path(project)
    if not root.is_dir():
        raise WayruleError(
            expected="a project folder",
            came="a file" if root.exists() else "nothing there",
            where=str(root),
            next_step="make it, or name another",
        )
    groups: dict[str, list[store.Held]] = {}
    for thing in store.held(root):
        first, _, rest = thing.path.partition("/")
        groups.setdefault(first if rest else "", []).append(thing)
    for name in [n for n, things in groups.items() if n and {t.kind for t in things} == {"calibration"}]:
        groups.setdefault("", []).extend(groups.pop(name))
    return tuple(_layout(name or root.resolve().name, groups[name], root) for name in sorted(groups))


def _layout(name: str, things: list[store.Held], root: Path) -> Layout:
    by_kind = {kind: tuple(t.path for t in things if t.kind == kind) for kind in ("wagon", "recording", "calibration")}
    surveys = tuple(_survey(t.path, root) for t in things if t.kind == "survey")
    return Layout(name, by_kind["wagon"], by_kind["recording"], by_kind["calibration"], surveys)


def _survey(path: str, root: Path) -> SurveyHeld:
    name = path.rpartition("/")[2]
    try:
        found = store.read_survey(root / path)
    except WayruleError as error:
        return SurveyHeld(path, name, problem=str(error).replace(f"{root}{os.sep}", ""))
    line = found.stations
    return SurveyHeld(
        path, name, line.length_mm, line.closed, len(line.s_mm), len(found.faults), wagon=found.wagon_name
    )
