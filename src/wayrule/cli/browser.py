"""Showing a finished page in the browser, where there is a person and a screen to see it."""

import os
import sys
import webbrowser
from pathlib import Path


def someone_watches() -> bool:
    """Whether a person sits at a terminal with a screen; a browser in the terminal itself would be in the way."""
    if not sys.stderr.isatty():
        return False
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def open_page(page: Path) -> bool:
    """Open `page`; False where there is nobody to see it, or no browser."""
    return someone_watches() and webbrowser.open(page.resolve().as_uri())
