"""Charts to move and zoom: map, curvature, profile and cant of a line, as what bokeh's browser part draws.

Pure: a survey and a look to plain data for JSON. Two sigmas are a pale band, one a darker one, as in the report.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from bokeh.document import Document
from bokeh.models import ColumnDataSource, PanTool, Range1d, WheelZoomTool
from bokeh.models.annotations import ScaleBar, Span
from bokeh.plotting import figure
from numpy.typing import NDArray

from wayrule.model import Surveyed

Figure = Any
Floats = NDArray[np.float64]

M_MM: Final = 1000.0
"""Charts speak metres along and across."""


@dataclass(frozen=True, slots=True)
class Look:
    """Colours by their names in sheet.css."""

    ink: str
    soft: str
    paper: str
    grid: str
    line: str
    band1: str
    band2: str
    mark: str
    second: str


LIGHT: Final = Look("#17242e", "#55636d", "#fdfcf8", "#dedad0", "#1d4e6b", "#9dbdcf", "#d3e2ea", "#b0371b", "#8a6a14")
DARK: Final = Look("#e9e6dc", "#a5aeb3", "#12191e", "#2b353c", "#8fc7e6", "#355c72", "#203845", "#f08a6c", "#d9b65a")

CHART_OF: Final = {
    "kink": "curvature", "lateral": "curvature", "dip": "profile", "hump": "profile",
    "twist": "cant", "one_rail_dip": "cant",
}  # fmt: skip
"""Where a fault shows along the line."""

HEIGHTS: Final = {"map": 430, "curvature": 190, "profile": 190, "cant": 190}


def track_charts(line: Surveyed, look: Look, words: Mapping[str, str], every: int = 1) -> dict[str, Any]:
    """All charts of a line.

    Parameters
    ----------
    words : titles and axes: map, east, north, curvature, profile, cant, chainage
    every : of how many stations one is put into the lines and bands, where a script brings the rest

    Returns
    -------
    dict   `doc`: bokeh's document as JSON; `roots`: name of a chart -> ident of its model. A chart whose quantity is
           not known anywhere is left out. The cursor, two places and the layers have names: cursor, place-a, place-b,
           elements, faults, marks, band, line
    """
    s = line.stations
    reach = Range1d(start=0.0, end=(s.length_mm if s.closed else float(s.s_mm[-1])) / M_MM)
    rows = (
        ("curvature", s.curvature_1_mm * M_MM, s.curvature_sd_1_mm * M_MM),
        ("profile", s.z_mm, s.z_sd_mm),
        ("cant", s.cant_mm, s.cant_sd_mm),
    )
    charts: dict[str, Figure] = {}
    if np.isfinite(s.x_mm).any():
        charts["map"] = _map(line, look, words, every)
    for name, value, sd in rows:
        if np.isfinite(value).any():
            drawn = Drawn(s.s_mm[::every], value[::every], sd[::every])
            charts[name] = _along(name, drawn, reach, look, words)
            _layers(charts[name], name, line, value, look)
    doc = Document()
    for chart in charts.values():
        doc.add_root(chart)
    return {"doc": doc.to_json(deferred=False), "roots": {name: chart.id for name, chart in charts.items()}}


def _figure(name: str, look: Look, title: str, across: str, **more: Any) -> Figure:
    made: Figure = figure(
        name=name, title=title, x_axis_label=across, height=HEIGHTS[name], sizing_mode="stretch_width",
        toolbar_location=None, tools="", background_fill_color=look.paper, border_fill_color=look.paper,
        outline_line_color=look.soft, min_border_right=14, min_border_left=62, **more,
    )  # fmt: skip
    made.title.text_color = look.ink
    made.title.text_font_size = "15px"
    for axis in made.axis:
        axis.axis_label_text_color = axis.major_label_text_color = look.soft
        axis.axis_line_color = axis.major_tick_line_color = look.soft
        axis.minor_tick_line_color = None
        axis.axis_label_text_font_style, axis.axis_label_text_font_size = "normal", "13px"
        axis.major_label_text_font_size = "12px"
    made.grid.grid_line_color = look.grid
    return made


def _tools(chart: Figure, dimensions: Literal["width", "both"]) -> None:
    pan, wheel = PanTool(dimensions=dimensions), WheelZoomTool(dimensions=dimensions)
    chart.add_tools(pan, wheel)
    chart.toolbar.active_drag, chart.toolbar.active_scroll = pan, wheel


def _source(**columns: NDArray[Any] | Sequence[Any]) -> ColumnDataSource:
    kept = {k: v.astype(np.float32) if isinstance(v, np.ndarray) else list(v) for k, v in columns.items()}
    return ColumnDataSource(kept)


def _map(line: Surveyed, look: Look, words: Mapping[str, str], every: int) -> Figure:
    """The plan, one metre as long up as across."""
    s = line.stations
    chart = _figure("map", look, words["map"], words["east"], y_axis_label=words["north"], match_aspect=True)
    _tools(chart, "both")
    x, y = (np.append(c, c[:1]) if s.closed else c for c in (s.x_mm / M_MM, s.y_mm / M_MM))
    chart.line("x", "y", source=_source(x=x[::every], y=y[::every]), line_color=look.line, line_width=3, name="line")
    joints = np.array([e.s0_mm for e in line.elements if e.plane == "plan"])
    at = np.interp(joints, s.s_mm, np.arange(len(s.s_mm))).round().astype(int)
    square = s.heading_rad[at] + np.pi / 2
    chart.scatter(
        "x", "y", angle="turn", marker="dash", size=15, line_color=look.ink, line_width=1.5, name="elements",
        source=_source(x=s.x_mm[at] / M_MM, y=s.y_mm[at] / M_MM, turn=square),
    )  # fmt: skip
    named = [(place, mark.name) for place, mark in line.marks if np.isfinite(place)]
    for name, places, texts, sign, colour in (
        ("faults", [f.s_mm for f in line.faults], [str(i + 1) for i in range(len(line.faults))], "triangle", look.mark),
        ("marks", [place for place, _ in named], [text for _, text in named], "square", look.second),
    ):
        at = np.interp(np.array(places), s.s_mm, np.arange(len(s.s_mm))).round().astype(int)
        source = _source(x=s.x_mm[at] / M_MM, y=s.y_mm[at] / M_MM, text=texts)
        chart.scatter("x", "y", source=source, marker=sign, size=11, color=colour, name=name)
        _lettered(chart, ("x", "y"), source, colour, name)
    dots = (
        ("cursor", look.ink, "circle"),
        ("place-a", look.mark, "circle_dot"),
        ("place-b", look.mark, "circle_cross"),
    )
    for name, colour, sign in dots:
        source = ColumnDataSource({"x": [], "y": []}, name=name)
        chart.scatter("x", "y", source=source, marker=sign, size=15, line_color=colour, fill_color=None, line_width=2.5)
    bar = ScaleBar(
        range=chart.x_range, unit="m", location="bottom_right", background_fill_color=look.paper,
        bar_line_color=look.ink, label_text_color=look.ink, border_line_color=None,
    )  # fmt: skip
    chart.add_layout(bar)
    return chart


@dataclass(frozen=True, slots=True)
class Drawn:
    """A quantity along the line as it is drawn, in the chart's unit; every array (n,)."""

    s_mm: Floats
    value: Floats
    sd: Floats


