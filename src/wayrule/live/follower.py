"""One wagon since it was switched on, followed as it rolls: samples in, what it says now out.

`update`, done for every batch, reads the newest samples by what is known (`pipeline.onward`). `look_back` and
`look_around`, done now and then and off to one side, learn from the whole run so far, and look for the wagon's place on
a surveyed line.
"""

import math
import threading
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from wayrule.errors import WayruleError
from wayrule.formats.wire import Hello, Samples, Trip, recording_of
from wayrule.live.counts import CountLog
from wayrule.live.past import KEPT, Past
from wayrule.model import Calibration, Fault, Located, Recording, Stations, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.model.now import UNTOLD, Now, Told
from wayrule.model.travel import State
from wayrule.pipeline.onward import Learnt, beforehand, calibrated_scale, learn, onward
from wayrule.run.fieldreading import FieldReading, KnownReading, OwnReading
from wayrule.run.instrument import instrument
from wayrule.run.momentary import slope_cant_curvature
from wayrule.run.rolled import Rolled
from wayrule.run.trail import trail
from wayrule.track.followed import Followed, follow, next_fault
from wayrule.track.known import KnownLine, known_line
from wayrule.track.locate import locate

WINDOW: Final = 600
"""Samples that are read anew at every update: 3 s at 200 Hz, more than any window of `run` needs. What is older is
settled: a gap's far side has been seen."""
STEP: Final = 100
"""By so many samples the window moves on at once."""
MARGIN: Final = 100
"""Samples read before the settled one: speed and state there need both sides."""
KEPT_S: Final = 60.0
MOMENT_S: Final = 6.0
"""Slope, cant and curvature come from so much of the past."""
FIRST_LOOK: Final = 300
LOOK_STEP, LOOK_GROWTH = 200, 1.15
"""The run is looked at as a whole after `FIRST_LOOK` samples; then each time it has grown by the larger of these."""
OWN_TURNS: Final = 30.0
"""So many turns teach a run its own field better than an earlier day's calibration knows it: where the Earth's field
lies, how warm the magnets are (our choice; 1 m in H0)."""
MOST_COUNTS: Final = 120_000
"""Counts are kept up to here, 10 min at 200 Hz: the field is well known by then, and the run is only carried on."""
SHORTER: Final = (1.0, 0.4)
"""Where the whole trail fits nowhere, a shorter one is tried: the wagon may have been lifted."""
MOVED_WHEELBASES: Final = 0.8
"""The place is looked for again after so much way."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownTrack:
    """A surveyed line on which wagons are followed."""

    line: KnownLine
    faults: tuple[Fault, ...]
    gauge_mm: float

    @classmethod
    def of(cls, stations: Stations, faults: tuple[Fault, ...] = ()) -> "KnownTrack":
        """From a survey."""
        return cls(known_line(stations), faults, stations.gauge_mm)


@dataclass(frozen=True, slots=True)
class Anchor:
    """A sample that is settled: its time, the distance and the heading there, and the variance of the distance but for
    scale and reading."""

    t_s: float
    distance_mm: float
    heading_rad: float
    growth_mm2: float


class Follower:
    """Follows one boot of one wagon. `take` and `update` belong to one thread, the looks to another.

    base_mm : how far the wagon had rolled before it was switched on anew
    """

    def __init__(
        self,
        hello: Hello,
        wagon: Wagon,
        *,
        calibration: Calibration | None = None,
        track: KnownTrack | None = None,
        base_mm: float = 0.0,
    ) -> None:
        self._wagon, self._calibration, self._track = wagon, calibration, track
        self._instrument, self._scale = instrument(wagon, calibration), calibrated_scale(calibration)
        self._lock = threading.Lock()
        self._log = CountLog(hello)
        self._learnt, self._past = beforehand(calibration), Past()
        self._anchor: Anchor | None = None
        self._start = 0
        self._looked, self._looked_mm, self._forgot = 0, math.nan, False
        self._located: Located | None = None
        self._followed: Followed | None = None
        self._recent: Travel | None = None
        self._rolls: Literal[-1, 0, 1] = 0
        self._base_mm, self._trip_mm, self._trip_growth, self._growth_mm2 = base_mm, 0.0, 0.0, 0.0
        self._round = 0  # how often the run was looked at as a whole: what was read before is then of no use
        self._begin_s = math.nan
        self.now = Now(math.nan, -1, wagon.ratio)

    # ------------------------------------------------------------------------------------------ with every batch

    def take(self, samples: Samples) -> None:
        """Samples as they come."""
        with self._lock:
            self._log.take(samples)

    def reset_trip(self) -> None:
        """The trip begins here."""
        if math.isfinite(self.now.distance_mm.value):
            self._trip_mm, self._trip_growth = self.now.distance_mm.value, self._growth_mm2

    def update(self) -> Now:
        """What the wagon says now."""
        with self._lock:
            learnt, anchor, round_ = self._learnt, self._anchor, self._round
            newest, trip = self._log.newest, self._log.trip(self._start)
        if len(trip.seq) < 2:
            return self.now
        window = self._recording(trip)
        told = replace(self.now, t_s=float(window.t_s[-1]), seq=newest, located=self._located)
        told = _with_card(told, learnt)
        readable = window.field_mt is None or learnt.reading is not None
        self.now = self._read(window, learnt, anchor, round_, told) if readable else told
        if not readable:
            self._pass_over(len(trip.seq), round_)
        return self.now

    def _read(self, window: Recording, learnt: Learnt, anchor: Anchor | None, round_: int, told: Now) -> Now:
        """The window read by what is known."""
        try:
            went, wheel = onward(window, self._wagon, learnt, scale=self._scale)
        except WayruleError:
            return told
        anchor = anchor or Anchor(float(went.t_s[0]), 0.0, 0.0, 0.0)
        self._begin_s = anchor.t_s if math.isnan(self._begin_s) else self._begin_s
        at = min(int(np.searchsorted(went.t_s, anchor.t_s - 1e-9)), len(went.t_s) - 1)
        distance = anchor.distance_mm + went.distance_mm - went.distance_mm[at]
        turned = turned_so_far(went, self._instrument.to_body)
        heading = anchor.heading_rad + turned - turned[at]
        growth = np.maximum(anchor.growth_mm2 + wheel.growth_sd_mm**2 - wheel.growth_sd_mm[at] ** 2, 0.0)
        settled = len(went.t_s) - WINDOW
        with self._lock:
            if round_ == self._round:
                recent = self._past.with_window(went, distance, slice(at, None), KEPT_S)
                if self._anchor is None or (settled - at > STEP and not wheel.unsure[settled]):
                    to = max(settled, at)
                    self._past.add(went, distance, slice(at, to))
                    self._set_anchor(anchor_at(went.t_s, distance, heading, growth, to))
                self._recent = recent
        self._growth_mm2 = float(growth[-1])
        return self._told(told, went, wheel, float(distance[-1]), float(heading[-1]))

    def _pass_over(self, count: int, round_: int) -> None:
        """Nothing can be read yet; the window goes on all the same."""
        with self._lock:
            if round_ == self._round and count > WINDOW + STEP:
                self._start += count - WINDOW

    def _set_anchor(self, anchor: Anchor) -> None:
        self._anchor, self._start = anchor, max(0, self._log.at(anchor.t_s) - MARGIN)
        if len(self._log) > MOST_COUNTS:
            self._log.forget(self._start)
            self._start, self._forgot = 0, True

    def _recording(self, trip: Trip) -> Recording:
        wagon = self._wagon
        return recording_of(
            trip,
            wagon.name,
            wagon.columns,
            sensor=wagon.sensor,
            imu=wagon.imu,
            counter_bits=wagon.wheel.counter_bits,
        )

    def _told(self, told: Now, went: Travel, wheel: Rolled, distance_mm: float, heading_rad: float) -> Now:
        """All numbers of this moment."""
        recent, one = self._recent, self._instrument
        v = Told(float(went.speed_mm_s[-1]), float(went.speed_sd_mm_s[-1]))
        state = State(int(went.state[-1]))
        if state == State.ROLLING:
            self._rolls = 1 if v.value > 0 else -1
        reading = float(wheel.reading_sd_mm[-1])
        whole = self._base_mm + distance_mm
        trip = whole - self._trip_mm
        sd = math.sqrt((wheel.scale_sd * whole) ** 2 + 2 * reading**2 + self._growth_mm2)
        added = max(self._growth_mm2 - self._trip_growth, 0.0)
        trip_sd = math.sqrt((wheel.scale_sd * trip) ** 2 + 2 * reading**2 + added)
        gradient, cant, bend = UNTOLD, UNTOLD, UNTOLD
        if recent is not None:
            gradient, cant, bend = slope_cant_curvature(last_seconds(recent, MOMENT_S), one)
        told = replace(
            told, learning=False, state=state, rolls=self._rolls, distance_mm=Told(whole, sd),
            trip_mm=Told(trip, trip_sd), speed_mm_s=v, gradient=gradient, cant_mm=cant, curvature_1_mm=bend,
            heading_rad=self._heading(went, heading_rad),
        )  # fmt: skip
        return self._on_the_map(told, distance_mm, wheel.scale_sd)

    def _heading(self, went: Travel, heading_rad: float) -> Told:
        if went.imu is None:
            return UNTOLD
        one, long = self._instrument, float(went.t_s[-1]) - self._begin_s
        bias = float(went.imu.gyro_bias_sd_rad_s[2])
        bias = bias if math.isfinite(bias) else one.bias_sd_rad_s
        parts = (one.turn_scale_sd * heading_rad, one.walk_rad_rts * math.sqrt(long), bias * long, one.sway_rad[0])
        return Told(heading_rad, math.hypot(*parts))

    def _on_the_map(self, told: Now, distance_mm: float, scale_sd: float) -> Now:
        """Its place on the line, and the next fault."""
        followed, track = self._followed, self._track
        if followed is None or track is None:
            return replace(told, chainage_mm=UNTOLD, way=0, fault=None, fault_number=0, to_fault_mm=UNTOLD)
        place = followed.now(distance_mm, scale_sd, track.line)
        coming = next_fault(place.value, followed.way * (self._rolls or 1), track.faults, track.line)
        told = replace(told, chainage_mm=place, way=followed.way)
        if coming is None:
            return replace(told, fault=None, fault_number=0, to_fault_mm=UNTOLD)
        number, gap = coming
        return replace(
            told, fault=track.faults[number], fault_number=number + 1, to_fault_mm=Told(gap, place.sd)
        )  # fmt: skip

    # ------------------------------------------------------------------------------------------ off to one side

    @property
    def wants_look_back(self) -> bool:
        """Whether the run has grown enough to be looked at as a whole again."""
        step = max(LOOK_STEP, (LOOK_GROWTH - 1.0) * self._looked)
        return not self._forgot and len(self._log) >= max(FIRST_LOOK, self._looked + step)

    def look_back(self) -> None:
        """Learn from the whole run so far."""
        with self._lock:
            self._log.merged()
            self._looked, trip = len(self._log), self._log.trip()
        try:
            recording = self._recording(trip)
            learnt = learn(recording, self._wagon, scale=self._scale, calibration=self._calibration)
        except WayruleError:
            return
        if recording.field_mt is not None and not _better(learnt.reading, self._learnt.reading):
            with self._lock:
                self._learnt = replace(learnt, reading=self._learnt.reading)
            return
        went = learnt.travel
        assert went is not None
        heading = turned_so_far(went, self._instrument.to_body)
        grown = np.maximum(went.distance_sd_mm**2 - (went.scale_sd * went.distance_mm) ** 2, 0.0)
        to = max(0, len(went.t_s) - WINDOW)
        past = Past()
        for first in range(max(0, to - KEPT), to, STEP):
            past.add(went, went.distance_mm, slice(first, min(first + STEP, to)))
        with self._lock:
            self._learnt, self._past = learnt, past
            self._round += 1
            self._set_anchor(anchor_at(went.t_s, went.distance_mm, heading, grown, to))
            self._begin_s = float(went.t_s[0])

    def finish(self) -> None:
        """The run is over: one more look at the whole of it, unless it was long ago that it was learnt."""
        if len(self._log) and not self._forgot:
            self.look_back()
        self.update()

    @property
    def wants_look_around(self) -> bool:
        """Whether it has moved on enough to look for its place again."""
        recent = self._recent
        if self._track is None or recent is None:
            return False
        moved = abs(float(recent.distance_mm[-1]) - self._looked_mm)
        return not moved < MOVED_WHEELBASES * self._wagon.wheelbase_mm

    def look_around(self) -> None:
        """Look for its place on the line."""
        recent, track, one = self._recent, self._track, self._instrument
        if recent is None or track is None:
            return
        distance = self._looked_mm = float(recent.distance_mm[-1])
        for share in SHORTER:
            found = locate(trail(recent, one, share=share), track.line, one)
            if found.certainty != "nowhere":
                break
        self._located = found
        self._followed = follow(self._followed, found, distance, recent.scale_sd, track.line)


def _better(own: FieldReading | None, known: FieldReading | None) -> bool:
    """Whether what the run itself teaches is to be read by from now on."""
    if not isinstance(own, OwnReading):
        return False
    return own.turns >= OWN_TURNS or not isinstance(known, KnownReading)


def anchor_at(t_s: Array, distance_mm: Array, heading_rad: Array, growth_mm2: Array, row: int) -> Anchor:
    """One row as an anchor."""
    return Anchor(float(t_s[row]), float(distance_mm[row]), float(heading_rad[row]), float(growth_mm2[row]))


def turned_so_far(went: Travel, to_body: Array) -> Array:
    """Yaw rate summed up since the first sample, (n,) [rad]; zeros without a gyro."""
    if went.imu is None:
        return np.zeros(len(went.t_s))
    read = went.imu.gyro_rad_s - np.nan_to_num(went.imu.gyro_bias_rad_s)
    rate = np.nan_to_num(read) @ to_body[2]
    steps = np.diff(went.t_s) * 0.5 * (rate[1:] + rate[:-1])
    return np.concatenate([[0.0], np.cumsum(steps)])


def last_seconds(travel: Travel, seconds: float) -> Travel:
    """The end of a travel."""
    first = int(np.searchsorted(travel.t_s, travel.t_s[-1] - seconds))
    return travel if first == 0 else cut(travel, slice(first, None))


def cut(travel: Travel, rows: slice) -> Travel:
    """Some rows of a travel, without what was told of the whole of it."""
    columns = ("t_s", "distance_mm", "distance_sd_mm", "speed_mm_s", "speed_sd_mm_s", "state", "chainage_mm")
    imu = travel.imu and replace(
        travel.imu,
        gyro_rad_s=travel.imu.gyro_rad_s[rows],
        acc_mm_s2=None if travel.imu.acc_mm_s2 is None else travel.imu.acc_mm_s2[rows],
    )
    return replace(travel, **{name: getattr(travel, name)[rows] for name in columns}, imu=imu, health=None)


def _with_card(told: Now, learnt: Learnt) -> Now:
    """Its card of health."""
    card = learnt.health
    if card is None:
        return told
    troubles = tuple(f"{item.name}: {item.reason}" for item in (*card.of("red"), *card.of("amber")))
    return replace(told, light=card.light, troubles=troubles)
