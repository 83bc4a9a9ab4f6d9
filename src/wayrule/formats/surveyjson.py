"""`survey.json`: what a survey found out and assumed, as a plain mapping."""

import dataclasses
from typing import Any

from wayrule.formats.healthjson import health_content
from wayrule.model import Closure, Estimate, Problem, Survey


def survey_content(survey: Survey) -> dict[str, Any]:
    """What `survey.json` says: closure before and after, scale, biases, assumptions, digests of the inputs, version."""
    stations = survey.stations
    return {
        "version": survey.version,
        "wagon": {
            "name": survey.wagon_name,
            "scale": survey.scale,
            "ratio": survey.ratio,
            "gauge_mm": stations.gauge_mm,
            "wheelbase_mm": stations.wheelbase_mm,
        },
        "line": {"length_mm": stations.length_mm, "closed": stations.closed, "stations": len(stations.s_mm)},
        "closure": _closure(survey.closure),
        "estimates": [_estimate(e) for e in survey.estimates],
        "repeats": [dataclasses.asdict(repeat) for repeat in survey.repeats],
        "between": [dataclasses.asdict(pair) for pair in survey.pairs],
        "decisions": [
            dict(zip(("what", "answer", "why", "overrule"), decision, strict=True)) for decision in survey.decisions
        ],
        "assumptions": list(survey.assumptions),
        "problems": [_problem(p) for p in survey.problems],
        "marks": [{"s_mm": s_mm, "t_s": mark.t_s, "name": mark.name} for s_mm, mark in survey.marks],
        "runs": [
            {
                "name": travel.run,
                "samples": len(travel.t_s),
                "duration_s": float(travel.t_s[-1] - travel.t_s[0]) if len(travel.t_s) else 0.0,
                "scale_sd": travel.scale_sd,
                "scale_source": travel.scale_source,
                "health": health_content(travel.health),
                "notes": list(travel.notes),
                "problems": [_problem(p) for p in travel.problems],
            }
            for travel in survey.travels
        ],
        "inputs": [dict(zip(("role", "file", "sha256"), entry, strict=True)) for entry in survey.inputs],
    }


def _estimate(estimate: Estimate) -> dict[str, Any]:
    return dataclasses.asdict(estimate)


def _problem(problem: Problem) -> dict[str, Any]:
    return dataclasses.asdict(problem)


def _closure(closure: Closure | None) -> dict[str, Any] | None:
    return None if closure is None else dataclasses.asdict(closure)
