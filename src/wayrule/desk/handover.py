"""`report` (in a notebook `hand_over`): a survey on paper and in the forms that other programs read."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from os import fspath
from pathlib import Path

import numpy as np

from wayrule import store
from wayrule.desk.comparing import AnySurvey
from wayrule.desk.opening import PathName, open_survey
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError, WayruleError
from wayrule.formats.dxf import labelled, write_dxf
from wayrule.formats.landxml import write_landxml
from wayrule.formats.parquet import elements_parquet, faults_parquet, stations_parquet
from wayrule.formats.tables import write_elements, write_faults, write_stations
from wayrule.model import Alignment, Surveyed
from wayrule.report.linemap import map_pdf, map_svg
from wayrule.report.paper import paper_named
from wayrule.report.strip import strip_pdf
from wayrule.track.alignment import alignment_of, heights, places, traced
from wayrule.version import VERSION

CANT_EVERY_BASES = 1.0
TRANSITION_POINTS = 65
"""Points of a transition: a cubic through them lies within a micrometre of the clothoid."""


@dataclass(frozen=True, slots=True, eq=False)
class HandOver:
    """What was made of a survey.

    files     name -> bytes
    without   what could not be made, and why, a sentence each
    map_scale of the map's sheets
    off_mm    how far the drawn pieces lie off the stations: (rms, largest); NaN where there are none
    written   files, if a folder was named
    """

    files: dict[str, bytes]
    without: tuple[str, ...]
    map_scale: int
    off_mm: tuple[float, float]
    written: tuple[Path, ...] = ()


def hand_over(
    survey: AnySurvey,
    *,
    out: PathName | None = None,
    paper: str = "A4",
    strip_scale: int | None = None,
    map_scale: int | None = None,
    step: Step = silent,
) -> HandOver:
    """Strip chart, map, and files for other programs.

    Parameters
    ----------
    survey : its folder, or one in hand
    out : folder to write into; other files there stay
    paper : A4 or Letter
    strip_scale : mm of line for one mm of the strip chart; None: at most eight pages
    map_scale : of the map; None: 1:1, or the largest that needs at most 60 sheets

    Raises
    ------
    WayruleError, UsageError   each in one line
    """
    paper_named(paper)
    with step("reading the survey"):
        known = open_survey(survey)
    files: dict[str, bytes] = {}
    without: list[str] = []

    def attempt(what: str, make: Callable[[], dict[str, bytes]]) -> None:
        with step(what):
            try:
                files.update(make())
            except WayruleError as error:
                if isinstance(error, UsageError) and (strip_scale, map_scale) != (None, None):
                    raise  # what was asked for in so many words
                without.append(f"{what}: {error}")

    scale = [0]

    def sheets() -> dict[str, bytes]:
        made, scale[0] = map_pdf(known, paper=paper, scale=map_scale)
        return {"map.pdf": made, "map.svg": map_svg(known, scale[0]).encode()}

    attempt("strip chart", lambda: _strips(known, paper, strip_scale))
    attempt("map", sheets)
    off = (float("nan"), float("nan"))
    try:
        with step("pieces end to end"):
            line = alignment_of(known)
            off = departure(known, line)
    except WayruleError as error:
        without.append(f"DXF and LandXML: {error}")
    else:
        attempt("DXF", lambda: {"line.dxf": dxf(known, line)})
        attempt("LandXML", lambda: {"line.xml": landxml(known, line, datetime.now(UTC))})
    with step("tables"):
        files |= _tables(known)
    written: tuple[Path, ...] = ()
    if out is not None:
        with step(f"writing {fspath(out)}"):
            written = tuple(store.write_bytes(Path(out) / name, data) for name, data in files.items())
    return HandOver(files, tuple(without), scale[0], off, written)


def _strips(survey: Surveyed, paper: str, scale: int | None) -> dict[str, bytes]:
    return {
        "strip.pdf": strip_pdf(survey, paper=paper, scale=scale),
        "strip-endless.pdf": strip_pdf(survey, paper=paper, scale=scale, endless=True),
    }


def _tables(survey: Surveyed) -> dict[str, bytes]:
    return {
        "stations.csv": write_stations(survey.stations),
        "elements.csv": write_elements(survey.elements),
        "faults.csv": write_faults(survey.faults),
        "stations.parquet": stations_parquet(survey.stations),
        "elements.parquet": elements_parquet(survey.elements),
        "faults.parquet": faults_parquet(survey.faults),
    }


def departure(survey: Surveyed, line: Alignment) -> tuple[float, float]:
    """(rms, largest) distance in plan of the drawn pieces from the stations [mm]."""
    st = survey.stations
    s = st.s_mm[np.isfinite(st.x_mm) & np.isfinite(st.y_mm)]
    at = np.where(s < line.s0_mm, s + st.length_mm, s) if st.closed else s
    inside = (at >= line.s0_mm) & (at <= line.s0_mm + line.length_mm)
    x, y, _ = places(line, at[inside])
    off = np.hypot(x - np.interp(s[inside], st.s_mm, st.x_mm), y - np.interp(s[inside], st.s_mm, st.y_mm))
    return float(np.sqrt(np.mean(off**2))), float(np.max(off))


def dxf(survey: Surveyed, line: Alignment) -> bytes:
    """The survey as DXF."""
    st = survey.stations
    ends = line.s0_mm + np.cumsum([0.0] + [piece.length_mm for piece in line.plan])
    z = np.nan_to_num(heights(line, ends)[0])
    curves = {}
    for index, piece in enumerate(line.plan):
        if piece.kind == "transition":
            u = np.linspace(0.0, piece.length_mm, TRANSITION_POINTS)
            x, y, _ = traced(piece, u)
            curves[index] = np.stack([x, y, np.nan_to_num(heights(line, ends[index] + u)[0])], axis=1)
    held = np.isfinite(st.x_mm) & np.isfinite(st.y_mm)
    points = np.stack([st.x_mm, st.y_mm, np.nan_to_num(st.z_mm)], axis=1)[held]

    def at(s_mm: float) -> tuple[float, float, float]:
        x, y, up = (float(np.interp(s_mm, st.s_mm, v)) for v in (st.x_mm, st.y_mm, np.nan_to_num(st.z_mm)))
        return x, y, up

    return write_dxf(
        line, curves, z.tolist(), points, labelled(survey.faults, survey.marks, at), closed=st.closed,
        text_mm=0.5 * st.gauge_mm,
    )  # fmt: skip


def landxml(survey: Surveyed, line: Alignment, now: datetime) -> bytes:
    """The survey as LandXML 1.2."""
    st = survey.stations
    step = max(1, round(CANT_EVERY_BASES * st.wheelbase_mm / max(float(np.median(np.diff(st.s_mm))), 1e-9)))
    cant = [(float(s), float(c)) for s, c in zip(st.s_mm[::step], st.cant_mm[::step], strict=True) if np.isfinite(c)]
    return write_landxml(
        line, date=f"{now:%Y-%m-%d}", time=f"{now:%H:%M:%S}", version=VERSION, gauge_mm=st.gauge_mm, cant=cant
    )
