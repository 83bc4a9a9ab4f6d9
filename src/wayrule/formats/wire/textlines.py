"""Text mode: lines of a beginner's sketch to the text of a recording; a line's own check, where it has one."""

import re
from collections.abc import Iterable
from functools import reduce
from operator import xor
from typing import Final

from wayrule.formats.columns import meaning_of

CHECKED: Final = re.compile(r"(.*)\*([0-9A-Fa-f]{2})")


def without_check(line: str) -> str | None:
    """The line without its `*hh`; None where the check does not hold; as it is where it has none.

    >>> without_check("0,1.25*04"), without_check("0,1.25*00"), without_check("0,1.25")
    ('0,1.25', None, '0,1.25')
    """
    found = CHECKED.fullmatch(line.strip())
    if not found:
        return line
    return found[1] if reduce(xor, found[1].encode(), 0) == int(found[2], 16) else None


def is_header(line: str) -> bool:
    """Whether a line names columns, a time among them.

    >>> is_header("t_ms,bx_mT,gz_dps"), is_header("0,1.25,0.12"), is_header("ready")
    (True, False, False)
    """
    meanings = [meaning_of(cell) for cell in re.split(r"[,;\t]", without_check(line) or "")]
    return len(meanings) > 1 and any(m is not None and m.kind == "time" for m in meanings)


class TextLog:
    """Lines as they come; gives those that belong to a recording: the header once, then rows of as many cells.

    Examples
    --------
    >>> log = TextLog()
    >>> [log.take(line) for line in ("ready", "t_ms,bx_mT", "0,1.5", "5,1", "t_ms,bx_mT", "10,1.7,3", "# low battery")]
    [None, 't_ms,bx_mT', '0,1.5', '5,1', None, None, None]
    >>> log.rows, log.dropped
    (2, 1)
    """

    def __init__(self) -> None:
        self.header = ""
        self._separator = ","
        self._checked = False
        self.rows = 0
        self.dropped = 0
        """Lines that were no row: a check that does not hold or is missing, or another number of cells."""

    def take(self, line: str) -> str | None:
        """The line as it goes into the recording; None if it does not."""
        bare = without_check(line)
        if not self.header:
            return self._begin(line) if is_header(line) else None
        if line.startswith("#") or bare == self.header:
            return None
        whole = bare is not None and self._checked == (bare != line)
        if bare is None or not whole or bare.count(self._separator) != self.header.count(self._separator):
            self.dropped += 1
            return None
        self.rows += 1
        return bare

    def _begin(self, line: str) -> str:
        self.header = without_check(line) or ""
        self._checked = self.header != line
        self._separator = max(",;\t", key=self.header.count)
        return self.header


def text_recording(lines: Iterable[str]) -> tuple[bytes, int]:
    """The text of a recording from the lines of a stream, and how many lines were dropped as garbled.

    >>> text_recording(["boot", "t_ms,bx_mT", "0,1.5", "5,1.6"])
    (b't_ms,bx_mT\\n0,1.5\\n5,1.6\\n', 0)
    """
    log = TextLog()
    kept = [row for row in map(log.take, lines) if row is not None]
    return "".join(row + "\n" for row in kept).encode(), log.dropped
