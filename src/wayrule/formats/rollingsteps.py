"""The history of a wagon's distance in a calibration file: every step as it was made, readable for people."""

from collections.abc import Callable
from typing import Any, TypeVar

from wayrule.formats.entries import CalibrationError, Entry
from wayrule.model.rolling import WAYS, DistanceStep, RollingCircle

Kind = TypeVar("Kind")


def step_content(step: DistanceStep) -> dict[str, Any]:
    """What a calibration file says of one calibration of the distance."""
    return {
        "made": step.made,
        "circles": [
            {
                "way": one.way,
                "scale": one.scale,
                "scale_sd": one.scale_sd,
                "circumference_mm": one.circumference_mm,
                "circumference_sd_mm": one.circumference_sd_mm,
                "legs": one.legs,
                "way_mm": one.way_mm,
            }
            for one in step.circles
        ],
        "slip_mm": step.slip_mm,
        "slip_sd_mm": step.slip_sd_mm,
        "runs": [{"name": name, "sha256": digest} for name, digest in step.runs],
    }


def read_step(entry: Entry) -> DistanceStep:
    """One calibration of the distance.

    Raises
    ------
    CalibrationError   naming the entry, what was expected and what came
    """
    circles = tuple(_circle(entry.item("circles", i, c)) for i, c in enumerate(entry.several("circles")))
    runs = [entry.item("runs", i, r) for i, r in enumerate(entry.several("runs"))]
    found: dict[str, Any] = {
        "made": entry.text("made"),
        "circles": circles,
        "slip_mm": entry.perhaps("slip_mm"),
        "slip_sd_mm": entry.perhaps("slip_sd_mm"),
        "runs": tuple((run.text("name"), run.text("sha256")) for run in runs),
    }
    return _made(entry, lambda: DistanceStep(**found))


def _circle(entry: Entry) -> RollingCircle:
    way = entry.text("way")
    if way not in WAYS:
        raise entry.wrong("way", f"one of {', '.join(WAYS)}", way)
    found: dict[str, Any] = {
        "way": way,
        **{name: entry.number(name) for name in ("scale", "scale_sd", "way_mm")},
        **{name: entry.perhaps(name) for name in ("circumference_mm", "circumference_sd_mm")},
        "legs": entry.count("legs"),
    }
    return _made(entry, lambda: RollingCircle(**found))


def _made(entry: Entry, make: Callable[[], Kind]) -> Kind:
    try:
        return make()
    except ValueError as error:
        raise CalibrationError(
            expected="a calibration of the distance as it was made",
            came=str(error),
            where=entry.where,
            next_step="give the file as it was written",
        ) from None
