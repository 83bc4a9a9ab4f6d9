"""The only place that opens files: whole reads, atomic writes, survey folders that are complete or as they were."""

from wayrule.store.calibrations import Chosen, choose_calibration, read_calibration, write_calibration
from wayrule.store.files import read_bytes, read_segments, sha256, write_bytes, write_text
from wayrule.store.project import Held, files_in, held, within
from wayrule.store.survey_folder import read_survey, survey_files, write_survey, write_travel
from wayrule.store.swap import write_folder

__all__ = [
    "Chosen",
    "Held",
    "choose_calibration",
    "files_in",
    "held",
    "read_bytes",
    "read_calibration",
    "read_segments",
    "read_survey",
    "sha256",
    "survey_files",
    "within",
    "write_bytes",
    "write_calibration",
    "write_folder",
    "write_survey",
    "write_text",
    "write_travel",
]
