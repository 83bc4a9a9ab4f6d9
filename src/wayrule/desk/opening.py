"""What a person names, opened: wagon files, recordings."""

from collections.abc import Iterable
from os import PathLike, fspath
from pathlib import Path

from wayrule import store
from wayrule.desk.rawlogs import recording_from, understood
from wayrule.desk.steps import Step
from wayrule.errors import UsageError
from wayrule.formats import recording as recordings
from wayrule.formats import wagonfile
from wayrule.formats.rawlog import is_raw_log
from wayrule.formats.rawlogreader import read_raw_log
from wayrule.formats.spelling import parse_wagon, run_names
from wayrule.model import Recording, Survey, Surveyed, Wagon, surveyed_of

PathName = str | PathLike[str]


def read_wagon(wagon: PathName | Wagon) -> Wagon:
    """The wagon of a wagon file; a wagon stays what it is.

    Raises
    ------
    WagonFileError   in one line, naming key, value, what is allowed and the nearest known key
    """
    if isinstance(wagon, Wagon):
        return wagon
    return wagonfile.read_wagon(store.read_bytes(Path(wagon)), fspath(wagon))


def open_survey(survey: PathName | Survey | Surveyed, name: str = "survey") -> Surveyed:
    """The survey of a folder; one in hand is taken as it is and called `name`.

    Raises
    ------
    WayruleError   in one line, for what is no survey folder or not as `wayrule survey` writes it
    """
    if isinstance(survey, Surveyed):
        return survey
    return surveyed_of(survey, name) if isinstance(survey, Survey) else store.read_survey(Path(survey))


def read_recording(path: PathName, wagon: Wagon, name: str = "") -> Recording:
    """One recording, read and repaired as the wagon's file says; the run is named after its file, or `name`.

    A raw log with several wagons needs `PATH@wagon=NAME`; its later segments are found beside it.

    Raises
    ------
    RecordingError   for what cannot be read or repaired
    """
    bits = wagon.wheel.counter_bits
    run = name or run_names([fspath(path)])[0]
    file, wanted = parse_wagon(fspath(path))
    data = store.read_bytes(Path(file))
    if is_raw_log(data):
        segments = store.read_segments(Path(file))
        digest = store.sha256(b"".join(part for _, part in segments))
        return recording_from(read_raw_log(segments), run, file, wagon, wanted=wanted, sha256=digest)
    if wanted:
        raise UsageError(
            expected="@wagon= behind a raw log, which may hold several wagons",
            came="a text log",
            where=fspath(path),
            next_step=f"write {file}",
        )
    return recordings.read_recording(data, run, wagon.columns, sensor=wagon.sensor, imu=wagon.imu, counter_bits=bits)


def preview_of(path: PathName, wagon: Wagon) -> recordings.Preview:
    """What the columns of a recording are taken for.

    Raises
    ------
    RecordingError   when there is no header, or a name does not fit
    """
    file, wanted = parse_wagon(fspath(path))
    data = store.read_bytes(Path(file))
    if is_raw_log(data):
        return understood(read_raw_log(store.read_segments(Path(file))), file, wagon.columns, wanted)
    return recordings.preview(data, fspath(path), wagon.columns)


def open_runs(paths: dict[str, str], wagon: Wagon, step: Step) -> Iterable[Recording]:
    """The recordings of `name -> path`, in order."""
    for name, path in paths.items():
        with step(f"reading {path}"):
            recording = read_recording(path, wagon, name)
        yield recording
