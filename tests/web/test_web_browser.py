"""The desk in a real browser, on a phone and on a laptop, light and dark: clicked through as a visitor would."""

import json
import os
from pathlib import Path

import pytest

from tests.web.browser import BROWSER, Browser, Tab
from tests.web.desks import desk
from wayrule.desk.scene import heather_vale
from wayrule.web.serving import Serving

SCREENS = {"phone": (390, 844, False), "phone-dark": (390, 844, True), "laptop": (1440, 900, False)}
SCREENS["laptop-dark"] = (1440, 900, True)

WIDE = """(() => [...document.querySelectorAll("body *")].filter(e => {
  const r = e.getBoundingClientRect();
  return r.width && r.right > innerWidth + 0.5 && !e.closest(".skip");
}).map(e => e.tagName + "." + e.className).slice(0, 5).join(" ") + (document.documentElement.scrollWidth > innerWidth
  ? " the page scrolls sideways" : ""))()"""

SMALL = """[...document.querySelectorAll("a.button, button, nav a, input:not([type=checkbox]), select")]
  .map(e => [e.textContent, e.getBoundingClientRect()]).filter(([_, r]) => r.height && r.height < 43.5)
  .map(([t, r]) => t.trim() + " " + r.height).join("; ")"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory):
    if BROWSER is None:
        pytest.skip("not run: no browser")
    running = Browser(tmp_path_factory.mktemp("profile"))
    yield running
    running.close()


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory):
    with pytest.MonkeyPatch.context() as patch, desk(tmp_path_factory.mktemp("layouts")) as running:
        patch.setattr("wayrule.desk.demonstration.heather_vale", lambda seed: heather_vale(seed, 50.0))
        yield running


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pictures go: `WAYRULE_SHOTS` keeps them to be looked at."""
    kept = os.environ.get("WAYRULE_SHOTS")
    folder = Path(kept) if kept else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="module")
def tab(browser: Browser, serving: Serving, shots: Path) -> Tab:
    """A first visitor's tab after the tour: from nothing to the finished survey, by clicking."""
    page = browser.tab()
    page.screen(390, 844)
    page.go(f"http://127.0.0.1:{serving.port}/")
    assert page.run("document.querySelector('h1').textContent") == "A key is needed"
    page.go("about:blank")
    page.said.clear()  # the door is answered with 401, which the console mentions
    page.go(serving.address)
    page.until("document.querySelector('h1')?.textContent === 'Layouts'")
    assert "key" not in page.run("location.href")
    page.shot(shots / "first-visit.png")
    page.click(".tour button")
    page.until("document.querySelectorAll('#told li').length > 2")
    page.go(page.run("location.href"))  # a reload in the middle of the work
    page.until("document.querySelectorAll('#told li').length > 3")
    page.shot(shots / "work.png")
    page.until("!document.getElementById('result').hidden", 60)
    page.said[:] = [said for said in page.said if "401" not in said]
    return page


def looked_at(tab: Tab, shots: Path, name: str, ready: str = "true") -> None:
    """Each screen: nothing over the edge, nothing too small for a thumb, no complaint, a picture."""
    for screen, (width, height, dark) in SCREENS.items():
        tab.screen(width, height, dark=dark)
        tab.go(tab.run("location.href"))
        tab.until(ready)
        tab.shot(shots / f"{name}-{screen}.png")
        assert tab.run(WIDE) == "", screen
        assert tab.run(SMALL) == "", screen
        background = tab.run("getComputedStyle(document.body).backgroundColor")
        assert background == ("rgb(18, 25, 30)" if dark else "rgb(253, 252, 248)")
    assert tab.said == []


def test_layouts_shows_what_is_there_and_what_is_next(tab, serving, shots):
    tab.go(f"http://127.0.0.1:{serving.port}/")
    text = tab.run("document.body.innerText")
    assert "heather-vale" in text
    assert "look at the line" in text
    assert "monday.csv" in text
    looked_at(tab, shots, "layouts")


def test_the_report_is_previewed_and_printed(tab, serving, shots):
    tab.go(f"http://127.0.0.1:{serving.port}/")
    tab.click(".survey .buttons a[href^='/report']")
    tab.until("document.getElementById('print')?.disabled === false")
    inside = "document.getElementById('preview').contentDocument.querySelector('h1').textContent"
    assert "Heather Vale" in tab.run(inside)
    tab.run("window.printed = 0; document.getElementById('preview').contentWindow.print = () => { window.printed++; }")
    tab.click("#print")
    assert tab.run("window.printed") == 1
    looked_at(tab, shots, "report", "!document.getElementById('print').disabled")
    tab.go(tab.run("document.getElementById('preview').src"))
    pdf = tab.call("Page.printToPDF")["data"]
    assert len(pdf) > 100_000
    assert tab.said == []


def test_a_viewer_sees_no_button_that_acts(browser, serving):
    page = browser.tab()
    page.go(f"http://127.0.0.1:{serving.port}/#key={serving.office.keys.watching}")
    page.until("document.querySelector('h1')?.textContent === 'Layouts'")
    assert page.run("document.querySelectorAll('form').length") == 0
    assert "This device watches" in page.run("document.body.innerText")


def test_a_wrong_key_says_so(browser, serving):
    page = browser.tab()
    page.go(f"http://127.0.0.1:{serving.port}/#key=made-up")
    page.until("!document.getElementById('wrong').hidden")


def test_work_is_cancelled_by_a_click_and_the_page_says_so(tab, serving):
    tab.go(f"http://127.0.0.1:{serving.port}/")
    tab.click(".tour button")
    tab.click("#cancel button")
    tab.until("document.getElementById('state')?.textContent === 'cancelled'", 60)
    assert not (serving.office.root / "heather-vale-2" / "survey").exists()


def test_nothing_a_reader_of_the_screen_would_miss(tab, serving):
    axe = pytest.importorskip("axe_core_python", reason="not run: no accessibility checker")
    script = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    for path in ("/", "/report/heather-vale/survey"):
        for dark in (False, True):
            tab.screen(390, 844, dark=dark)
            tab.go(f"http://127.0.0.1:{serving.port}{path}")
            tab.run(script + ";0")
            found = tab.run(
                "axe.run(document, {iframes: false, runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa']})"
                ".then(r => JSON.stringify(r.violations.map(v => [v.id, v.impact, v.nodes[0].html])))"
            )
            assert json.loads(found) == [], path
