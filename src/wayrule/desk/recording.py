"""`record`: what wagons send, kept on disk as it comes, and what is known of it meanwhile."""

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wayrule import store
from wayrule.desk.opening import PathName, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError, WayruleError
from wayrule.formats.rawlog import ENDING
from wayrule.live.discovery import Found, look
from wayrule.live.links import link_of
from wayrule.live.links.serialport import usb_ports
from wayrule.live.recorder import Recorder, Watch
from wayrule.live.status import RecorderStatus
from wayrule.model import Calibration, Wagon
from wayrule.track.fitting import for_wagon

if TYPE_CHECKING:
    from wayrule.live.monitor import Monitor

DEFAULT_LINK: Final = "find:"

KEEP_FREE_MB: Final = 200.0
"""Room left on the disk when writing stops by itself: a system with none at all misbehaves."""

MB: Final = 1_000_000

LOOK_S: Final = 0.1


@dataclass(frozen=True, slots=True)
class RecordResult:
    """A recording that is over: its first file (later segments lie beside it), and how it stood at the end."""

    path: Path
    status: RecorderStatus


def begin_recording(
    links: PathName | Sequence[PathName] = DEFAULT_LINK,
    out: PathName | None = None,
    *,
    wagons: Iterable[PathName | Wagon] = (),
    calibration: PathName | None = None,
    survey: PathName | None = None,
    keep_free_mb: float = KEEP_FREE_MB,
    watch: Iterable[Watch] = (),
    monitor: "Monitor | None" = None,
) -> tuple[Path, Recorder]:
    """Begin to record, and go on until the recorder is closed.

    Parameters
    ----------
    links : as written, one or several; wagons that make themselves known on the network, if not given
    out : file to make, `.waylog` is put behind its name; named after the time if not given
    wagons : their files, for what is shown of them; the one that has the name a wagon tells, or the only one
    calibration : of the wagons, a file or a folder: with it the first turn of the axle is right at once
    survey : folder of a survey, to say where on its line they are
    keep_free_mb : room to leave on the disk
    watch : get every batch of frames as it is decoded
    monitor : follows the wagons; one is made if any wagon's file is given

    Returns
    -------
    (path, recorder)

    Raises
    ------
    UsageError, WayruleError, WagonFileError   each in one line
    """
    words = [str(link) for link in ([links] if isinstance(links, str | PathLike) else links)]
    known = [read_wagon(wagon) for wagon in wagons]
    path = log_path(out)
    if monitor is None and known:
        monitor = _monitor(known, calibration, survey)
    made = [link_of(word) for word in words or [DEFAULT_LINK]]
    if path.exists():
        raise UsageError(
            expected="a file that is not there yet",
            came="one that is",
            where=str(path),
            next_step="a recording is never written over; give another name",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WayruleError(
            expected="a folder that can be made",
            came=error.strerror or str(error),
            where=str(path.parent),
            next_step="choose another folder",
        ) from None
    return path, Recorder(path, made, wagons=known, keep_free=int(keep_free_mb * MB), watch=watch, monitor=monitor)


def _monitor(wagons: Sequence[Wagon], calibration: PathName | None, survey: PathName | None) -> "Monitor":
    """What follows the wagons."""
    from wayrule.live.follower import KnownTrack
    from wayrule.live.monitor import Monitor

    track = None
    remembered: dict[str, Calibration] = {}
    if survey is not None:
        known = store.read_survey(Path(survey))
        track = KnownTrack.of(known.stations, known.faults)
        learnt = learnt_by(Path(survey))
        remembered = {learnt.wagon_name: learnt} if learnt else {}
    if calibration is not None:
        chosen = [store.choose_calibration(Path(calibration), wagon.name).calibration for wagon in wagons]
        remembered |= {one.wagon_name: one for one in chosen}
    fitted = {wagon.name: for_wagon(remembered[wagon.name], wagon) for wagon in wagons if wagon.name in remembered}
    return Monitor(wagons, calibrations=fitted, track=track)


def learnt_by(survey: Path) -> Calibration | None:
    """What a survey learnt of its own wagon; None where its folder does not say."""
    path = survey / "calibration.json"
    return store.read_calibration(path) if path.is_file() else None


def log_path(out: PathName | None) -> Path:
    """Where a recording goes.

    >>> str(log_path("monday"))
    'monday.waylog'
    """
    if out is None:
        return Path(datetime.now().strftime("%Y-%m-%d-%H%M%S") + ENDING)
    path = Path(out)
    return path if path.name.endswith(ENDING) else path.with_name(path.name + ENDING)


def record(
    links: PathName | Sequence[PathName] = DEFAULT_LINK,
    out: PathName | None = None,
    *,
    seconds: float | None = None,
    wagons: Iterable[PathName | Wagon] = (),
    calibration: PathName | None = None,
    survey: PathName | None = None,
    keep_free_mb: float = KEEP_FREE_MB,
    watch: Iterable[Watch] = (),
) -> RecordResult:
    """Record until every link has ended (a replay, a make-believe wagon), for so many seconds, or until Ctrl-C.

    Parameters and errors as `begin_recording`.

    Returns
    -------
    RecordResult
    """
    path, recorder = begin_recording(
        links, out, wagons=wagons, calibration=calibration, survey=survey, keep_free_mb=keep_free_mb, watch=watch
    )
    begin = time.monotonic()
    why = "stopped"
    try:
        while not recorder.ended and (seconds is None or time.monotonic() - begin < seconds):
            time.sleep(LOOK_S)
        why = "every link has ended" if recorder.ended else "the time was up"
    except KeyboardInterrupt:
        pass
    return RecordResult(path, recorder.close(why))


@dataclass(frozen=True, slots=True)
class WhatIsThere:
    """What could be recorded: cables as (link, what is plugged in), and wagons that made themselves known."""

    cables: tuple[tuple[str, str], ...]
    wagons: tuple[Found, ...]


def what_is_there(step: Step = silent, *, seconds: float = 3.0) -> WhatIsThere:
    """Look for cables, and listen for wagons for a while."""
    with step("looking for cables"):
        cables = tuple((f"serial:{port.device}", str(port.description)) for port in usb_ports())
    with step(f"listening for wagons on the network for {seconds:g} s"):
        try:
            wagons = look(seconds)
        except OSError:
            wagons = ()
    return WhatIsThere(cables, wagons)
