"""A page is opened only where a person can see it."""

import sys
import webbrowser
from pathlib import Path

import pytest

from wayrule.cli import browser


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    seen: list[str] = []
    monkeypatch.setattr(webbrowser, "open", lambda uri: seen.append(uri) or True)
    return seen


def place(monkeypatch: pytest.MonkeyPatch, platform: str, *, terminal: bool, display: str) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal)
    monkeypatch.setenv("DISPLAY", display)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)


@pytest.mark.parametrize("platform", ["win32", "darwin", "linux"])
def test_opened_at_a_terminal_with_a_screen(
    monkeypatch: pytest.MonkeyPatch, opened: list[str], platform: str, tmp_path: Path
) -> None:
    place(monkeypatch, platform, terminal=True, display=":0")
    assert browser.open_page(tmp_path / "a report.html")
    assert opened[0].startswith("file://")
    assert opened[0].endswith("a%20report.html")


@pytest.mark.parametrize(
    ("platform", "terminal", "display"),
    [("linux", True, ""), ("linux", False, ":0"), ("win32", False, ""), ("darwin", False, "")],
)
def test_not_opened_where_nobody_watches(
    monkeypatch: pytest.MonkeyPatch, opened: list[str], platform: str, terminal: bool, display: str, tmp_path: Path
) -> None:
    place(monkeypatch, platform, terminal=terminal, display=display)
    assert not browser.open_page(tmp_path / "report.html")
    assert opened == []
