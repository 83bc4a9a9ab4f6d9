"""The page in a real browser: nothing wider than a phone, nothing asked of the network."""

import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from tests.report import sample
from tests.report.test_healthcard import CARD
from wayrule.report.page import survey_page

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome"))), None)

# Headless, alone, quiet: its own profile and no background traffic.
FLAGS = [
    "--headless",
    "--disable-gpu",
    "--hide-scrollbars",
    "--no-first-run",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

PROBE = """<script>addEventListener("load", () => {
  const wide = [];
  for (const e of document.querySelectorAll("body *")) {
    const r = e.getBoundingClientRect();
    if (r.width && r.right > innerWidth + 0.5 && !e.closest(".many thead")) wide.push(e.tagName + " " + r.right);
  }
  const small = [...document.querySelectorAll("svg text")].filter(t => t.getBoundingClientRect().height > 0)
    .map(t => parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a);
  for (const t of document.querySelectorAll("svg text")) {
    const r = t.getBoundingClientRect(), f = t.closest("svg").getBoundingClientRect();
    if (r.width && (r.left < f.left - 1 || r.right > f.right + 1 || r.top < f.top - 1 || r.bottom > f.bottom + 1))
      wide.push("cut off: " + t.textContent);
  }
  const seen = [...document.querySelectorAll(".chart")].filter(s => s.getBoundingClientRect().width > 0);
  const said = [document.documentElement.scrollWidth, innerWidth, Math.min(...small).toFixed(2), seen.length,
    performance.getEntriesByType("resource").length, wide.slice(0, 5).join(";")];
  document.body.innerHTML = "<p id=probe>" + said.join("|") + "</p>";
});</script>"""


WIDTHS = {360: 9.5, 390: 10.0, 1200: 10.5}
"""Width of the screen and the smallest lettering a drawing may show there, both in CSS pixels."""

RELAY = """<script>addEventListener("load", () => setTimeout(() => {
  const said = document.body.appendChild(document.createElement("pre"));
  said.textContent = Array.from(frames, f => f.document.getElementById("probe").textContent).join(" @ ");
}, 500))</script>"""


@pytest.fixture(scope="module")
def probed(tmp_path_factory: pytest.TempPathFactory) -> dict[int, list[str]]:
    """What the page says of itself at each width, all in one start of the browser."""
    if BROWSER is None:
        pytest.skip("not run: no browser")
    folder: Path = tmp_path_factory.mktemp("browser")
    first, *others = sample.survey().travels
    looked_at = replace(sample.survey(), travels=(replace(first, health=CARD), *others))
    page = survey_page(looked_at, title="Heather Vale: the oval").replace("</head>", PROBE + "</head>")
    (folder / "page.html").write_text(page, encoding="utf-8")
    # A phone is a frame of its width: on some systems a window cannot be narrower than 500 px.
    frames = "".join(f'<iframe src="page.html" style="width:{w}px;height:800px;border:0"></iframe>' for w in WIDTHS)
    (folder / "frames.html").write_text(frames + RELAY, encoding="utf-8")
    command = [BROWSER, *FLAGS, f"--user-data-dir={folder / 'profile'}", "--allow-file-access-from-files"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--no-sandbox")
    command += ["--virtual-time-budget=5000", "--dump-dom", (folder / "frames.html").as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    found = re.search(r"<pre>(.*?)</pre>", done.stdout, re.S)
    assert found, done.stdout[-500:] + done.stderr[-500:]
    return {w: line.split("|") for w, line in zip(WIDTHS, found[1].split(" @ "), strict=True)}


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_runs_over_the_edge_and_lettering_is_readable(probed, width):
    scroll, inner, smallest, drawings, resources, wide = probed[width]
    assert wide == ""
    assert int(scroll) <= int(inner) == width
    assert float(smallest) >= WIDTHS[width]
    assert int(drawings) == 10  # one form of each drawing, not both
    assert int(resources) == 0
