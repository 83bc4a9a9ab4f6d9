"""The survey folder: what a survey found, as plain files that other programs read too."""

from pathlib import Path

from wayrule.errors import WayruleError
from wayrule.formats import calibrationfile
from wayrule.formats.jsonfile import write_json
from wayrule.formats.surveyfolder import FILES, read_survey_folder
from wayrule.formats.surveyjson import survey_content
from wayrule.formats.tables import write_elements, write_faults, write_stations
from wayrule.formats.tables import write_travel as travel_table
from wayrule.model import Survey, Surveyed, Travel
from wayrule.store.files import read_bytes, write_bytes
from wayrule.store.swap import write_folder


def survey_files(survey: Survey, page: str) -> dict[str, bytes]:
    """All files of a survey folder: name -> bytes; `page` is the report."""
    return {
        "stations.csv": write_stations(survey.stations),
        "elements.csv": write_elements(survey.elements),
        "faults.csv": write_faults(survey.faults),
        **{f"travel/{travel.run}.csv": travel_table(travel, survey.ratio) for travel in survey.travels},
        "survey.json": write_json(survey_content(survey)),
        "calibration.json": write_json(calibrationfile.calibration_content(survey.calibration)),
        "report.html": page.encode(),
    }


def write_survey(folder: Path, survey: Survey, page: str) -> list[Path]:
    """Write a survey folder, whole or not at all; an earlier survey there is replaced.

    Returns
    -------
    list of Path   the files written

    Raises
    ------
    UsageError    when the folder holds something else
    WayruleError  when it cannot be written
    """
    return write_folder(folder, survey_files(survey, page))


def write_travel(folder: Path, travel: Travel, ratio: float) -> Path:
    """Write `travel/RUN.csv` into a folder."""
    return write_bytes(folder / "travel" / f"{travel.run}.csv", travel_table(travel, ratio))


def read_survey(folder: Path) -> Surveyed:
    """A survey folder read back; named after the folder.

    Raises
    ------
    WayruleError   for what is no survey folder, and for a file in it that is not as a survey writes it
    """
    if not (folder / FILES[0]).is_file():
        raise WayruleError(
            expected="a survey folder",
            came=f"a folder without {FILES[0]}" if folder.is_dir() else "a file" if folder.exists() else "nothing",
            where=str(folder),
            next_step="give the folder that `wayrule survey ... --out DIR` wrote",
        )
    files = {name: read_bytes(folder / name) for name in FILES}
    return read_survey_folder(files, str(folder), folder.resolve().name)
