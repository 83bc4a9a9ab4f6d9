"""The drawings of a page: each in a wide and a narrow form, with a title, a reading in a sentence, and a key."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from wayrule.model import Stations, Survey, Travel
from wayrule.model.arrays import Array
from wayrule.report.alongline import (
    cant_figure,
    curvature_figure,
    drawable,
    gradient_figure,
    height_figure,
)
from wayrule.report.canvas import NARROW, WIDE, Size, to_svg
from wayrule.report.lengths import Lengths
from wayrule.report.numbers import NO_BREAK
from wayrule.report.plan import plan_exaggeration, plan_figure
from wayrule.report.readings import (
    cant_reading,
    curvature_reading,
    gradient_reading,
    height_reading,
    plan_reading,
)
from wayrule.report.speed import distance_time_figure, place_of, speed_place_figure, speed_time_figure
from wayrule.report.travelfacts import stops, travel_facts
from wayrule.report.travelreadings import WORTH_SAYING_S, distance_reading, speed_place_reading, speed_time_reading

BANDS = "Dark band: one sigma; light band: two."
STRIP = "The strip below shows the curves of the line, left-hand ones upwards."


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing for a page.

    wide, narrow  inline SVG, or "" where the runs cannot give what it would show
    reading       what it says; where there is no drawing, why
    key           how to read it
    """

    ident: str
    title: str
    reading: str
    key: str = ""
    wide: str = ""
    narrow: str = ""


def picture(ident: str, title: str, reading: str, key: str, draw: Callable[[Size], Figure | None]) -> Picture:
    """Draw in both sizes; without a figure the picture keeps its reading alone."""
    drawn = {}
    for size in (WIDE, NARROW):
        figure = draw(size)
        drawn[size.name] = to_svg(figure, f"{ident}-{size.name}", f"{title}. {reading}") if figure else ""
    return Picture(ident, title, reading, key if drawn["wide"] else "", drawn["wide"], drawn["narrow"])


def plan_picture(survey: Survey, lengths: Lengths) -> Picture:
    """The plan coloured by curvature, or without colour where the runs give no curvature."""
    stations = survey.stations
    known = drawable(stations.x_mm, stations.y_mm)
    return picture(
        "plan",
        "Plan",
        plan_reading(stations) if known else "No map can be drawn: places are known at fewer than two stations.",
        _plan_key(survey, "curvature" if drawable(stations.curvature_1_mm) else ""),
        lambda size: plan_figure(stations, survey.faults, survey.marks, lengths, size),
    )


def gradient_plan_picture(survey: Survey, lengths: Lengths) -> tuple[Picture, ...]:
    """The plan once more, coloured by gradient; empty where there is no gradient."""
    stations = survey.stations
    if not (drawable(stations.gradient) and drawable(stations.x_mm, stations.y_mm)):
        return ()
    drawn = picture(
        "plan-gradient",
        "Plan by gradient",
        gradient_reading(survey),
        _plan_key(survey, "gradient"),
        lambda size: plan_figure(stations, survey.faults, survey.marks, lengths, size, colour_by="gradient"),
    )
    return (drawn,)


def line_pictures(survey: Survey, lengths: Lengths, truth: Stations | None = None) -> list[Picture]:
    """Curvature, gradient, height and cant against chainage, with the truth dashed where it is known."""
    st, el, fa = survey.stations, survey.elements, survey.faults
    dashed = "" if truth is None else " Dashed: the truth."
    return [
        picture(
            "curvature",
            "Curvature",
            curvature_reading(survey, lengths) if drawable(st.curvature_1_mm) else _missing("curvature", "a gyro"),
            f"{_bands(st.curvature_sd_1_mm)}{dashed}",
            lambda size: curvature_figure(st, el, fa, lengths, size, truth),
        ),
        picture(
            "gradient",
            "Gradient",
            gradient_reading(survey) if drawable(st.gradient) else _missing("gradient"),
            f"{_bands(st.gradient_sd)}{dashed} {STRIP}",
            lambda size: gradient_figure(st, el, fa, size, truth),
        ),
        picture(
            "height",
            "Height",
            height_reading(st, lengths) if drawable(st.z_mm) else _missing("height"),
            f"{_bands(st.z_sd_mm)}{dashed} {STRIP}",
            lambda size: height_figure(st, el, fa, lengths, size, truth),
        ),
        picture(
            "cant",
            "Cant",
            cant_reading(st) if drawable(st.cant_mm) else _missing("cant"),
            f"{_bands(st.cant_sd_mm)}{dashed} {STRIP}",
            lambda size: cant_figure(st, el, fa, size, truth),
        ),
    ]


def _missing(what: str, needs: str = "a gyro and an accelerometer") -> str:
    return f"Not known from these runs: {what} needs {needs}."


def travel_pictures(
    travel: Travel, number: int, ratio: float, *, length_mm: float = float("nan"), closed: bool = False,
    distance: bool = False,
) -> list[Picture]:  # fmt: skip
    """Speed of one run against time and against place, and, where asked for, its distance against time."""
    _, words = place_of(travel, length_mm if closed else float("nan"))
    passes = "Every pass is drawn over the last. " if closed else ""
    found = [
        picture(
            f"run{number}-time",
            "Speed against time",
            speed_time_reading(travel, ratio),
            f"{_bands(travel.speed_sd_mm_s)}{_states(travel)}",
            lambda size: speed_time_figure(travel, ratio, size),
        ),
        picture(
            f"run{number}-place",
            f"Speed against {'chainage' if words.startswith('Chain') else 'distance'}",
            speed_place_reading(travel, words.startswith("Chain")),
            passes + ("Triangles: standstills." if stops(travel) else ""),
            lambda size: speed_place_figure(travel, ratio, size, length_mm=length_mm, closed=closed),
        ),
    ]
    if distance:
        found.append(
            picture(
                f"run{number}-distance",
                "Distance against time",
                distance_reading(travel),
                f"{_bands(travel.distance_sd_mm)}{_states(travel)}",
                lambda size: distance_time_figure(travel, size),
            )
        )
    return found


def _states(travel: Travel) -> str:
    unsure = travel_facts(travel).unsure_s
    stood = " Shaded: standstills." if stops(travel) else ""
    return stood + (" Hatched: unsure whether it rolled or stood." if unsure >= WORTH_SAYING_S else "")


def _bands(sd: Array) -> str:
    return BANDS if np.isfinite(sd).any() else "These runs give no error bar for it."


def _plan_key(survey: Survey, colour: str) -> str:
    times, _ = plan_exaggeration(survey.stations, WIDE)
    times_narrow, _ = plan_exaggeration(survey.stations, NARROW)
    said = ["Axes and the numbers along the line are in metres; the arrow shows the way chainage grows."]
    if colour == "curvature":
        said.append("Coloured by curvature, dark for right-hand and light for left-hand curves.")
    if colour == "gradient":
        said.append("Coloured by gradient, dark where it falls and light where it climbs.")
    if survey.faults:
        said.append("Red diamonds: faults, numbered as in the table.")
    if survey.marks:
        said.append("Rings: marks.")
    if not times:
        said.append("Places carry no error bar.")
    elif times == times_narrow == 1:
        said.append("Pale band: one sigma of place across the line, to scale.")
    else:
        narrow = f" ({times_narrow}{NO_BREAK}times on a narrow screen)" if times != times_narrow else ""
        said.append(f"Pale band: one sigma of place across the line, drawn {times}{NO_BREAK}times too large{narrow}.")
    return " ".join(said)
