"""`guide`: where a wagon is on a surveyed line, and how to push it to a finding."""

import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from os import fspath
from pathlib import Path
from typing import Final, Literal

import numpy as np

from wayrule import pipeline, store
from wayrule.desk.guidewords import (
    POINT,
    Guidance,
    Target,
    facing,
    guidance,
    not_certain,
    target_of,
)
from wayrule.desk.nowwords import length
from wayrule.desk.opening import PathName, read_recording, read_wagon
from wayrule.desk.recording import begin_recording, learnt_by
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError
from wayrule.live.follower import KnownTrack, cut
from wayrule.live.monitor import Monitor
from wayrule.model import Calibration, Located, Surveyed, Travel, Wagon
from wayrule.model.now import Now, Told
from wayrule.pipeline.onward import calibrated_scale
from wayrule.run.instrument import instrument
from wayrule.run.trail import trail
from wayrule.track.fitting import check_seat, for_wagon
from wayrule.track.known import known_line
from wayrule.track.locate import locate

LINKS: Final = ("serial:", "udp:", "tcp:", "ws:", "find:", "file:", "sim:")
LOOK_EVERY_S: Final = 0.1
STRIDE_WHEELBASES: Final = 1.5
"""A recording is looked at after each so much way, to say from where on its place was certain."""


@dataclass(frozen=True, slots=True, eq=False)
class Guided:
    """How it ended.

    guidance    the last sentence; point says what its places are of
    target      where to; None: only "where am I"
    now         what the wagon said last; None for a recording, or where none was heard
    located     what was found of its place
    certain_mm  after how much way its place was certain; NaN where it never was
    """

    guidance: Guidance
    target: Target | None
    now: Now | None
    located: Located | None
    certain_mm: float
    point: str = POINT


def is_link(word: PathName) -> bool:
    """Whether a word spells a link, not a file.

    >>> is_link("udp:"), is_link("monday.csv"), is_link("C:/monday.csv")
    (True, False, False)
    """
    return fspath(word).lower().startswith(LINKS)


def guide(
    survey: PathName,
    source: PathName,
    wagon: PathName | Wagon,
    *,
    to: str | None = None,
    calibration: PathName | None = None,
    seconds: float | None = None,
    out: PathName | None = None,
    tell: Callable[[Guidance], None] = lambda _: None,
    step: Step = silent,
) -> Guided:
    """Lead a wagon to a finding of a survey, or say where it is.

    Parameters
    ----------
    survey : folder of a survey
    source : a link (udp:, serial:, sim: ...) to be guided while the wagon is pushed, or a recording: where it ended
    wagon : its file, or the wagon
    to : number of a fault, name of a mark, or a chainage such as "2310mm"
    calibration : of this wagon; not needed for the wagon that made the survey
    seconds : how long to go on; until the link has ended, if not given
    out : log to keep what comes over the link in; thrown away, if not given
    tell : is called about ten times a second with what to say to the person who pushes
    step : shows what is being done

    Raises
    ------
    UsageError, WayruleError, RecordingError, WagonFileError, UndeterminedError   each in one line
    """
    with step("reading survey and wagon file"):
        known, van = store.read_survey(Path(survey)), read_wagon(wagon)
        _check_gauge(known, van)
        target = target_of(to, known) if to is not None else None
        remembered = _calibration(survey, van, calibration)
    if is_link(source):
        return _guide_live(known, source, van, remembered, target, seconds, out, tell)
    return _guide_recorded(known, source, van, remembered, target, step)


def _check_gauge(known: Surveyed, wagon: Wagon) -> None:
    gauge = known.stations.gauge_mm
    if abs(wagon.gauge_mm / gauge - 1.0) > 0.02:
        raise UsageError(
            expected=f"a wagon of the surveyed gauge, {gauge:g} mm",
            came=f"{wagon.name} with {wagon.gauge_mm:g} mm",
            where=known.name,
            next_step="name the survey of this wagon's line",
        )


