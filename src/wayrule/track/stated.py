"""Whether what a person stated fits the runs at all, asked before anything is adjusted.

A fact that cannot be true would bend the map to fit it; each is refused in one line instead.
"""

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from wayrule.errors import UndeterminedError, UsageError, WayruleError
from wayrule.model import Control, Facts, Relation, Stretch, Tape, Travel
from wayrule.track.adjust.ties import stops_of
from wayrule.track.place import Line

TAPE_OFF = 0.2
"""A tape this far from the wheel, relative, measured something else: no caliper is so wrong (our choice)."""

AGREE_SD = 6.0
"""Two statements about one thing may differ by this many of their joint sds (our choice)."""


def check_facts(travels: Sequence[Travel], facts: Facts, line: Line, wheelbase_mm: float) -> None:
    """Raise what does not fit; return nothing when all may be true.

    Parameters
    ----------
    travels : the runs, as recorded
    facts : tapes, control points, relations, stretches
    line : where the runs were placed, laps included

    Raises
    ------
    UsageError          for statements that contradict each other or the line
    UndeterminedError   for places that the recordings do not know
    """
    for fault in itertools.chain(
        _places(travels, facts),
        _tapes(travels, facts, line, wheelbase_mm),
        _controls(facts, line),
        _relations(travels, facts, line),
        _stretches(facts, line, wheelbase_mm),
    ):
        raise fault


def check_pairs(travels: Sequence[Travel], pairs: Sequence[tuple[str, str]], line: Line, wheelbase_mm: float) -> None:
    """Raise for a place of a pair that the recordings do not know, or that lies off the line by more than a wheelbase.

    Raises
    ------
    UsageError, UndeterminedError   as `check_facts`
    """
    have, known = _marks(travels)
    low, high = _reach(line)
    for pair in pairs:
        where = f"--between {':'.join(pair)}"
        for place in pair:
            try:
                s_mm = float(place)
            except ValueError:
                if place not in (*known, "start", "end"):
                    raise _unknown(place, f"a chainage in mm, start, end or {have}", where) from None
                continue
            if not low - wheelbase_mm <= s_mm <= high + wheelbase_mm:
                raise UsageError(
                    expected=f"a place on the line, which reaches from {low:.0f} to {high:.0f} mm",
                    came=place,
                    where=where,
                    next_step="give mm of chainage, 0 where the first run starts, or the name of a mark",
                )


def _marks(travels: Sequence[Travel]) -> tuple[str, list[str]]:
    """What a mark may be called, in words, and the names."""
    known = sorted({mark.name for travel in travels for mark in travel.marks})
    return (f"the name of a mark ({', '.join(known) or 'the recordings have none'})", known)


def _places(travels: Sequence[Travel], facts: Facts) -> Iterator[WayruleError]:
    """Marks that no recording has."""
    have, known = _marks(travels)
    for tape in facts.tapes:
        for name in tape.marks or ():
            if name not in (*known, "start", "end"):
                yield _unknown(name, f"start, end or {have}", f"--tape {tape.what}")
    for control in facts.controls:
        if control.at not in (*known, "start", "end"):
            yield _unknown(control.at, f"start, end or {have}", "--control")
    for relation in facts.relations:
        for name in (relation.at, relation.to):
            if name not in (*known, "start", "end"):
                yield _unknown(name, f"start, end or {have}", "--relation")


def _unknown(name: str, expected: str, where: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=repr(name),
        where=where,
        next_step="write it as it stands in a recording's mark column",
    )


def _tapes(travels: Sequence[Travel], facts: Facts, line: Line, wheelbase_mm: float) -> Iterator[WayruleError]:
    for tape in facts.tapes:
        where = f"--tape {tape.what}"
        if tape.what == "lap" and line.lap_mm is None:
            yield UndeterminedError(
                expected="a closed line for a taped lap",
                came="an open line",
                where=where,
                next_step="state the laps (--closed-laps N), or tape between stops or marks",
            )
            continue
        by_wheel = _wheel_length(travels, tape, line, wheelbase_mm)
        if by_wheel is None:
            yield UndeterminedError(
                expected=f"two stops in {travels[0].run}",
                came=f"{len(stops_of(travels[0], wheelbase_mm))}",
                where=where,
                next_step="stand still for two seconds at both taped places",
            )
        elif abs(tape.length_mm / max(by_wheel, 1e-9) - 1.0) > TAPE_OFF:
            yield UsageError(
                expected=f"about {by_wheel:.0f} mm, as the wheel has it",
                came=f"{tape.length_mm:g} mm",
                where=where,
                next_step="check that it is in mm and between these places, and the wheel's diameter",
            )
    for one, other in itertools.combinations(facts.tapes, 2):
        if one.what == other.what and _apart(one.length_mm - other.length_mm, one.sd_mm, other.sd_mm):
            yield UsageError(
                expected="tapes of one length that agree",
                came=f"{one.length_mm:g} +- {one.sd_mm:g} and {other.length_mm:g} +- {other.sd_mm:g} mm",
                where=f"--tape {one.what}",
                next_step="leave the wrong one off, or give both the sd that they show",
            )


def _apart(gap: float, *sds: float) -> bool:
    return abs(gap) > AGREE_SD * math.hypot(*sds)


