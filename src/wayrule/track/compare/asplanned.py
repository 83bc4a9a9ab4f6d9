"""A plan as a survey would have it: places, direction, curvature, gradient at every station, known exactly."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Alignment, Change, Comparison, Element, GradePiece, PlanPiece, Stations, Surveyed
from wayrule.track.alignment import curvatures, heights, piece_from, places
from wayrule.track.compare.compare import compare

CLOSED_MM: Final = 20.0
"""A plan whose ends lie so near each other, in place and direction, is a closed line."""

TOLERANCE_MM: Final = 1.0
"""Track that lies this near its plan lies on it; own choice, about what a hand lays."""


def drawn_from(elements: Sequence[Element], name: str) -> Alignment:
    """The line that a table of elements draws, from the origin along x."""
    x, y, heading = 0.0, 0.0, 0.0
    plan: list[PlanPiece] = []
    for e in (e for e in elements if e.plane == "plan"):
        plan.append(piece_from(x, y, heading, e.curvature0_1_mm, e.curvature1_1_mm, e.length_mm))
        x, y, heading = plan[-1].x1_mm, plan[-1].y1_mm, plan[-1].heading1_rad
    profile: list[GradePiece] = []
    z = 0.0
    for e in (e for e in elements if e.plane == "profile"):
        profile.append(GradePiece(e.s0_mm, e.s1_mm, z, e.gradient0, e.gradient1))
        z = profile[-1].z1_mm
    return Alignment(name, 0.0, tuple(plan), tuple(profile))


def reduced(plan: Alignment, ratio: float) -> Alignment:
    """A plan drawn at full size, in the model's size.

    Raises
    ------
    UsageError   a ratio not above 0
    """
    if not ratio > 0:
        raise UsageError(expected="a plan ratio above 0", came=f"{ratio:g}", where="plan", next_step="give 87 for 1:87")
    r = ratio
    pieces = tuple(
        replace(
            p, x0_mm=p.x0_mm / r, y0_mm=p.y0_mm / r, x1_mm=p.x1_mm / r, y1_mm=p.y1_mm / r,
            curvature0_1_mm=p.curvature0_1_mm * r, curvature1_1_mm=p.curvature1_1_mm * r, length_mm=p.length_mm / r,
        )
        for p in plan.plan
    )  # fmt: skip
    profile = tuple(replace(g, s0_mm=g.s0_mm / r, s1_mm=g.s1_mm / r, z0_mm=g.z0_mm / r) for g in plan.profile)
    return replace(plan, s0_mm=plan.s0_mm / r, plan=pieces, profile=profile, declared_mm=plan.declared_mm / r)


def as_survey(plan: Alignment, like: Surveyed) -> Surveyed:
    """A plan as stations of the survey's step, gauge and wheelbase; its sigmas are zero, its cant is not known."""
    st = like.stations
    step = float(np.median(np.diff(st.s_mm)))
    first, last = plan.plan[0], plan.plan[-1]
    turn = last.heading1_rad - first.heading0_rad
    gap = np.hypot(last.x1_mm - first.x0_mm, last.y1_mm - first.y0_mm)
    closed = bool(gap < CLOSED_MM and abs(np.angle(np.exp(1j * turn))) < 0.05 and len(plan.plan) > 1)
    count = max(3, round(plan.length_mm / step))
    s = np.linspace(0.0, plan.length_mm, count, endpoint=not closed)
    x, y, heading = places(plan, plan.s0_mm + s)
    z, gradient = heights(plan, plan.s0_mm + s)
    zero, nan = np.zeros(len(s)), np.full(len(s), np.nan)
    stations = Stations(
        s, x, y, z, np.unwrap(heading), curvatures(plan, plan.s0_mm + s), gradient, nan, zero, zero, zero, zero, zero,
        zero, nan, np.zeros(len(s), dtype=np.int64), closed, plan.length_mm, st.gauge_mm, st.wheelbase_mm,
    )  # fmt: skip
    return replace(like, name=plan.name, stations=stations, elements=(), faults=(), marks=(), estimates=(), inputs=())


def against_plan(
    plan: Alignment, survey: Surveyed, *, tolerance_mm: float = TOLERANCE_MM, same_start: bool = False
) -> Comparison:
    """Where the built track leaves its plan: sideways and in height, beyond the tolerance and its own sigma.

    Parameters
    ----------
    tolerance_mm : what still counts as on the plan

    Raises
    ------
    UndeterminedError   where the survey is not of the planned line
    UsageError          a tolerance below 0
    """
    if not tolerance_mm >= 0:
        raise UsageError(
            expected="a tolerance of 0 mm or more", came=f"{tolerance_mm:g}", where="plan", next_step="give 1"
        )
    found = compare(as_survey(plan, survey), survey, same_start=same_start)
    left = tuple(change for change in found.changes if _leaves(change, tolerance_mm))
    return replace(found, changes=left, fates=(), notes=(*found.notes, *plan.notes))


def _leaves(change: Change, tolerance_mm: float) -> bool:
    return change.quantity in ("plan", "height") and abs(change.size) > tolerance_mm
