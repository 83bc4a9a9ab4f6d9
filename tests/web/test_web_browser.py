"""The desk in a real browser, on a phone and on a laptop, light and dark: clicked through as a visitor would."""

import json
import os
import re
import time
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


PLACES = """(() => { const d = Bokeh.documents[0]; const out = {};
  for (const root of d.roots()) {
    const spans = root.center.filter(m => m.name === "cursor" && m.visible);
    const dots = root.renderers.filter(r => r.data_source && r.data_source.name === "cursor");
    out[root.name] = spans.length ? spans[0].location : dots.length ? [...dots[0].data_source.data.x] : null;
  } return JSON.stringify(out); })()"""

INNER = """(() => { const v = Object.values(Bokeh.index.roots ?? Bokeh.index).find(v => v.model.name === "%s");
  const f = v.frame.bbox, r = v.el.getBoundingClientRect(), x = v.model.x_range, y = v.model.y_range;
  return [r.x + f.left, r.y + f.top, f.width, f.height, x.end - x.start, y.end - y.start];
})()"""


def test_the_track_has_equal_axes_and_one_cursor(tab, serving):
    tab.screen(1440, 900)
    tab.go(f"http://127.0.0.1:{serving.port}/track/heather-vale/survey")
    tab.until("document.getElementById('track').dataset.ready")
    left, top, width, height, across, up = tab.until(INNER % "map")
    assert across / width == pytest.approx(up / height, rel=0.01)  # as many metres a pixel either way
    tab.run("document.getElementById('chart-curvature').scrollIntoView({block: 'center'})")
    left, top, width, height, across, _ = tab.run(INNER % "curvature")
    tab.call("Input.dispatchMouseEvent", type="mouseMoved", x=left + width / 3, y=top + height / 2)
    tab.until(f"JSON.parse({PLACES}).cant > 1")
    places = json.loads(tab.run(PLACES))
    assert places["curvature"] == places["profile"] == places["cant"] == pytest.approx(across / 3, abs=0.05)
    line = serving.office.kept["heather-vale/survey"].stations
    at = int(abs(line.s_mm / 1000 - places["cant"]).argmin())
    assert places["map"][0] == pytest.approx(line.x_mm[at] / 1000, abs=0.01)
    assert tab.run("document.getElementById('at-z').textContent").startswith(f"{line.z_mm[at]:.2f}".replace("-", "−"))
    drawn = "[...Bokeh.documents[0].roots().find(c => c.name === 'curvature').renderers.find(r => r.name === 'line')"
    v = tab.run(drawn + ".data_source.data.v]")
    assert len(v) <= 2 * 1000 + 2  # a screen's worth, three screens wide
    bends = 1000 * line.curvature_1_mm
    assert (min(v), max(v)) == pytest.approx((bends.min(), bends.max()), rel=1e-5)  # no peak is lost


def test_two_taps_tell_what_lies_between_with_sigma(tab, serving, shots):
    tab.screen(1440, 900)
    tab.go(f"http://127.0.0.1:{serving.port}/track/heather-vale/survey")
    tab.until("document.getElementById('track').dataset.ready")
    tab.run("document.getElementById('chart-profile').scrollIntoView({block: 'center'})")
    left, top, width, height, *_ = tab.until(INNER % "profile")
    for share in (0.25, 0.5):
        tab.click_at(left + share * width, top + height / 2)
        time.sleep(0.4)  # two taps in quick succession would be one double tap
    tab.until("document.querySelectorAll('#between dd').length === 5")
    a, b = (float(tab.run(f"document.getElementById('{name}').value")) for name in "ab")
    exact = serving.office.kept["heather-vale/survey"].between(a, b)
    told = tab.run("document.getElementById('between').innerText")
    assert told.count("±") == 5
    rise = re.search(r"Height difference\s+(\S+)\s±\s(\S+)\smm", told)
    assert rise is not None
    assert float(rise[1].replace("−", "-")) == pytest.approx(exact.rise_mm, abs=0.06)  # shown to 0.1 mm or finer
    assert float(rise[2]) == pytest.approx(exact.rise_sd_mm, abs=0.06)
    tab.run("document.getElementById('from').value = 2000; document.getElementById('to').value = 3000")
    tab.click("#range button")
    tab.until("document.getElementById('csv').href.endsWith('from=2000&to=3000')")
    tab.shot(shots / "track-places.png")


def test_the_track_looks_right_everywhere(tab, serving, shots):
    tab.go(f"http://127.0.0.1:{serving.port}/track/heather-vale/survey")
    looked_at(tab, shots, "track", "document.getElementById('track')?.dataset.ready === 'yes'")


def test_a_script_hidden_in_a_report_does_not_run(tab, serving):
    page = serving.office.root / "heather-vale/survey/report.html"
    kept = page.read_bytes()
    try:
        page.write_bytes(b"<h1>A report</h1><script>parent.stolen = 1; document.title = 'stolen'</script>")
        tab.go(f"http://127.0.0.1:{serving.port}/report/heather-vale/survey")
        tab.until("document.getElementById('print').disabled === false")
        assert tab.run("window.stolen === undefined && document.getElementById('preview').contentDocument.title === ''")
        assert [said for said in tab.said if "script" in said.lower()]  # the browser says that it was kept from running
    finally:
        page.write_bytes(kept)
        tab.said.clear()


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
    for path in ("/", "/track/heather-vale/survey", "/report/heather-vale/survey"):
        for dark in (False, True) if "track" in path else (False,):
            tab.screen(390, 844, dark=dark)
            tab.go(f"http://127.0.0.1:{serving.port}{path}")
            tab.run(script + ";0")
            found = tab.run(
                "axe.run(document, {iframes: false, runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa']})"
                ".then(r => JSON.stringify(r.violations.map(v => [v.id, v.impact, v.nodes[0].html])))"
            )
            assert json.loads(found) == [], path
