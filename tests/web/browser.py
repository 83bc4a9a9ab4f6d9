"""A real browser for tests, driven over its remote-debugging protocol: no driver library, nothing downloaded."""

import base64
import itertools
import json
import os
import shutil
import subprocess
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.request import urlopen

from websockets.sync.client import ClientConnection, connect

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome"))), None)

FLAGS = (
    "--headless", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--disable-quic", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--remote-debugging-port=0",
)  # fmt: skip

PATIENCE_S = 30.0


class Tab:
    """One page: where it is, what it says, what is clicked; `said` holds what went wrong on its console."""

    def __init__(self, wire: ClientConnection) -> None:
        self._wire, self._numbers = wire, itertools.count(1)
        self.said: list[str] = []
        self.events: list[dict[str, Any]] = []
        for area in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{area}.enable")

    def call(self, method: str, **words: Any) -> dict[str, Any]:
        """One command of the protocol, and its answer."""
        number = next(self._numbers)
        self._wire.send(json.dumps({"id": number, "method": method, "params": words}))
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            told = json.loads(self._wire.recv(timeout=PATIENCE_S))
            if told.get("id") == number:
                if "error" in told:
                    raise AssertionError(f"{method}: {told['error']}")
                result: dict[str, Any] = told["result"]
                return result
            self._hear(told)
        raise AssertionError(f"{method}: no answer")

    def _hear(self, told: dict[str, Any]) -> None:
        self.events.append(told)
        if told["method"] == "Runtime.exceptionThrown":
            self.said.append(told["params"]["exceptionDetails"].get("exception", {}).get("description", "exception"))
        if told["method"] == "Log.entryAdded" and told["params"]["entry"]["level"] == "error":
            self.said.append(told["params"]["entry"]["text"])

    def run(self, script: str) -> Any:
        """What a script on the page comes to."""
        told = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def screen(self, width: int, height: int, *, dark: bool = False) -> None:
        """The size of the screen, and which of the two looks its owner likes."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        liked = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        self.call("Emulation.setEmulatedMedia", features=liked)

    def go(self, address: str) -> None:
        """Open an address and wait until it has loaded."""
        self.call("Page.navigate", url=address)
        self.until("document.readyState === 'complete'")

    def until(self, script: str, patience_s: float = PATIENCE_S) -> Any:
        """Wait until a script says yes, across reloads."""
        end = time.monotonic() + patience_s
        while True:
            try:
                answer = self.run(script)
            except AssertionError:  # the page was just leaving
                answer = None
            if answer:
                return answer
            assert time.monotonic() < end, f"{script}: not within {patience_s} s; " + str(
                self.run("document.body ? document.body.innerText.slice(0, 600) : 'no page'")
            )
            time.sleep(0.05)

    def click(self, selector: str) -> None:
        """A click in the middle of the first element that fits, as a hand would do it."""
        box = self.until(
            f"(() => {{ const e = document.querySelector({selector!r}); if (!e) return null; "
            "e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); "
            "return r.width ? [r.x + r.width / 2, r.y + r.height / 2] : null; })()"
        )
        self.click_at(*box)

    def click_at(self, x: float, y: float) -> None:
        """A click at a point of the window."""
        self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def shot(self, path: Path, *, whole: bool = True) -> None:
        """A picture of the page."""
        told = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(told["data"]))


class Browser:
    """A headless browser with a profile of its own."""

    def __init__(self, folder: Path) -> None:
        assert BROWSER is not None
        command = [BROWSER, *FLAGS, f"--user-data-dir={folder}", "about:blank"]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        told = _soon(lambda: (folder / "DevToolsActivePort").read_text().split())
        self._port = int(told[0])
        self._wires = ExitStack()

    def tab(self) -> Tab:
        """A fresh tab in a context of its own: no cookies of the others."""
        with urlopen(f"http://127.0.0.1:{self._port}/json/version") as answer:
            root = json.load(answer)["webSocketDebuggerUrl"]
        with connect(root, max_size=None) as wire:
            context = _ask(wire, "Target.createBrowserContext", {})["browserContextId"]
            made = _ask(wire, "Target.createTarget", {"url": "about:blank", "browserContextId": context})
        page = f"ws://127.0.0.1:{self._port}/devtools/page/{made['targetId']}"
        return Tab(self._wires.enter_context(connect(page, max_size=None)))

    def close(self) -> None:
        """End it."""
        self._wires.close()
        self._process.terminate()
        self._process.wait(20)


def _ask(wire: ClientConnection, method: str, words: dict[str, Any]) -> dict[str, Any]:
    wire.send(json.dumps({"id": 1, "method": method, "params": words}))
    while (told := json.loads(wire.recv(timeout=PATIENCE_S))).get("id") != 1:
        pass
    result: dict[str, Any] = told["result"]
    return result


def _soon(look: Callable[[], list[str]]) -> list[str]:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        try:
            if found := look():
                return found
        except OSError:
            pass
        time.sleep(0.05)
    raise AssertionError("the browser did not start")