def _wheel_length(travels: Sequence[Travel], tape: Tape, line: Line, wheelbase_mm: float) -> float | None:
    """The taped length by the wheel; None where the first run has not two stops."""
    if tape.marks is not None:
        first, second = (_along(travels, line, name) for name in tape.marks)
        gap = abs(second - first)
        return min(gap, max(line.lap_mm - gap, gap / 2)) if line.lap_mm and gap < line.lap_mm else gap
    if tape.what == "lap":
        return line.lap_mm
    stops = stops_of(travels[0], wheelbase_mm)
    if len(stops) < 2:
        return None
    at = np.interp(stops[:2], travels[0].t_s, travels[0].distance_mm)
    return float(abs(at[1] - at[0]))


def _along(travels: Sequence[Travel], line: Line, name: str) -> float:
    """Chainage of start, end or a mark as first placed."""
    for travel, placed in zip(travels, line.runs, strict=True):
        moments = {"start": travel.t_s[0], "end": travel.t_s[-1]} | {m.name: m.t_s for m in reversed(travel.marks)}
        if name in moments:
            distance = float(np.interp(moments[name], travel.t_s, travel.distance_mm))
            return placed.start_mm + placed.way * placed.stretch * distance
    raise KeyError(name)


def _controls(facts: Facts, line: Line) -> Iterator[WayruleError]:
    """Control points of one place, or of both ends of a run of whole laps, that lie apart."""
    whole = line.laps[0] is not None and line.laps[0].stated
    for one, other in itertools.combinations(facts.controls, 2):
        same = one.at == other.at or (whole and {one.at, other.at} == {"start", "end"})
        if same and (gap := _gap(one, other)):
            yield UsageError(
                expected=f"one place for {one.at}" + ("" if one.at == other.at else f" and {other.at} of whole laps"),
                came=f"control points {gap} apart",
                where="--control",
                next_step="correct the file" + ("" if one.at == other.at else ", or leave the laps off"),
            )


def _gap(one: Control, other: Control) -> str:
    """By how much two control points disagree, in words; "" when they do not or cannot."""
    plan = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) if one.has_plan and other.has_plan else 0.0
    height = one.z_mm - other.z_mm if one.has_height and other.has_height else 0.0
    if plan and _apart(plan, one.sd_mm, other.sd_mm):
        return f"{plan:.0f} mm"
    return f"{abs(height):.0f} mm in height" if height and _apart(height, one.z_sd_mm, other.z_sd_mm) else ""


def _relations(travels: Sequence[Travel], facts: Facts, line: Line) -> Iterator[WayruleError]:
    """Places further apart than the track between them is long, and relations of one pair that differ."""
    for one in facts.relations:
        apart = math.hypot(one.dx_mm, one.dy_mm)
        way = abs(_along(travels, line, one.to) - _along(travels, line, one.at))
        if line.lap_mm is not None:
            way = min(way % line.lap_mm, -way % line.lap_mm)
        if one.has_plan and apart > (1 + TAPE_OFF) * way + AGREE_SD * one.sd_mm:
            yield UsageError(
                expected=f"places no further apart than the track between them is long, about {way:.0f} mm",
                came=f"{apart:.0f} mm",
                where=f"--relation {one.at}..{one.to}",
                next_step="dx_mm and dy_mm are how far the second place lies ahead of the first, and to its left",
            )
    for one, other in itertools.combinations(facts.relations, 2):
        if (one.at, one.to) == (other.at, other.to) and (gap := _differ(one, other)):
            yield UsageError(
                expected="relations of one pair that agree",
                came=f"{gap} of difference",
                where=f"--relation {one.at}..{one.to}",
                next_step="leave the wrong one off, or give both the sd that they show",
            )


def _differ(one: Relation, other: Relation) -> str:
    """By how much two relations of one pair disagree, in words; "" when they do not or cannot."""
    plan = math.hypot(one.dx_mm - other.dx_mm, one.dy_mm - other.dy_mm)
    turn = math.remainder(one.dheading_rad - other.dheading_rad, math.tau)
    if _apart(plan, one.sd_mm, other.sd_mm):
        return f"{plan:.0f} mm"
    if _apart(one.dz_mm - other.dz_mm, one.z_sd_mm, other.z_sd_mm):
        return f"{abs(one.dz_mm - other.dz_mm):.0f} mm in height"
    return f"{abs(turn):.2g} rad" if _apart(turn, one.heading_sd_rad, other.heading_sd_rad) else ""


def _stretches(facts: Facts, line: Line, wheelbase_mm: float) -> Iterator[WayruleError]:
    low, high = _reach(line)
    for option, stretches in (("--level", facts.level), ("--straight", facts.straight)):
        for stretch in stretches:
            if not _inside(stretch, line.lap_mm, low - wheelbase_mm, high + wheelbase_mm):
                yield UsageError(
                    expected=f"a stretch of the line, which reaches from {low:.0f} to {high:.0f} mm",
                    came=f"{stretch.s0_mm:g}:{stretch.s1_mm:g}",
                    where=option,
                    next_step="FROM:TO are mm of chainage, 0 where the first run starts",
                )


def _inside(stretch: Stretch, lap_mm: float | None, low: float, high: float) -> bool:
    if lap_mm is not None:  # across the start it may end beyond the length, but not lap itself
        return low <= stretch.s0_mm <= high and stretch.length_mm <= high
    return low <= stretch.s0_mm and stretch.s1_mm <= high


def _reach(line: Line) -> tuple[float, float]:
    """Chainages that the runs cover, as first placed."""
    if line.lap_mm is not None:
        return 0.0, line.lap_mm
    ends = [
        placed.start_mm + placed.way * placed.stretch * np.array([d.min(), d.max()])
        for placed in line.runs
        for d in (placed.travel.distance_mm,)
    ]
    return float(np.min(ends)), float(np.max(ends))
