"""Lines as a perfect survey would have them, for tests of what is done with a survey."""

from benchmarks.living.surveyed import stations_of as true_stations

__all__ = ["true_stations"]
