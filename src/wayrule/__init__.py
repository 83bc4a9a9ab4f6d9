"""Wayrule: know the track, from a wheel-sensing wagon's recording to a surveyed map with honest error bars."""

__version__ = "0.1.0"
