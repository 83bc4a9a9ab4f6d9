"""Mending: a smooth target line, what to do at every sleeper, boards first, single faults, string-lining."""
