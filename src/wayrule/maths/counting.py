"""What the decoding of a turning angle can follow and tell; design and decoding reckon with the same figures."""

from typing import Final

FAST_TURN: Final = 0.4
"""Advance per sample [turns] from which the count is no longer safe: at half a turn forward and backward look alike."""

ORDERS: Final = 6
"""Highest harmonic of an angle's periodic error that is learnt from a run."""

LEAST_TURNS: Final = 8.0
"""With fewer turns no harmonic is learnt."""

STANDS_OUT: Final = 3.0
"""So many times its sd a harmonic must have to be believed and taken out."""
