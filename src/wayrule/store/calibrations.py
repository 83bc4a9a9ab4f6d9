"""Calibration files: written once and never over another, chosen from a folder by date."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wayrule.errors import UsageError, WayruleError
from wayrule.formats import calibrationfile
from wayrule.formats.jsonfile import write_json
from wayrule.model import Calibration
from wayrule.store.files import read_bytes, write_bytes

ENDINGS: Final = ("*.calibration.json", "calibration.json")
"""What a folder is searched for; a survey's has no name of its own."""


def read_calibration(path: Path) -> Calibration:
    """A calibration from its file.

    Raises
    ------
    WayruleError       when there is no such file
    CalibrationError   when it is not as it was written
    """
    return calibrationfile.read_calibration(read_bytes(path), str(path))


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """A calibration, the file it came from, and why that one: "" for one that was named."""

    calibration: Calibration
    path: Path
    why: str


def choose_calibration(path: Path, wagon_name: str) -> Chosen:
    """A calibration file, or the newest of a wagon's in a folder.

    Parameters
    ----------
    path : Path         of a file, or of a folder
    wagon_name : str    only this wagon's count in a folder

    Returns
    -------
    Chosen   in a folder the one that was made last; files that say no date are older than any that does

    Raises
    ------
    UsageError         a folder without a calibration of this wagon, or several of one date
    CalibrationError   a file that is not as it was written, in a folder too: it might be the newest
    """
    if not path.is_dir():
        return Chosen(read_calibration(path), path, "")
    files = sorted({file for ending in ENDINGS for file in path.glob(ending) if file.is_file()})
    read = [(file, read_calibration(file)) for file in files]
    own = [(file, one) for file, one in read if one.wagon_name == wagon_name]
    if not own:
        others = ", ".join(dict.fromkeys(one.wagon_name for _, one in read))
        raise UsageError(
            expected=f"a calibration of {wagon_name} (NAME.calibration.json or calibration.json)",
            came=f"those of {others}" if others else "none at all",
            where=str(path),
            next_step="name another folder or a file, or go on without --calibration",
        )
    newest = max(one.made for _, one in own)
    best = [(file, one) for file, one in own if one.made == newest]
    if len(best) > 1:
        raise UsageError(
            expected="one newest calibration",
            came=f"{best[0][0].name} and {best[1][0].name}, both {'made ' + newest if newest else 'without a date'}",
            where=str(path),
            next_step="name the one to use",
        )
    ((file, one),) = best
    of = f"the newest of {len(own)}" if len(own) > 1 else "the only one"
    return Chosen(one, file, f"{of} of this wagon in {path}" + (f", made {newest}" if newest else ""))


def write_calibration(folder: Path, calibration: Calibration) -> Path:
    """Write a calibration under a name of its own, NAME.YYYYMMDDTHHMMSS.calibration.json; no file is ever written over.

    Returns
    -------
    Path   the file; with -2, -3 ... in its name where there was one of the same second

    Raises
    ------
    WayruleError   when it cannot be written
    """
    stamp = re.sub(r"[-:Z]", "", calibration.made) or "undated"
    data = write_json(calibrationfile.calibration_content(calibration))
    for number in range(1, 1000):
        more = "" if number == 1 else f"-{number}"
        path = folder / f"{file_name(calibration.wagon_name)}.{stamp}{more}.calibration.json"
        if _reserved(path):
            try:
                return write_bytes(path, data)
            except BaseException:
                path.unlink(missing_ok=True)
                raise
    raise UsageError(
        expected="a free file name", came="a thousand of this second", where=str(folder), next_step="name another --out"
    )


def _reserved(path: Path) -> bool:
    """Make an empty file of this name; False where there is one."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb"):
            return True
    except FileExistsError:
        if path.parent.is_dir():
            return False
        raise _not_written(path, "a file in the place of the folder") from None
    except OSError as error:
        raise _not_written(path, error.strerror or str(error)) from None


def _not_written(path: Path, came: str) -> WayruleError:
    return WayruleError(
        expected="a folder that can be written",
        came=came,
        where=str(path.parent),
        next_step="name another folder for --out, or change its permissions",
    )


def file_name(wagon_name: str) -> str:
    """A wagon's name as a part of a file's: letters, digits and hyphens of any script, no longer than 60.

    >>> file_name("Heather Vale inspection van 7"), file_name("../..")
    ('heather-vale-inspection-van-7', 'wagon')
    """
    return re.sub(r"[^\w]+", "-", wagon_name.lower()).strip("-_")[:60].rstrip("-") or "wagon"
