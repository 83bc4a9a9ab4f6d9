"""Is the line closed, and how long is a lap of it by the wheel? Stated by the person, or found from the data."""

from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError, UsageError
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

SLOPE_SHARE = 0.03
"""Dips of the misfit closer than this share of the lag are one dip, roughened by noise."""

STATED_TURNS_RAD = 2 * WHOLE_TURNS_RAD
STATED_CLOSURE = 0.25
"""What a person stated is believed within this much more: the gyro may be far off before it is calibrated."""

UNRELATED = 0.75
"""Two laps whose bends differ by more than this are not laps of one line."""

WRONG_COUNT = 0.3
"""A lap count found in the run contradicts the stated one beyond this: ends may be a little short or over."""

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
    stated = Laps(lap, round(turn / (2 * np.pi)), float(laps), True, misfit)
    _contradicted(travel, stated, turn, _a_lap_later(travel, reading, lap)[1] / lap, find_laps(travel, cell_mm))
    return stated


def _contradicted(travel: Travel, stated: Laps, turn_rad: float, gap_share: float, found: Laps | None) -> None:
    """Raise when the run cannot have gone round as often as was stated; leave room for gyro and wheel uncalibrated.

    A circle shows the same everywhere, so bends that do not come again speak against laps only where ends gape too.
    """
    off = abs(turn_rad - 2 * np.pi * stated.turns)
    trusted = travel.imu is not None and bool(np.isfinite(travel.imu.gyro_bias_rad_s[2]))
    way_on = "leave the laps off if the line is open, or correct their number"
    if found is not None:
        if abs(found.laps - stated.laps) < WRONG_COUNT:
            return
        came = f"a run that goes round {found.laps:.3g} times ({found.lap_mm:.0f} mm by the wheel each)"
        way_on = f"state @laps={max(round(found.laps), 1)}, or leave the laps off"
    elif stated.misfit > UNRELATED and max(off / WHOLE_TURNS_RAD, gap_share / PLAIN_CLOSURE) > 1.0:
        came = f"other bends one lap later (misfit {stated.misfit:.2f}; 0 is equal, 1 unrelated)"
    elif trusted and off > STATED_TURNS_RAD:
        came = f"a run that turns by {np.degrees(turn_rad):.0f} deg a lap, not by whole turns"
    elif trusted and gap_share > STATED_CLOSURE:
        came = f"ends of a lap that lie {100 * gap_share:.0f} % of its length apart"
    else:
        return
    many = f"{stated.laps:.0f} lap{'s' if stated.laps > 1 else ''}, as stated"
    raise UsageError(expected=many, came=came, where=travel.run, next_step=way_on)


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
    for i in _dips(shift, misfit):
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


def _dips(shift: Array, misfit: Array) -> list[int]:
    """Local minima below `REPEAT_MISFIT`, shortest lag first; of those on one slope only the bottom."""
    inner = (misfit[1:-1] <= misfit[:-2]) & (misfit[1:-1] < misfit[2:]) & (misfit[1:-1] < REPEAT_MISFIT)
    bottoms = []
    for i in np.flatnonzero(inner) + 1:
        near = np.flatnonzero(np.abs(shift - shift[i]) <= SLOPE_SHARE * shift[i])
        bottoms.append(int(near[np.argmin(misfit[near])]))
    return sorted(set(bottoms))


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
    turn, gap = _a_lap_later(travel, reading, lag_mm)
    turns = round(turn / (2 * np.pi))
    whole = abs(turn - 2 * np.pi * turns) < WHOLE_TURNS_RAD
    return whole and gap < PLAIN_CLOSURE * lag_mm and abs(turns) <= 3, turns


def _a_lap_later(travel: Travel, reading: PlainReading, lag_mm: float) -> tuple[float, float]:
    """Turn [rad] and gap [mm] between places a lag apart in wheel distance, medians over the run."""
    order = np.argsort(travel.distance_mm, kind="stable")
    d = travel.distance_mm[order]
    early = np.linspace(d[0], max(d[-1] - lag_mm, d[0]), 9)

    def rise(values: Array) -> Array:
        track = values[order]
        return np.asarray(np.interp(early + lag_mm, d, track) - np.interp(early, d, track))

    return float(np.median(rise(reading.heading_rad))), float(
        np.median(np.hypot(rise(reading.x_mm), rise(reading.y_mm)))
    )
