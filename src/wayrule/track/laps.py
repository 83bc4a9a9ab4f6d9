"""Is the line closed, and how long is a lap of it by the wheel? Stated by the person, or found from the data."""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Travel
from wayrule.model.arrays import Array
from wayrule.track.plain import PlainReading, plain_reading
from wayrule.track.signature import Signature, lowest, misfit_by_shift, signature

REPEAT_MISFIT = 0.35
"""Signatures one lap apart must agree at least this well (0 equal, 1 unrelated); unrelated lines stay above 0.6."""

WHOLE_TURNS_RAD = 0.35
"""A lap's net turn may miss whole turns of 360 deg by this much before the gyro's scale and bias are known."""

PLAIN_CLOSURE = 0.06
"""A found lap must close to this share of its length in the plain reading."""

LEAST_OVERLAP = 0.15
"""Share of a lap that must have been travelled twice before it is believed without being told."""


@dataclass(frozen=True, slots=True)
class Laps:
    """A closed line as one run sees it.

    lap_mm       wheel distance of one lap [mm], positive
    turns        whole turns of 360 deg in one lap in the direction of growing wheel distance
    laps         how many laps the run makes (not whole when it was found)
    stated       whether the person said so
    misfit       of the signature against itself a lap later; NaN when there is no second look
    """

    lap_mm: float
    turns: int
    laps: float
    stated: bool
    misfit: float


def stated_laps(travel: Travel, laps: int, cell_mm: float) -> Laps:
    """Laps as the person counts them: the run ends where it began."""
    total = float(travel.distance_mm[-1] - travel.distance_mm[0])
    if abs(total) < 10 * cell_mm:
        raise UndeterminedError(
            expected=f"a run that goes round {laps} times",
            came=f"a run that ends {abs(total):.0f} mm of wheel distance from its start",
            where=travel.run,
            next_step="leave --closed-laps off if the wagon came back the way it went",
        )
    lap = abs(total) / laps
    reading = plain_reading(travel)
    turn = float(reading.heading_rad[-1] - reading.heading_rad[0]) * np.sign(total) / laps
    sig = signature(travel, cell_mm)
    misfit = float("nan")
    if laps > 1:
        shift, values = _repeats(sig)
        near = np.abs(shift * cell_mm - lap) < 2 * cell_mm
        misfit = float(np.min(values[near])) if near.any() else float("nan")
    return Laps(lap, round(turn / (2 * np.pi)), float(laps), True, misfit)


def _repeats(sig: Signature) -> tuple[Array, Array]:
    """Misfit of a signature against itself, by how many cells later (1 ..)."""
    least = max(8, int(0.02 * len(sig.turn)))
    shift, misfit = misfit_by_shift(sig, sig, period=None, least=least)
    later = (shift > 0) & np.isfinite(misfit)
    return shift[later], misfit[later]


def find_laps(travel: Travel, cell_mm: float) -> Laps | None:
    """The lap that the run repeats, or None: shortest lag whose signature agrees and whose plain reading closes."""
    sig = signature(travel, cell_mm)
    span = len(sig.turn) * cell_mm
    shift, misfit = _repeats(sig)
    if len(shift) < 3 or np.nanstd(sig.turn) == 0:
        return None
    reading = plain_reading(travel)
    for i in _dips(misfit):
        lag = float(shift[i]) * cell_mm
        if span - lag < LEAST_OVERLAP * lag:
            continue
        closes, turns = _closes(travel, reading, lag)
        if closes:
            window = slice(max(i - 1, 0), i + 2)
            place, depth = lowest(shift[window], misfit[window])
            lap = _over_many_laps(shift, misfit, place) * cell_mm
            return Laps(lap, turns, span / lap, False, depth)
    return None


def _dips(misfit: Array) -> list[int]:
    """Local minima below `REPEAT_MISFIT`, shortest lag first."""
    inner = (misfit[1:-1] <= misfit[:-2]) & (misfit[1:-1] < misfit[2:]) & (misfit[1:-1] < REPEAT_MISFIT)
    return [int(i) + 1 for i in np.flatnonzero(inner)]


def _over_many_laps(shift: Array, misfit: Array, lap: float) -> float:
    """Sharpen the lap at twice, three times ... itself, where an error of the lap shows that many times."""
    times = 2
    while lap * times < shift[-1] * 0.97:
        near = np.abs(shift - lap * times) <= 2
        if near.sum() < 3:
            break
        place, _ = lowest(shift[near], misfit[near])
        lap, times = place / times, times + 1
    return lap


def _closes(travel: Travel, reading: PlainReading, lag_mm: float) -> tuple[bool, int]:
    """Whether places a lag apart in wheel distance coincide in the plain reading, and the whole turns between them."""
    order = np.argsort(travel.distance_mm, kind="stable")
    d = travel.distance_mm[order]
    early = np.linspace(d[0], max(d[-1] - lag_mm, d[0]), 9)

    def rise(values: Array) -> Array:
        track = values[order]
        return np.asarray(np.interp(early + lag_mm, d, track) - np.interp(early, d, track))

    turn = float(np.median(rise(reading.heading_rad)))
    turns = round(turn / (2 * np.pi))
    gap = float(np.median(np.hypot(rise(reading.x_mm), rise(reading.y_mm))))
    whole = abs(turn - 2 * np.pi * turns) < WHOLE_TURNS_RAD
    return whole and gap < PLAIN_CLOSURE * lag_mm and abs(turns) <= 3, turns
