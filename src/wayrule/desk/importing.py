"""`import`: how a log is understood, what was wrong with it, and the same run in the general form."""

from dataclasses import dataclass
from os import fspath
from pathlib import Path
from typing import Final

from wayrule import store
from wayrule.desk.opening import PathName, preview_of, read_recording, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError
from wayrule.formats.columns import Meaning
from wayrule.formats.recording import Preview
from wayrule.formats.recordingwriter import write_recording
from wayrule.model import Recording, Wagon
from wayrule.report.tables import Table

SHOWN_UNITS: Final = {
    "mt": "mT", "ut": "µT", "t": "T", "nt": "nT", "dps": "°/s", "deg_s": "°/s", "mdps": "m°/s", "rad_s": "rad/s",
    "m_s2": "m/s²", "mm_s2": "mm/s²", "mm_s": "mm/s", "cm_s": "cm/s", "m_s": "m/s", "km_h": "km/h", "in_s": "in/s",
    "us": "µs", "um": "µm", "c": "°C", "count": "", "sample": "samples",
}  # fmt: skip
"""Unit suffix -> how it is written for people, where that differs."""


@dataclass(frozen=True, slots=True)
class ImportResult:
    """A log as understood.

    understood  separator ("frames" for a raw log), header, and what each column was taken for
    recording   what was read, repaired and counted
    general     the same as CSV in the general form
    """

    wagon: Wagon
    understood: Preview
    recording: Recording
    general: bytes

    def column_table(self) -> Table:
        """What each column of the log was taken for, or why it is not used."""
        rows = []
        for use in self.understood.columns:
            if use.meaning is None:
                rows.append((use.theirs, "not used", "", use.note))
            else:
                remark = "sign turned" if use.sign < 0 else use.note
                rows.append(
                    (use.theirs, taken_for(use.meaning), SHOWN_UNITS.get(use.meaning.unit, use.meaning.unit), remark)
                )
        heads = ("Column", "Taken for", "Unit", "Remark")
        return Table("columns", "What the columns were taken for.", heads, (False,) * 4, tuple(rows))

    def row_table(self, count: int = 5) -> Table:
        """The first rows in the general form, numbers to five digits."""
        head, *rows = (line.split(",") for line in self.general.decode().splitlines()[: count + 1])
        cells = tuple(tuple(_five_digits(cell) for cell in row) for row in rows)
        return Table("rows", "First rows, in the general form.", tuple(head), (True,) * len(head), cells)


def taken_for(meaning: Meaning) -> str:
    """A column's meaning in words.

    >>> from wayrule.formats.columns import meaning_of
    >>> [taken_for(meaning_of(name)) for name in ("t_ms", "gz_dps", "wheel_mm_s", "mark")]
    ['time', 'rate of turn about z', 'wheel speed', 'mark']
    """
    axis = meaning.slot[-1]
    words = {
        "field": f"field along {axis}", "rate": f"rate of turn about {axis}", "count": "encoder count",
        "acceleration": f"specific force along {axis}", "speed": "wheel speed", "distance": "wheel distance",
    }  # fmt: skip
    return words.get(meaning.kind, meaning.kind)


def _five_digits(cell: str) -> str:
    try:
        return f"{float(cell):.5g}"
    except ValueError:
        return cell


def import_recording(
    run: PathName, wagon: PathName | Wagon, *, out: PathName | None = None, step: Step = silent
) -> ImportResult:
    """Read a log, say how its columns were understood, and write it in the general form.

    Parameters
    ----------
    run : path of the log; it is never changed
    wagon : its file, with a `[columns]` table for a foreign log
    out : CSV to write

    Raises
    ------
    RecordingError, WagonFileError   for what cannot be understood
    UsageError   when `out` is the log itself
    """
    if out is not None and Path(out).exists() and Path(out).samefile(run):
        raise UsageError(
            expected="another file than the recording itself",
            came=fspath(out),
            where="--out",
            next_step="give it a new name; a recording is never changed",
        )
    with step(f"reading {fspath(run)}"):
        known = read_wagon(wagon)
        understood = preview_of(run, known)
        recording = read_recording(run, known)
    general = write_recording(recording)
    if out is not None:
        with step(f"writing {fspath(out)}"):
            store.write_bytes(Path(out), general)
    return ImportResult(known, understood, recording, general)
