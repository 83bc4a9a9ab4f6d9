"""A survey to hand on: what its folder holds, and all of it as one archive."""

import io
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wayrule import store
from wayrule.desk.opening import PathName, open_survey
from wayrule.model import Surveyed

NO_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The first date that a ZIP archive knows: the same folder gives the same bytes."""


@dataclass(frozen=True, slots=True)
class Folder:
    """A survey with the files of its folder: (name, bytes in it)."""

    survey: Surveyed
    files: tuple[tuple[str, int], ...]


def folder_of(survey: PathName) -> Folder:
    """What a survey folder holds, a person's own files in it too.

    Raises
    ------
    WayruleError   for what is no survey folder
    """
    found = open_survey(survey)
    return Folder(found, tuple((name, len(data)) for name, data in store.files_in(Path(survey)).items()))


def archive(survey: PathName) -> bytes:
    """All files of a survey folder as one ZIP archive, in a folder of the survey's name.

    Raises
    ------
    WayruleError   for what is no survey folder
    """
    found = open_survey(survey)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as into:
        for name, data in store.files_in(Path(survey)).items():
            entry = zipfile.ZipInfo(f"{found.name}/{name}", NO_DATE)
            entry.external_attr = 0o644 << 16
            into.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def report_of(survey: PathName) -> bytes:
    """The report of a survey folder, a whole page.

    Raises
    ------
    WayruleError   for what is no survey folder, or one without a report
    """
    open_survey(survey)
    return store.read_bytes(Path(survey) / "report.html")
