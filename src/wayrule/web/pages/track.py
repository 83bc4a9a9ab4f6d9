"""Track: map, curvature, profile and cant with one cursor, layers, what lies between two places, the range as CSV."""

import math
from pathlib import Path

from wayrule import store
from wayrule.desk.lookingalong import Lies, lies_between, range_of
from wayrule.desk.opening import open_survey
from wayrule.errors import UsageError
from wayrule.model import Surveyed
from wayrule.report.charts import DARK, LIGHT, track_charts
from wayrule.report.lengths import Lengths, lengths_for, metres
from wayrule.report.numbers import UNKNOWN, one_in, with_sd
from wayrule.report.tables import fault_table, mark_table
from wayrule.units import DEG
from wayrule.web.page import Ask, Page, Reply, Sent, Shown, Told
from wayrule.web.paper import texts

AT_FIRST = 300
"""Stations in a chart until the script has put in as many as the screen can show."""


def show(ask: Ask) -> Reply:
    """The page; its charts come by a script."""
    line = open_survey(_folder(ask))
    marks = [(round(place), mark.name) for place, mark in line.marks if math.isfinite(place)]
    words = {"path": ask.path["survey"], "line": line, "length": metres(line.stations.length_mm), "marks": marks}
    tables = [table for table in (fault_table(line.faults), mark_table(line.marks)) if table.rows]
    return Shown("track.html.j2", words | {"tables": tables, "last_mm": _last_mm(line)}, charts=True)


def charts(ask: Ask) -> Reply:
    """What the script draws, in the look of this browser; and the columns that the cursor reads from."""
    line = open_survey(_folder(ask))
    s = line.stations
    look = DARK if ask.query.get("dark") == "1" else LIGHT
    drawn = track_charts(line, look, texts()["charts"], every=max(1, len(s.s_mm) // AT_FIRST))
    read = {
        "s_mm": s.s_mm, "x_mm": s.x_mm, "y_mm": s.y_mm, "z_mm": s.z_mm, "z_sd_mm": s.z_sd_mm,
        "gradient": s.gradient, "gradient_sd": s.gradient_sd, "cant_mm": s.cant_mm, "cant_sd_mm": s.cant_sd_mm,
        "curvature_1_mm": s.curvature_1_mm, "curvature_sd_1_mm": s.curvature_sd_1_mm,
    }  # fmt: skip
    plain = {k: [float(f"{x:.7g}") if math.isfinite(x) else None for x in v.tolist()] for k, v in read.items()}
    return Told(drawn | {"read": plain, "closed": s.closed})


def between(ask: Ask) -> Reply:
    """Two picked places: distance, height difference, gradient, each with its sigma where it is known."""
    line = open_survey(_folder(ask))
    found = lies_between(line, _number(ask, "a"), _number(ask, "b"), ask.office.kept.get(ask.path["survey"]))
    return Told({"rows": rows(found, lengths_for(line.stations.length_mm, line.ratio)), "sure": found.sure})


def rows(found: Lies, lengths: Lengths) -> list[tuple[str, str]]:
    """(label, text) of what lies between two places."""
    t, b = texts()["track"], found.between
    known = math.isfinite(b.rise_mm)
    sd = 100 * found.gradient_sd
    return [
        (t["apart"], lengths.text(b.distance_mm, b.distance_sd_mm)),
        (t["along"], lengths.text(b.along_mm, b.along_sd_mm)),
        (t["rise"], lengths.text(b.rise_mm, b.rise_sd_mm) if known else UNKNOWN),
        (t["gradient"], f"{with_sd(100 * found.gradient, sd, '%')} ({one_in(found.gradient)})" if known else UNKNOWN),
        (t["turned"], with_sd(b.turned_rad / DEG, b.turned_sd_rad / DEG, "°")),
    ]


def shown_range(ask: Ask) -> Reply:
    """The stations of the range that is shown, as CSV."""
    low, high = _number(ask, "from"), _number(ask, "to")
    data = range_of(open_survey(_folder(ask)).stations, low, high)
    return Sent(data, "text/csv", f"{ask.path['survey'].replace('/', '-')}-{low:.0f}-{high:.0f}.csv")


def _folder(ask: Ask) -> Path:
    return store.within(ask.office.root, ask.path["survey"])


def _last_mm(line: Surveyed) -> int:
    return math.floor(line.stations.length_mm if line.stations.closed else line.stations.s_mm[-1])


def _number(ask: Ask, name: str) -> float:
    """A chainage in mm from the query."""
    text = ask.query.get(name, "")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not math.isfinite(value):
        raise UsageError(
            expected=f"{name} in mm of chainage", came=repr(text[:40]), where="the address", next_step="choose a place"
        )
    return value


PAGE = Page(
    "track",
    reads={
        "/track/{survey:path}": show,
        "/track-charts/{survey:path}": charts,
        "/track-between/{survey:path}": between,
        "/track-range/{survey:path}": shown_range,
    },
)
