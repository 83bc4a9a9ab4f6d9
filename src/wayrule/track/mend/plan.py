"""From a survey to all that is to be done, in the order of the work: boards, rails, and what it will come to."""

import dataclasses
from collections.abc import Sequence
from typing import Final

import numpy as np

from wayrule.errors import UsageError
from wayrule.model import Baseboard, MendLimits, MendPlan, Surveyed
from wayrule.track.mend.boards import board_moves, checked, rounded
from wayrule.track.mend.pieces import reach
from wayrule.track.mend.predicted import predicted
from wayrule.track.mend.sheet import SLEEPER_GAUGES, places, work_sheet
from wayrule.track.mend.singles import single_mends
from wayrule.track.mend.stringlining import CHORD_GAUGES, string_lines
from wayrule.track.mend.target import target

LIFT_GAUGES: Final = 0.18
LOWER_GAUGES: Final = 0.12
SLEW_GAUGES: Final = 0.18
LEAVE_GAUGES: Final = 0.018
"""Limits where none are given: 3 mm up, 2 mm down, 3 mm sideways, and nothing below 0.3 mm in HO. Our choice."""

SHIM_MM: Final = 0.1


def usual_limits(gauge_mm: float) -> MendLimits:
    """Limits that go with a gauge.

    >>> usual_limits(16.5).lift_mm, usual_limits(16.5).leave_mm
    (3.0, 0.3)
    """
    lift, lower, slew, leave = (
        round(gauges * gauge_mm, 1) for gauges in (LIFT_GAUGES, LOWER_GAUGES, SLEW_GAUGES, LEAVE_GAUGES)
    )
    return MendLimits(lift, lower, slew, shim_mm=SHIM_MM, leave_mm=max(leave, 2 * SHIM_MM))


def mend_plan(
    surveyed: Surveyed,
    limits: MendLimits | None = None,
    *,
    boards: Sequence[Baseboard] = (),
    sleeper_mm: float | None = None,
    marks_only: bool = False,
    chord_mm: float | None = None,
) -> MendPlan:
    """What to do to a line.

    Parameters
    ----------
    limits : what may be done; `usual_limits` of the gauge if not given
    boards : can be set as wholes, before any rail is shimmed
    sleeper_mm : from one place of the sheet to the next; 600 mm at standard gauge, scaled, if not given
    marks_only : a place at each mark instead
    chord_mm : of the string; six gauges if not given

    Raises
    ------
    UsageError          limits, boards, places or a chord that make no sense
    UndeterminedError   a survey with neither plan nor heights
    """
    stations = surveyed.stations
    limits = limits or usual_limits(stations.gauge_mm)
    _check(limits, sleeper_mm)
    ordered = checked(boards, stations)
    at = places(stations, surveyed.marks, sleeper_mm or SLEEPER_GAUGES * stations.gauge_mm, marks_only=marks_only)
    if len(at[0]) == 0:
        raise UsageError(
            expected="a survey with marks",
            came="one without",
            where="--at-marks",
            next_step="take every sleeper instead",
        )
    found = target(stations, surveyed.elements, surveyed.faults, limits, ordered)
    found = dataclasses.replace(found, boards=rounded(found, limits.shim_mm, limits.leave_mm))
    sheet = work_sheet(stations, found, surveyed.faults, limits, at)
    left_over, new = predicted(stations, sheet, found.elements, surveyed.faults)
    chord = chord_mm if chord_mm is not None else round(CHORD_GAUGES * stations.gauge_mm, -1)
    return MendPlan(
        target=found.elements,
        boards=board_moves(found, sheet, stations),
        sheet=sheet,
        singles=single_mends(stations, sheet, surveyed.faults, left_over),
        predicted=left_over,
        new=new,
        strings=string_lines(stations, surveyed.pieces["plan"], chord),
        chord_mm=chord,
        beyond=found.beyond,
        notes=_notes(surveyed, found.beyond, bool(ordered and np.any(found.boards)), marks_only),
    )


def _check(limits: MendLimits, sleeper_mm: float | None) -> None:
    sizes = {
        "--lift": limits.lift_mm, "--lower": limits.lower_mm, "--slew": limits.slew_mm, "--leave": limits.leave_mm,
    }  # fmt: skip
    for where, value in sizes.items():
        if not (np.isfinite(value) and value >= 0):
            raise UsageError(expected="0 mm or more", came=f"{value:g}", where=where, next_step="give a size in mm")
    for where, step in (("--shim", limits.shim_mm), ("--sleeper", sleeper_mm)):
        if step is not None and not (np.isfinite(step) and step > 0):
            raise UsageError(expected="more than 0 mm", came=f"{step:g}", where=where, next_step="give a size in mm")
    for a, b in limits.fixed:
        if not a <= b:
            raise UsageError(
                expected="FROM:TO with FROM not above TO", came=f"{a:g}:{b:g}", where="--fixed", next_step="swap them"
            )


def _notes(
    surveyed: Surveyed, beyond: Sequence[tuple[float, float, str]], set_first: bool, marks_only: bool
) -> tuple[str, ...]:
    """What was assumed and cannot be known."""
    stations, out = surveyed.stations, []
    if set_first:
        out.append(
            "Set the boards, measure again and make a new sheet before a rail is shimmed near a joint of boards."
        )
    if not np.isfinite(stations.z_mm).any():
        out.append("The survey has no heights: nothing is said about lifting.")
    elif not np.isfinite(stations.cant_mm).any():
        out.append("The survey has no cant: both rails are lifted alike.")
    if not np.isfinite(stations.heading_rad).any():
        out.append("The survey has no plan: nothing is said about slewing.")
    if beyond:
        worst = max(beyond, key=lambda b: abs(b[1]))
        start, stop = reach(stations)
        kind = {"left": "the left rail", "right": "the right rail", "slew": "slewing"}[worst[2]]
        out.append(
            f"The limits do not allow a smooth line everywhere: at {worst[0] / 1000:.2f} m {kind} would need "
            f"{abs(worst[1]):.1f} mm more (line from {start / 1000:.2f} to {stop / 1000:.2f} m)."
        )
    if marks_only:
        out.append("Worked at marks only: between them the sheet says nothing, and the prediction runs straight.")
    return tuple(out)
