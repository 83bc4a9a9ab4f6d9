"""What the recorder writes into a raw log besides the bytes that came: who sent them, marks, what went wrong."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

LONGEST_TEXT: Final = 500
"""Characters of a text in a note that are kept: a name or a reason has far fewer."""

WHATS: Final = frozenset({"head", "source", "time", "link", "mark", "dropped", "slept", "end"})
"""head     begins a segment: `segment` number, `why`, `wall_s`, `program`
source   who is behind a number: `link`, `peer`
time     `wall_s` (seconds since 1970, UTC), once a second beside the recorder's own clock
link     `state` up or down, `why`
mark     `name`, dropped at the desk
dropped  `bytes` and `chunks` that could not be kept, `why`
slept    the machine slept for `seconds`, some time after `after_s` of the recorder's clock
end      the recording was ended, `why`"""


@dataclass(frozen=True, slots=True)
class Note:
    """One note.

    what      one of `WHATS`
    source    which sender it is about, 0 for all
    sequence, t_ns   of its block
    words     its texts: link, peer, state, why, name, program
    numbers   its numbers: wall_s, bytes, chunks, seconds, segment
    """

    what: str
    source: int
    sequence: int
    t_ns: int
    words: Mapping[str, str]
    numbers: Mapping[str, float]


def note_bytes(what: str, said: Mapping[str, str | float]) -> bytes:
    """A note as the payload of its block.

    >>> note_bytes("mark", {"name": "Vale bridge"})
    b'{"what":"mark","name":"Vale bridge"}'
    """
    if what not in WHATS:
        raise ValueError(f"expected a note that has a name, came {what!r}")
    kept = {key: value[:LONGEST_TEXT] if isinstance(value, str) else value for key, value in said.items()}
    return json.dumps({"what": what, **kept}, separators=(",", ":")).encode()


def read_note(payload: bytes, source: int, sequence: int, t_ns: int) -> Note | None:
    """A note from its block's payload; None when it is none that we know.

    >>> read_note(b'{"what":"mark","name":"Vale bridge"}', 0, 4, 0).words["name"]
    'Vale bridge'
    >>> read_note(b"[1, 2", 0, 4, 0) is None
    True
    """
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict) or not isinstance(said.get("what"), str) or said["what"] not in WHATS:
        return None
    words = {key: value[:LONGEST_TEXT] for key, value in said.items() if isinstance(value, str)}
    numbers = {key: float(value) for key, value in said.items() if _is_number(value)}
    return Note(said["what"], source, sequence, t_ns, words, numbers)


def _is_number(value: Any) -> bool:
    """Whether it is a number that a float can hold."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < 1e18 and math.isfinite(value)
