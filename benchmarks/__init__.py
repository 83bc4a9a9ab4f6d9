"""The figures that Wayrule promises, measured: `python -m benchmarks AREA`."""

from benchmarks.row import Row

__all__ = ["Row"]
