"""How a verb says what it is doing: the caller hands in a step, a face shows it, a notebook stays silent."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext

Step = Callable[[str], AbstractContextManager[None]]
"""`with step("reading monday.csv"):` does the work of one step."""


def silent(text: str) -> AbstractContextManager[None]:  # noqa: ARG001  the signature of a step
    """A step that nobody is told of."""
    return nullcontext()
