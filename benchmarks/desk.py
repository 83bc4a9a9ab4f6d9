"""Area `desk`: how soon pages can be used, and how smoothly a long line moves, in a real browser without a screen."""

import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from benchmarks.desking.longline import write_long_line
from benchmarks.row import Row, at_least, at_most, guarded
from tests.web.browser import BROWSER, Browser, Tab
from tests.web.desks import desk

FRAMES = """(async () => {
  const charts = Bokeh.documents[0].roots(), frame = () => new Promise(done => requestAnimationFrame(done));
  const line = charts.find(c => c.name !== "map"), map = charts.find(c => c.name === "map");
  const from = [line.x_range.start, line.x_range.end, map.x_range.start, map.x_range.end];
  await frame();
  const began = performance.now();
  for (let i = 1; i <= %d; i++) {
    const by = i / 100, near = %s ? 1 - i / 400 : 1;
    line.x_range.setv({start: from[0] + by, end: from[0] + by + (from[1] - from[0]) * near});
    map.x_range.setv({start: from[2] + by, end: from[2] + by + (from[3] - from[2]) * near});
    await frame();
  }
  return 1000 * %d / (performance.now() - began);
})()"""
"""Moves (or zooms) map and charts by a little, waits until that is drawn, and so on; frames a second."""

NOT_YET = (
    (
        "five surveys of 12 000 stations laid over each other: frames while panning",
        ">= 30 /s",
        "Track shows one survey",
    ),
    ("live view: from byte to screen at 20 Hz", "<= 150 ms", "there is no page Run yet"),
    ("eight viewers of a live run: share of a core", "<= 0.5", "there is no page Run yet"),
)


def rows(quick: bool) -> Iterable[Row]:
    """All rows of the area."""
    yield from guarded("the desk in a browser", "<= 2 s to first use", lambda: _measured(30 if quick else 120))
    for what, limit, why in NOT_YET:
        yield Row(what, "", limit, ok=False, why=why)


def _measured(frames: int) -> Iterator[Row]:
    if BROWSER is None:
        yield Row("the desk in a browser", "", "<= 2 s to first use", ok=False, why="not run: no browser")
        return
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        stations = write_long_line(Path(folder) / "project" / "long line" / "survey")
        browser = Browser(Path(folder) / "profile")
        try:
            with desk(Path(folder) / "project") as serving:
                tab = browser.tab()
                tab.screen(1440, 900)
                yield at_most("first use: from the address to Layouts", _first_use(tab, serving.address), 2.0, "s")
                address = f"http://127.0.0.1:{serving.port}/track/long%20line/survey"
                took = _until(tab, address, "document.getElementById('track')?.dataset.ready")
                what = f"one survey of 60 m, {stations} stations, map and three charts: "
                yield at_most(what + "from the address to all charts", took, 2.0, "s")
                for name, zoom in (("panning", "false"), ("zooming", "true")):
                    a_second = float(tab.run(FRAMES % (frames, zoom, frames)))
                    yield at_least(what + f"frames while {name}", a_second, 30.0, "/s")
        finally:
            browser.close()


def _first_use(tab: Tab, address: str) -> float:
    return _until(tab, address, "document.querySelector('h1')?.textContent === 'Layouts'")


def _until(tab: Tab, address: str, ready: str) -> float:
    """Seconds from asking for an address until a script says that the page is ready."""
    began = time.perf_counter()
    tab.call("Page.navigate", url=address)
    tab.until(ready)
    return time.perf_counter() - began
