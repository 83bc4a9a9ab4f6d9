"""What a person names, opened: wagon files, recordings."""

from collections.abc import Iterable
from os import PathLike, fspath
from pathlib import Path

from wayrule import store
from wayrule.desk.steps import Step
from wayrule.formats import recording as recordings
from wayrule.formats import wagonfile
from wayrule.formats.spelling import run_names
from wayrule.model import Recording, Wagon

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


def read_recording(path: PathName, wagon: Wagon, name: str = "") -> Recording:
    """One recording, read and repaired as the wagon's file says; the run is named after its file, or `name`.

    Raises
    ------
    RecordingError   for what cannot be read or repaired
    """
    bits = wagon.wheel.counter_bits
    data = store.read_bytes(Path(path))
    run = name or run_names([fspath(path)])[0]
    return recordings.read_recording(data, run, wagon.columns, sensor=wagon.sensor, imu=wagon.imu, counter_bits=bits)


def open_runs(paths: dict[str, str], wagon: Wagon, step: Step) -> Iterable[Recording]:
    """The recordings of `name -> path`, in order."""
    for name, path in paths.items():
        with step(f"reading {path}"):
            recording = read_recording(path, wagon, name)
        yield recording
