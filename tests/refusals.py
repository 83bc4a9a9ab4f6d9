"""What a reader makes of anything at all: a value, or one line that a person can act on."""

from collections.abc import Callable
from typing import TypeVar

from wayrule.errors import WayruleError

Value = TypeVar("Value")


def value_or_one_line(read: Callable[[], Value], kind: type[WayruleError]) -> Value | None:
    """The value; None for a refusal, which must be of this kind and say in one line what was expected and what came.

    >>> value_or_one_line(lambda: 5, WayruleError)
    5
    """
    try:
        return read()
    except kind as error:
        said = str(error)
        assert len(said.splitlines()) == 1, f"more than one line: {said!r}"
        assert "expected " in said, said
        assert ", came " in said, said
        assert "; " in said, f"no next step: {said}"
        return None
