"""What the decoding of a turning angle can follow and tell; design and decoding reckon with the same figures."""

import math
from typing import Final

FAST_TURN: Final = 0.4
"""Advance per sample [turns] from which the count is no longer safe: at half a turn forward and backward look alike."""

HARDEST_TURNS_S2: Final = 20.0
"""Turns per second squared within which counting through gaps is proved: 0.35 m/s2 of an N wheel (17.6 mm round), 0.66
of HO (33 mm), 1.9 of G (97 mm). Our choice: a wagon that is pulled stays below it, an axle that is flicked need not."""

LOOK_STEPS: Final = 10
"""Steps on either side of a gap from which the speed there is taken, for the proof."""

READING_TURNS: Final = 0.1
"""What two readings' noise and periodic error may amount to, in turns: the limits leave room for it."""


def proved_gap_s(rate_hz: float) -> float:
    """Longest gap through which no turn is lost for sure, at accelerations up to `HARDEST_TURNS_S2`.

    Parameters
    ----------
    rate_hz : float   of the readings; speeds are those of `LOOK_STEPS` on either side

    Notes
    -----
    With the speeds v0 at the middle of the look before and v1 of that after, a time T apart, and an acceleration of at
    most a, the way lies within a T2 / 4 of (v0 + v1) T / 2: the extremes speed up for half of T and slow down for the
    rest. The count is right while that and the readings' own error stay below half a turn: T = sqrt(4 x 0.4 / a), and
    the gap is T less half a look on either side.

    >>> round(proved_gap_s(200.0), 3), proved_gap_s(20.0)
    (0.233, 0.0)
    """
    whole = math.sqrt(4.0 * (0.5 - READING_TURNS) / HARDEST_TURNS_S2)
    return max(0.0, whole - LOOK_STEPS / rate_hz)


ORDERS: Final = 6
"""Highest harmonic of an angle's periodic error that is learnt from a run."""

LEAST_TURNS: Final = 8.0
"""With fewer turns no harmonic is learnt."""

STANDS_OUT: Final = 3.0
"""So many times its sd a harmonic must have to be believed and taken out."""
