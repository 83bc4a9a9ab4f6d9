"""A survey as its folder remembers it: the line, its pieces and faults, without the runs that it came from."""

from dataclasses import dataclass

from wayrule.model.recording import Mark
from wayrule.model.survey import Estimate, Survey
from wayrule.model.track import Element, Fault, Stations


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """What judging, mending, comparing and handing over need of a survey; the words are those of `Survey`.

    name        of the survey, for people: its folder's
    marks       (chainage [mm], mark)
    inputs      (role, file name, sha256)
    """

    name: str
    stations: Stations
    elements: tuple[Element, ...]
    faults: tuple[Fault, ...]
    marks: tuple[tuple[float, Mark], ...]
    estimates: tuple[Estimate, ...]
    assumptions: tuple[str, ...]
    inputs: tuple[tuple[str, str, str], ...]
    wagon_name: str
    scale: str
    ratio: float
    version: str

    @property
    def pieces(self) -> dict[str, tuple[Element, ...]]:
        """Elements by plane, each by chainage."""
        return {
            plane: tuple(sorted((e for e in self.elements if e.plane == plane), key=lambda e: e.s0_mm))
            for plane in ("plan", "profile")
        }


def surveyed_of(survey: Survey, name: str) -> Surveyed:
    """A survey in hand as one that was read from a folder."""
    return Surveyed(
        name=name,
        stations=survey.stations,
        elements=survey.elements,
        faults=survey.faults,
        marks=survey.marks,
        estimates=survey.estimates,
        assumptions=survey.assumptions,
        inputs=survey.inputs,
        wagon_name=survey.wagon_name,
        scale=survey.scale,
        ratio=survey.ratio,
        version=survey.version,
    )
