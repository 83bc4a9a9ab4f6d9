"""What the items of the card look at: a run, or a window of one, with what has been made of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.model import AxleReference, HealthItem, Mishap, Recording, Spot, State, Travel, Wagon
from wayrule.model.arrays import Array

MOST_SPOTS = 5
"""So many places of one item are told, the worst first; more are counted in words."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A run as the card sees it.

    travel      what it did; None where it could not be told (a window too short for a turn of the wheel)
    turned_rad  (n,) angle that the sensed axle turned, without what was made good; None where it is not known
    axle        the turning field as a calibration knows it; None where there is none
    """

    recording: Recording
    wagon: Wagon
    travel: Travel | None
    turned_rad: Array | None
    axle: AxleReference | None = None

    def spot(self, first_s: float, last_s: float) -> Spot:
        """A place of the run, with how far it had rolled by then."""
        if self.travel is None or not len(self.travel.t_s):
            return Spot(first_s, last_s)
        return Spot(first_s, last_s, float(np.interp(first_s, self.travel.t_s, self.travel.distance_mm)))

    def spots_of(self, mishaps: Sequence[Mishap]) -> tuple[Spot, ...]:
        """Places of mishaps, the largest first."""
        worst = sorted(mishaps, key=lambda one: -abs(one.size))
        return tuple(self.spot(one.first_s, one.last_s) for one in worst[:MOST_SPOTS])

    def spots_where(self, bad: NDArray[np.bool_]) -> tuple[Spot, ...]:
        """Stretches of samples (n,) where it is so, the longest first."""
        edge = np.flatnonzero(np.diff(np.concatenate(([False], bad, [False])).astype(np.int8)))
        t = self.recording.t_s
        spans = sorted(zip(edge[::2].tolist(), (edge[1::2] - 1).tolist(), strict=True), key=lambda s: t[s[0]] - t[s[1]])
        return tuple(self.spot(float(t[a]), float(t[b])) for a, b in spans[:MOST_SPOTS])

    @property
    def way_mm(self) -> float:
        """Path rolled, back and forth counted alike [mm]; 0 where it is not known."""
        return 0.0 if self.travel is None else float(np.abs(np.diff(self.travel.distance_mm)).sum())

    def in_state(self, state: State) -> NDArray[np.bool_]:
        """(n,) samples in a state; none where the travel is not known."""
        if self.travel is None:
            return np.zeros(self.recording.n, dtype=bool)
        return np.asarray(self.travel.state == state)


def unknown(name: str, reason: str, todo: str = "") -> HealthItem:
    """An item that the run does not tell."""
    return HealthItem(name, "unknown", reason, todo)


def many(count: int, what: str) -> str:
    """A count with its noun.

    >>> many(1, "knock"), many(3, "knock")
    ('1 knock', '3 knocks')
    """
    return f"{count} {what}{'' if count == 1 else 's'}"


def digits(value: float) -> str:
    """A figure in a reason: two significant digits, none beyond the point from 100 on.

    >>> digits(0.01234), digits(5.55), digits(1234.5), digits(0.0)
    ('0.012', '5.5', '1234', '0')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.2g}"
