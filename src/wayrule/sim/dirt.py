"""What really happens to logs: clean CSV text in, dirty CSV text out, with a list of what was planted.

For testing whoever reads logs. Rows are counted from 0 after the header, in the clean text.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

DirtKind = Literal["repeated rows", "out of order", "gap", "burst", "all zero", "nan", "cut last line", "wrong columns"]


@dataclass(frozen=True, slots=True)
class Planted:
    """One kind of dirt and the clean rows that it touched."""

    kind: DirtKind
    rows: tuple[int, ...]


@dataclass(slots=True)
class _Log:
    """Lines with the clean row each came from."""

    header: str
    lines: list[str]
    source: list[int]
    planted: list[Planted] = field(default_factory=list)
    touched: set[int] = field(default_factory=set)
    cut: bool = False


def _pick(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    """Places of `count` untouched lines, apart from each other and from both ends, in order."""
    free = [i for i in range(3, len(log.lines) - 3, 4) if not log.touched & set(log.source[i - 1 : i + 2])]
    if len(free) < count:
        raise ValueError(f"dirt: at least {4 * count + 6} rows are needed for {count} of a kind, came {len(log.lines)}")
    return sorted(int(i) for i in rng.choice(free, count, replace=False))


def _repeat(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    places = _pick(log, count, rng)
    rows = [log.source[i] for i in places]
    for i in reversed(places):
        log.lines.insert(i, log.lines[i])
        log.source.insert(i, log.source[i])
    return rows


def _disorder(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    places = _pick(log, count, rng)
    for i in places:
        log.lines[i : i + 2] = reversed(log.lines[i : i + 2])
        log.source[i : i + 2] = reversed(log.source[i : i + 2])
    return [log.source[i + 1] for i in places]


def _block(log: _Log, count: int, quarter: int, rng: np.random.Generator) -> int:
    """First line of a block that lies inside one quarter of the log."""
    room = len(log.lines) // 4 - count - 2
    if room < 1:
        raise ValueError(f"dirt: a block of {count} rows needs {4 * (count + 3)} rows, came {len(log.lines)}")
    return quarter * (len(log.lines) // 4) + 1 + int(rng.integers(room))


def _gap(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    i = _block(log, count, 1, rng)
    rows = log.source[i : i + count]
    del log.lines[i : i + count], log.source[i : i + count]
    return rows


def _burst(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    """Rows that waited in a buffer: all get the stamp of the last of them plus a microsecond each."""
    column = _time_column(log.header)
    i = _block(log, count, 2, rng)
    cells = [line.split(",") for line in log.lines[i : i + count]]
    last = float(cells[-1][column])
    for k, row in enumerate(cells):
        row[column] = f"{last + 1e-6 * (k - count + 1):.6f}"
        log.lines[i + k] = ",".join(row)
    return log.source[i : i + count]


def _blank(text: str) -> Callable[[_Log, int, np.random.Generator], list[int]]:
    def plant(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
        column = _time_column(log.header)
        places = _pick(log, count, rng)
        for i in places:
            cells = log.lines[i].split(",")
            log.lines[i] = ",".join(cell if j == column else text for j, cell in enumerate(cells))
        return [log.source[i] for i in places]

    return plant


def _time_column(header: str) -> int:
    names = [name.strip().lower() for name in header.split(",")]
    if "t_s" not in names:
        raise ValueError(f"dirt: expected a header with t_s, came {header!r}")
    return names.index("t_s")


def _cut(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    line = log.lines[-1]
    if count:
        log.lines[-1] = line[: int(rng.integers(1, max(2, len(line) // 2)))]
        log.cut = True
    return log.source[-1:] if count else []


def _drop_cell(log: _Log, count: int, rng: np.random.Generator) -> list[int]:
    places = _pick(log, count, rng)
    for i in places:
        log.lines[i] = log.lines[i].rpartition(",")[0]
    return [log.source[i] for i in places]


_PLANTERS: Final[dict[DirtKind, Callable[[_Log, int, np.random.Generator], list[int]]]] = {
    "burst": _burst,
    "gap": _gap,
    "all zero": _blank("0"),
    "nan": _blank("nan"),
    "wrong columns": _drop_cell,
    "out of order": _disorder,
    "repeated rows": _repeat,
    "cut last line": _cut,
}
"""In the order in which they are planted: blocks first, then single rows, which keep away from what is planted."""


def dirty(text: str, kinds: dict[DirtKind, int], rng: np.random.Generator) -> tuple[str, tuple[Planted, ...]]:
    """Make a clean recording dirty.

    Parameters
    ----------
    text : comma-separated, one header line with t_s
    kinds : kind -> how many rows (for "cut last line": 0 or 1)

    Returns
    -------
    (text, what was planted); the input is unchanged

    Raises
    ------
    ValueError   an unknown kind, a header without t_s, or too few rows

    Examples
    --------
    >>> clean = "t_s,wheel_mm\\n" + "".join(f"{i / 100:.2f},{i}\\n" for i in range(40))
    >>> text, planted = dirty(clean, {"repeated rows": 2}, np.random.default_rng(1))
    >>> len(text.splitlines()) - len(clean.splitlines()), planted[0].kind
    (2, 'repeated rows')
    """
    header, *lines = text.splitlines()
    unknown = set(kinds) - set(_PLANTERS)
    if unknown:
        raise ValueError(f"dirt: expected kinds from {', '.join(_PLANTERS)}, came {', '.join(sorted(unknown))}")
    _time_column(header)
    log = _Log(header, lines, list(range(len(lines))))
    for kind, plant in _PLANTERS.items():
        if kinds.get(kind):
            rows = plant(log, kinds[kind], rng)
            log.touched.update(rows)
            log.planted.append(Planted(kind, tuple(rows)))
    return "\n".join([log.header, *log.lines]) + ("" if log.cut else "\n"), tuple(log.planted)
