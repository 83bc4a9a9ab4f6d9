"""Pieces of a run between two standstills whose length was taped: how far the wheel says it was, one by one."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import UndeterminedError
from wayrule.model import Travel
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.run.state import standstills

SAME_LENGTH: Final = 0.03
"""A wheel of a wagon file is right to this share; a leg that differs more from its tape is another leg."""

NEAR_STOP_S: Final = 1.0
"""A leg's ends are read from so much of the standstills beside it: a hand comes later, and earlier it has gone."""

OUT_OF_ROUND_MM: Final = 0.02
"""Once-per-turn error of a wheel that is not round or not on its centre: it does not add up, but stands at either end
of a leg (0.02 mm of total run-out are asked of good model wheels; common practice, no source)."""

BEND_WHEELBASES: Final = 2.0
"""Turning is summed up over so many wheelbases: shorter, and the body's sway would pass for curves."""

SPOILS: Final = {"slide": "a sliding wheel", "spin": "a spinning wheel", "lift": "a lifted wagon", "gap": "a gap"}
"""Mishaps after which a wheel's distance is not what it rolled, in words."""

MISCOUNTED: Final = frozenset({"turns may be lost", "turns unproved", "too fast for the rate"})
"""Problems of a run in which the wheel's turns are not sure."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A piece of a run between two standstills.

    rolled_mm     by the wagon file's wheel, towards the marked front > 0; sd_mm: of that, the wheel's size apart
    turned_rad    how far it turned, left and right counted alike; NaN without a gyro
    first_s, last_s   when it left and arrived, on the run's clock
    """

    run: str
    rolled_mm: float
    sd_mm: float
    turned_rad: float
    first_s: float
    last_s: float


def whole_leg(travel: Travel, wheelbase_mm: float, *, of: str) -> Leg:
    """From a run's first standstill to its last.

    Parameters
    ----------
    travel : Travel       with the wagon file's wheel
    wheelbase_mm : float  of the body
    of : str              what it is for, for the error's words: "laps"

    Raises
    ------
    UndeterminedError   fewer than two standstills, or a mishap that spoils the distance between them
    """
    stops = _stops(travel, of)
    return _leg(travel, stops[0], stops[-1], wheelbase_mm)


def taped_legs(travel: Travel, length_mm: float, wheelbase_mm: float) -> tuple[Leg, ...]:
    """All pieces of a run that are as long as what was taped: one way, there and back, or one after the other.

    Parameters
    ----------
    travel : Travel     with the wagon file's wheel
    length_mm : float   of the tape, or of the gauge rod

    Returns
    -------
    tuple of Leg   at least one; stops on the way are no ends; of several within `SAME_LENGTH` of an end the last counts

    Raises
    ------
    UndeterminedError   no piece as long as that, fewer than two standstills, or a mishap that spoils one

    Notes
    -----
    The wagon stops at A, then about `length_mm` further at B, either way; from there the next leg begins. What it rolls
    before A or after the last B does not count.
    """
    stops = _stops(travel, "taped")
    place = np.array([float(np.mean(travel.distance_mm[a:b])) for a, b in stops])
    legs, start = [], 0
    while start < len(stops) - 1:
        end = _end_of_leg(place, start, length_mm)
        if end is not None:
            legs.append(_leg(travel, stops[start], stops[end], wheelbase_mm))
        start = start + 1 if end is None else end
    if not legs:
        rolled = float(place[-1] - place[0])
        raise UndeterminedError(
            expected=f"two stops {length_mm:g} mm apart, as taped (to {SAME_LENGTH:.0%})",
            came=f"{abs(rolled):.0f} mm by the wheel from the first stop to the last",
            where=travel.run,
            next_step="check the taped length and the wheel's diameter_mm, or leave the tape off this run",
        )
    return tuple(legs)


def _end_of_leg(place: Array, start: int, length_mm: float) -> int | None:
    """At which stop a leg ends that begins at `start`; None where there is none before the wagon goes further."""
    away = place - place[start]
    for k in range(start + 1, len(place)):
        if abs(away[k]) > (1 + SAME_LENGTH) * length_mm:
            return None
        if abs(away[k]) > (1 - SAME_LENGTH) * length_mm:
            while k + 1 < len(place) and abs(away[k + 1] / length_mm - np.sign(away[k])) < SAME_LENGTH:
                k += 1
            return k
    return None


