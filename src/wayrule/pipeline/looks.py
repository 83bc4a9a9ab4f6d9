"""What each recording of a calibration was made for, as stated or as its data show, and what it holds."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.errors import WayruleError
from wayrule.model import AxleReference, Recording, Rest, Travel, Wagon
from wayrule.model.purpose import Purpose
from wayrule.pipeline import cell_size, travel
from wayrule.run.rests import rests
from wayrule.track.laps import find_laps
from wayrule.units import DEG

BY_ROLLING: Final = frozenset({"run", "taped", "rod", "laps"})
"""Kinds in which the wagon rolls along its track."""

STILL_SHARE: Final = 0.8
"""A wagon whose sensor lies still for so much of the time does not roll, whatever its axle does."""

OTHER_SIDE_RAD: Final = 20 * DEG
"""Rests whose up differs by more are different orientations; no track is as steep."""

WHOLE_LAPS_MM: Final = 30.0
"""A run that the data close ends within so much of its start; further off, it may have meant to go on."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """A recording, what it is for, and what was read from it.

    travel    of a wagon that rolls; None for others
    rests     where its sensor lay still
    refused   why it could not be read at all, "" otherwise
    """

    recording: Recording
    purpose: Purpose
    travel: Travel | None
    rests: tuple[Rest, ...]
    refused: str = ""

    @property
    def name(self) -> str:
        """Of the recording."""
        return self.recording.name

    @property
    def source(self) -> tuple[str, str]:
        """Name and digest."""
        return self.recording.name, self.recording.sha256


def look(recording: Recording, purpose: Purpose, wagon: Wagon, axle: AxleReference | None = None) -> Look:
    """Read a recording for its purpose; where none was stated, the data decide.

    axle : the turning field as it was known, for the card of health

    Never raises for what a recording lacks: `refused` then says it.
    """
    lain = rests(recording) if recording.gyro_rad_s is not None or recording.acc_mm_s2 is not None else ()
    rolled, why = None, ""
    if purpose.kind in BY_ROLLING or (not purpose.kind and _has_wheel(recording)):
        try:
            rolled = travel(recording, wagon, axle=axle)
        except WayruleError as error:
            why = str(error)
    if purpose.kind:
        return Look(recording, purpose, rolled if not why else None, lain, why if purpose.kind in BY_ROLLING else "")
    found = _decided(recording, rolled, lain, wagon)
    keep = rolled if found.kind in BY_ROLLING else None
    return Look(recording, found, keep, lain, why if found.kind in BY_ROLLING and rolled is None else "")


def _has_wheel(recording: Recording) -> bool:
    wheels = (recording.field_mt, recording.ticks_count, recording.wheel_mm_s, recording.wheel_mm)
    return any(values is not None for values in wheels)


def _decided(recording: Recording, rolled: Travel | None, lain: tuple[Rest, ...], wagon: Wagon) -> Purpose:
    """What a recording shows itself to be."""
    span = float(recording.t_s[-1] - recording.t_s[0]) if recording.n else 0.0
    still = sum(one.seconds for one in lain) / span if span else 0.0
    if rolled is not None and rolled.moving:
        if recording.gyro_rad_s is not None and still > STILL_SHARE and _rolls_on(rolled, lain):
            return Purpose("spin", decided="the axle turns while the sensor lies still")
        return _run(rolled, wagon)
    ways = _orientations(lain)
    if ways > 1:
        return Purpose("position", decided=f"it lies still on {ways} different sides")
    turned = _turned_rad(recording)
    if turned > 0.9 * 2 * math.pi:
        return Purpose("table", decided=f"the wheel stands while it turns by {turned / DEG:.0f} deg")
    if still > 0.5:
        return Purpose("rest", decided="it lies still throughout")
    return Purpose("run", decided="it neither lies still nor turns about one axis")


def _rolls_on(rolled: Travel, lain: tuple[Rest, ...]) -> bool:
    """Whether the wheel turns during the rests."""
    way = 0.0
    for one in lain:
        at = np.searchsorted(rolled.t_s, (one.start_s, one.start_s + one.seconds))
        way += float(np.sum(np.abs(np.diff(rolled.distance_mm[at[0] : at[1]]))))
    return way > 0.5 * float(np.sum(np.abs(np.diff(rolled.distance_mm))))


def _run(rolled: Travel, wagon: Wagon) -> Purpose:
    """A run, or whole laps where it repeats itself and ends where it began."""
    found = None
    if rolled.imu is not None and np.isfinite(rolled.imu.gyro_rad_s[:, 2]).any():
        try:
            found = find_laps(rolled, cell_size([rolled], wagon.wheelbase_mm))
        except WayruleError:
            found = None
    if found is None or round(found.laps) < 1:
        return Purpose("run", decided="the wagon rolls")
    short = abs(found.laps - round(found.laps)) * found.lap_mm
    if short > WHOLE_LAPS_MM:
        return Purpose("run", decided=f"it goes round {found.laps:.2f} times, no whole laps")
    laps = round(found.laps)
    return Purpose("laps", laps=laps, decided=f"its bends repeat, and it ends {short:.0f} mm from {laps} whole laps")


def _orientations(lain: tuple[Rest, ...]) -> int:
    """How many different sides it lay on."""
    ups: list[np.ndarray[tuple[int], np.dtype[np.float64]]] = []
    for one in lain:
        size = float(np.linalg.norm(one.force_mm_s2))
        if not size > 0:
            continue
        up = one.force_mm_s2 / size
        if all(float(up @ other) < math.cos(OTHER_SIDE_RAD) for other in ups):
            ups.append(up)
    return len(ups)


def _turned_rad(recording: Recording) -> float:
    """How far the sensor turned about the axis that it turned about most, the mean rate of the still part off."""
    if recording.gyro_rad_s is None or recording.n < 2:
        return 0.0
    rate = recording.gyro_rad_s
    quiet = np.linalg.norm(rate - np.nanmedian(rate[: max(2, recording.n // 20)], axis=0), axis=1)
    bias = np.nanmean(rate[quiet < 0.02], axis=0) if (quiet < 0.02).sum() > 10 else np.zeros(3)
    return float(np.max(np.abs(np.trapezoid(np.nan_to_num(rate - bias), recording.t_s, axis=0))))
