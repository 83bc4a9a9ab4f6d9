"""What is going on, said on stderr while it goes on, so that stdout stays free for results."""

import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


def console(*, stderr: bool = False) -> "Console":
    """A console that takes texts as they are: brackets in a file's name are no colours."""
    from rich.console import Console

    made = Console(stderr=stderr, markup=False, highlight=False, emoji=False)
    return made if made.is_terminal else Console(stderr=stderr, markup=False, highlight=False, emoji=False, width=120)


class Steps:
    """The steps of a verb, each shown while it runs (on a terminal) and told with its time when it is done.

    >>> with Steps()("reading run.csv"):
    ...     pass
    """

    def __init__(self) -> None:
        self._console = console(stderr=True)

    @contextmanager
    def __call__(self, text: str) -> Iterator[None]:
        """Run the body as one step."""
        spinner: AbstractContextManager[object] = nullcontext()
        if self._console.is_terminal:
            spinner = self._console.status(text)
        began = time.perf_counter()
        with spinner:
            yield
        self._console.print(f"{text} · {time.perf_counter() - began:.1f} s", style="dim")