def _stops(travel: Travel, of: str) -> list[tuple[int, int]]:
    """Standstills as [start, end) samples; at least two."""
    stops = standstills(travel.state)
    if len(stops) < 2:
        raise UndeterminedError(
            expected=f"a standstill before and after, so that a run with {of}= has two ends",
            came=f"{len(stops)} in it",
            where=travel.run,
            next_step="let the wagon stand for two seconds at either end of what was taped, and record again",
        )
    return stops


def _leg(travel: Travel, before: tuple[int, int], after: tuple[int, int], wheelbase_mm: float) -> Leg:
    """The piece between two standstills."""
    t = travel.t_s
    leave, arrive = before[1] - 1, after[0]
    _check_whole(travel, float(t[leave]), float(t[arrive]))
    begin = slice(max(before[0], int(np.searchsorted(t, t[leave] - NEAR_STOP_S))), before[1])
    end = slice(after[0], min(after[1], int(np.searchsorted(t, t[arrive] + NEAR_STOP_S)) + 1))
    rolled = float(np.mean(travel.distance_mm[end]) - np.mean(travel.distance_mm[begin]))
    return Leg(
        travel.run,
        rolled,
        _sd_mm(travel, leave, arrive),
        _turned_rad(travel, slice(leave, arrive + 1), wheelbase_mm),
        float(t[leave]),
        float(t[arrive]),
    )


def _check_whole(travel: Travel, first_s: float, last_s: float) -> None:
    """Refuse a piece in which the wheel did not roll what the wagon went."""
    spoilt = [m for m in travel.mishaps if m.kind in SPOILS and m.last_s > first_s and m.first_s < last_s]
    lost = [p for p in travel.problems if p.kind in MISCOUNTED]
    if not spoilt and not lost:
        return
    longest = max(spoilt, key=lambda m: m.duration_s, default=None)
    raise UndeterminedError(
        expected="a wheel that rolled all the way between the two stops, every turn of it counted",
        came=f"{SPOILS[longest.kind]} at {longest.first_s:.1f} s" if longest else f"{lost[0].kind} {lost[0].where}",
        where=travel.run,
        next_step="roll it again; a distance that was made good teaches nothing of the wheel's size",
    )


def _sd_mm(travel: Travel, leave: int, arrive: int) -> float:
    """Sd of the rolled distance without the wheel's size: readings at both ends, what adds up, out of round."""
    spread = travel.distance_sd_mm**2 - (travel.scale_sd * travel.distance_mm) ** 2  # readings at both ends and growth
    both_ends = float(spread[1]) if len(spread) > 1 else 0.0
    grown = max(float(spread[arrive] - spread[leave]), 0.0)
    return float(np.sqrt(max(both_ends, 0.0) + grown + OUT_OF_ROUND_MM**2))


def _turned_rad(travel: Travel, piece: slice, wheelbase_mm: float) -> float:
    """Sum of the heading's changes over `BEND_WHEELBASES` each, left and right alike; NaN without a gyro [rad]."""
    if travel.imu is None or not np.isfinite(travel.imu.gyro_rad_s[piece, 2]).any():
        return float("nan")
    t = travel.t_s[piece]
    rate = travel.imu.gyro_rad_s[piece, 2] - usual_rate(travel.imu)[2]
    known = np.isfinite(rate)
    heading = _summed(t, np.interp(t, t[known], rate[known]))
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(travel.distance_mm[piece])))])
    marks = np.arange(0.0, way[-1], BEND_WHEELBASES * wheelbase_mm)
    at: NDArray[np.float64] = np.interp(np.append(marks, way[-1]), way, heading)
    return float(np.sum(np.abs(np.diff(at))))


def _summed(t_s: Array, rate: Array) -> Array:
    """Integral of a rate over time by trapezoids (n,), 0 at the first sample."""
    return np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t_s))])
