"""Keys pressed at the terminal, one by one and without Enter, while something else goes on."""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Keys(Protocol):
    """Says which key was pressed."""

    def pressed(self, wait_s: float) -> str:
        """The next key within so many seconds, or ""."""


class NoKeys:
    """Where there is no terminal."""

    def pressed(self, wait_s: float) -> str:
        """Only waits."""
        time.sleep(wait_s)
        return ""


@contextmanager
def keys() -> Iterator[Keys]:
    """Keys while the body runs; the terminal is as it was afterwards."""
    if not (sys.stdin is not None and sys.stdin.isatty()):
        yield NoKeys()
    elif sys.platform == "win32":
        yield _ConsoleKeys()
    else:
        import termios
        import tty

        handle = sys.stdin.fileno()
        before = termios.tcgetattr(handle)
        try:
            tty.setcbreak(handle)  # Ctrl-C still interrupts
            yield _TerminalKeys(handle)
        finally:
            termios.tcsetattr(handle, termios.TCSADRAIN, before)


class _TerminalKeys:
    def __init__(self, handle: int) -> None:
        self._handle = handle

    def pressed(self, wait_s: float) -> str:
        import os
        import select

        ready, _, _ = select.select([self._handle], [], [], wait_s)
        return os.read(self._handle, 1).decode("utf-8", errors="replace") if ready else ""


class _ConsoleKeys:
    def pressed(self, wait_s: float) -> str:
        import importlib

        console = importlib.import_module("msvcrt")
        end = time.monotonic() + wait_s
        while time.monotonic() < end:
            if console.kbhit():
                return str(console.getwch())
            time.sleep(0.01)
        return ""
