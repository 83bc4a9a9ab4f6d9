"""Entries of a calibration file, read strictly: each wrong one is one line with its place."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from wayrule.errors import WayruleError

MAX_RUNS: Final = 100_000
"""More entries in a list than this are no calibration's."""


class CalibrationError(WayruleError):
    """A calibration file that cannot be used."""


@dataclasses.dataclass(frozen=True, slots=True)
class Entry:
    """A table of the file and its place in it, for error lines."""

    content: Mapping[str, Any]
    where: str

    def get(self, key: str) -> Any:
        """What stands under a key; an entry that is not there is a wrong one."""
        if key not in self.content:
            raise CalibrationError(
                expected=f"an entry {key}", came="none", where=self.where, next_step="give the file as it was written"
            )
        return self.content[key]

    def wrong(self, key: str, expected: str, came: Any) -> CalibrationError:
        """The error for what stands under a key."""
        shown = repr(came)
        return CalibrationError(
            expected=expected,
            came=shown if len(shown) <= 60 else shown[:57] + "...",
            where=f"{self.where}: {key}",
            next_step="give the calibration.json of a survey, as it was written",
        )

    def text(self, key: str) -> str:
        """A text of one line."""
        value = self.get(key)
        if not isinstance(value, str) or len(value) > 1000 or not value.isprintable():
            raise self.wrong(key, "a text of one line", value)
        return value

    def number(self, key: str) -> float:
        """A finite number."""
        return self._finite(key, self.get(key))

    def _finite(self, key: str, value: Any) -> float:
        fits = isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e30
        if not fits:
            raise self.wrong(key, "a finite number", value)
        return float(value)

    def count(self, key: str, least: int = 1) -> int:
        """A whole number, `least` or more."""
        value = self.get(key)
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= MAX_RUNS:
            raise self.wrong(key, f"a whole number, {least} or more", value)
        return value

    def table(self, key: str) -> "Entry":
        """A table in this one."""
        value = self.get(key)
        if not isinstance(value, dict):
            raise self.wrong(key, "a table", value)
        return Entry(value, f"{self.where}: {key}")

    def several(self, key: str) -> list[Any]:
        """A list."""
        value = self.get(key)
        if not isinstance(value, list) or len(value) > MAX_RUNS:
            raise self.wrong(key, "a list", value)
        return value

    def item(self, key: str, i: int, value: Any) -> "Entry":
        """A table in a list."""
        if not isinstance(value, dict):
            raise self.wrong(f"{key}[{i}]", "a table", value)
        return Entry(value, f"{self.where}: {key}[{i}]")

    def matrix(self, key: str, rows: int, columns: int | None = None, *, gaps: bool = False) -> np.ndarray[Any, Any]:
        """Finite numbers in rows and columns, as many columns as rows where they are left out; `gaps`: see `vector`."""
        columns = rows if columns is None else columns
        found = self.several(key)
        if len(found) != rows or not all(isinstance(row, list) and len(row) == columns for row in found):
            raise self.wrong(key, f"{rows} rows of {columns} numbers", found)
        return np.array([[self._filled(key, value, gaps) for value in row] for row in found])

    def vector(self, key: str, size: int, *, gaps: bool = False) -> np.ndarray[Any, Any]:
        """So many finite numbers; with `gaps` null is one that is not known, NaN."""
        found = self.several(key)
        if len(found) != size:
            raise self.wrong(key, f"{size} numbers", found)
        return np.array([self._filled(key, value, gaps) for value in found])

    def _filled(self, key: str, value: Any, gaps: bool) -> float:
        return math.nan if gaps and value is None else self._finite(key, value)

    def perhaps(self, key: str) -> float:
        """A finite number, or NaN where null stands for one that is not known."""
        return math.nan if self.get(key) is None else self.number(key)
