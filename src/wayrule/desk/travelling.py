"""`travel`: how far, how fast and when it stood, for each run on its own; the first thing a practitioner looks at."""

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike, fspath
from pathlib import Path

from wayrule import pipeline, store
from wayrule.desk.calibrating import remembered
from wayrule.desk.frame import framed
from wayrule.desk.opening import PathName, open_runs, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.formats.spelling import run_names
from wayrule.model import Calibration, Travel, Wagon
from wayrule.report.page import travel_page
from wayrule.version import VERSION


@dataclass(frozen=True, slots=True)
class TravelResult:
    """Runs as movement, one each, in the order given; a notebook shows them as pictures."""

    wagon: Wagon
    travels: tuple[Travel, ...]

    def page(self) -> str:
        """The report, a whole HTML page."""
        return travel_page(self.travels, self.wagon, version=VERSION)

    def save(self, folder: PathName) -> list[Path]:
        """Write `travel/RUN.csv` for each run and `report.html` into `folder`; returns what was written."""
        place = Path(folder)
        return [
            *(store.write_travel(place, travel, self.wagon.ratio) for travel in self.travels),
            store.write_text(place / "report.html", self.page()),
        ]

    def _repr_html_(self) -> str:
        return framed(self.page(), 900)


def travel(
    runs: PathName | Sequence[PathName],
    wagon: PathName | Wagon,
    *,
    calibration: PathName | Calibration | None = None,
    out: PathName | None = None,
    step: Step = silent,
) -> TravelResult:
    """Distance, speed and state of runs against time, each with its sigma.

    Parameters
    ----------
    runs : path of a recording, or several of them
    wagon : its file, or the wagon
    calibration : of this wagon, a file, a folder of them (the newest) or one in hand: the field is compared with it
    out : folder to write into as well
    step : shows what is being done

    Raises
    ------
    RecordingError, WagonFileError, CalibrationError, UsageError, UndeterminedError   each in one line
    """
    with step("reading the wagon file"):
        known = read_wagon(wagon)
        before, _ = remembered(calibration, known)
    words = [fspath(run) for run in ([runs] if isinstance(runs, str | PathLike) else runs)]
    found = []
    for recording in open_runs(dict(zip(run_names(words), words, strict=True)), known, step):
        with step(f"from field to travel: {recording.name}"):
            found.append(pipeline.travel(recording, known, axle=before.axle if before else None))
    result = TravelResult(known, tuple(found))
    if out is not None:
        with step(f"writing {fspath(out)}"):
            result.save(out)
    return result