def _along(name: str, drawn: Drawn, reach: Range1d, look: Look, words: Mapping[str, str]) -> Figure:
    """A quantity along the line, with its bands of two and one sigma."""
    chart = _figure(name, look, words[name], words["chainage"], x_range=reach)
    _tools(chart, "width")
    value, sd = drawn.value, drawn.sd
    source = _source(s=drawn.s_mm / M_MM, v=value, l2=value - 2 * sd, h2=value + 2 * sd, l1=value - sd, h1=value + sd)
    if np.isfinite(sd).any():
        for low, high, colour in (("l2", "h2", look.band2), ("l1", "h1", look.band1)):
            chart.varea("s", low, high, source=source, fill_color=colour, name="band")
    chart.line("s", "v", source=source, line_color=look.line, line_width=1.8, name="line")
    for name_, colour, dash in (
        ("cursor", look.ink, "solid"), ("place-a", look.mark, "dashed"), ("place-b", look.mark, "dotted")
    ):  # fmt: skip
        span = Span(location=0, dimension="height", line_color=colour, line_dash=dash, line_width=1.5, name=name_)
        span.visible = False
        chart.add_layout(span)
    return chart


def _layers(chart: Figure, name: str, line: Surveyed, value: Floats, look: Look) -> None:
    """Elements and faults on a chart along the line."""
    s = line.stations.s_mm
    if name == "curvature":
        pieces = [e for e in line.elements if e.plane == "plan"]
        ends = [[e.s0_mm / M_MM, e.s1_mm / M_MM] for e in pieces]
        heights = [[e.curvature0_1_mm * M_MM, e.curvature1_1_mm * M_MM] for e in pieces]
        chart.multi_line(ends, heights, line_color=look.second, line_width=1.3, line_dash="dashed", name="elements")
    if name == "profile":
        joints = np.array([e.s0_mm for e in line.elements if e.plane == "profile"])
        source = _source(s=joints / M_MM, v=np.interp(joints, s, value))
        upright = {"marker": "dash", "angle": np.pi / 2, "size": 15, "color": look.second}
        chart.scatter("s", "v", source=source, name="elements", **upright)
    found = [(i + 1, f) for i, f in enumerate(line.faults) if CHART_OF[f.kind] == name]
    places = np.array([f.s_mm for _, f in found])
    source = _source(s=places / M_MM, v=np.interp(places, s, value), text=[str(i) for i, _ in found])
    chart.scatter("s", "v", source=source, marker="triangle", size=10, color=look.mark, name="faults")
    _lettered(chart, ("s", "v"), source, look.mark, "faults")


def _lettered(chart: Figure, at: tuple[str, str], source: ColumnDataSource, colour: str, name: str) -> None:
    """The texts of a layer beside its signs, on the side that is further from the edge."""
    x = np.asarray(source.data[at[0]])
    right = x > (np.nanmax(x) + np.nanmin(x)) / 2 if len(x) > 1 else np.zeros(len(x), dtype=bool)
    source.data["side"] = ["right" if r else "left" for r in right]
    source.data["off"] = [-8 if r else 8 for r in right]
    look = {"text_font_size": "13px", "text_align": "side", "x_offset": "off", "y_offset": -6}
    chart.text(*at, "text", source=source, text_color=colour, name=name, **look)
