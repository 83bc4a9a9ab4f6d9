"""How a verb says what it is doing: the caller hands in a step, a face shows it, a notebook stays silent."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext

Step = Callable[[str], AbstractContextManager[None]]
"""`with step("reading monday.csv"):` does the work of one step."""


def silent(text: str) -> AbstractContextManager[None]:  # noqa: ARG001  the signature of a step
    """A step that nobody is told of."""
    return nullcontext()


@contextmanager
def stages(step: Step) -> Iterator[Callable[[str], None]]:
    """A work that tells only when a stage begins, shown as steps: each ends where the next begins.

    >>> @contextmanager
    ... def printed(text):
    ...     yield print("begin", text)
    ...     print("end", text)
    >>> with stages(printed) as tell:
    ...     tell("laps")
    ...     tell("adjustment")
    begin laps
    end laps
    begin adjustment
    end adjustment
    """
    with ExitStack() as running:

        def tell(text: str) -> None:
            running.close()
            running.enter_context(step(text))

        yield tell