def _calibration(survey: PathName, wagon: Wagon, path: PathName | None) -> Calibration | None:
    """The calibration named, else what the survey learnt of its own wagon."""
    if path is not None:
        return for_wagon(store.choose_calibration(Path(path), wagon.name).calibration, wagon)
    learnt = learnt_by(Path(survey))
    return for_wagon(learnt, wagon) if learnt and learnt.wagon_name == wagon.name else None


def _guide_recorded(
    known: Surveyed, path: PathName, wagon: Wagon, remembered: Calibration | None, target: Target | None, step: Step
) -> Guided:
    """Where the wagon stood at the end of a recording."""
    with step(f"reading {fspath(path)}"):
        recording = read_recording(path, wagon)
        went = pipeline.travel(recording, wagon, scale=calibrated_scale(remembered))
        if remembered is not None:
            check_seat(remembered, [went])
    with step("looking for its place"):
        one, line = instrument(wagon, remembered), known_line(known.stations)
        found = locate(trail(went, one), line, one)
        certain = _certain_after(went, known, wagon, remembered)
    here = found.here
    if here is None:
        words = Guidance("travel", "Too little was travelled to tell the place.")
        return Guided(words if found.certainty == "unknown" else not_certain(found), target, None, found, certain)
    rolls: Literal[-1, 1] = -1 if went.distance_mm[-1] < went.distance_mm[0] else 1
    now = Now(
        float(went.t_s[-1]), recording.n - 1, wagon.ratio, learning=False, located=found, way=here.way, rolls=rolls,
        chainage_mm=Told(here.s_mm, here.sd_mm),
    )  # fmt: skip
    said = guidance(now, target, line, wagon.gauge_mm)
    if target is None:
        at = f"It ended at {length(now.chainage_mm)}, {facing(here.way)}."
        said = Guidance("placed", at)
    return Guided(said, target, None, found, certain)


def _certain_after(went: Travel, known: Surveyed, wagon: Wagon, remembered: Calibration | None) -> float:
    """Way after which its place was certain for the first time [mm]."""
    one, line = instrument(wagon, remembered), known_line(known.stations)
    way = np.abs(went.distance_mm - went.distance_mm[0])
    stride = STRIDE_WHEELBASES * wagon.wheelbase_mm
    for part in range(1, 21):
        row = int(np.searchsorted(np.maximum.accumulate(way), part * stride))
        if row >= len(way):
            break
        if locate(trail(cut(went, slice(None, row)), one), line, one).here is not None:
            return float(way[row])
    return float("nan")


def _guide_live(
    known: Surveyed,
    link: PathName,
    wagon: Wagon,
    remembered: Calibration | None,
    target: Target | None,
    seconds: float | None,
    out: PathName | None,
    tell: Callable[[Guidance], None],
) -> Guided:
    """While the wagon is pushed."""
    track = KnownTrack.of(known.stations, known.faults)
    monitor = Monitor([wagon], calibrations={wagon.name: remembered} if remembered else None, track=track)
    certain, said, now = float("nan"), Guidance("waiting", "Nothing heard of the wagon yet."), None
    with ExitStack() as stack:
        if out is None:
            out = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "guide"
        _, recorder = begin_recording(link, out, monitor=monitor)
        stack.callback(recorder.close)
        begin = time.monotonic()
        try:
            while seconds is None or time.monotonic() - begin < seconds:
                ended = recorder.ended
                now = next(iter(monitor.now().values()), None)
                said = guidance(now, target, track.line, wagon.gauge_mm)
                if now is not None and said.step not in ("waiting", "travel", "several", "nowhere"):
                    certain = certain if certain == certain else abs(now.distance_mm.value)
                tell(said)
                if ended:
                    break
                time.sleep(LOOK_EVERY_S)
        except KeyboardInterrupt:
            pass
    return Guided(said, target, now, now.located if now else None, certain)
