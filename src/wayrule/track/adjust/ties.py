"""Ties: what is known besides the run's samples. Closure, tape, control points, level and straight stretches.

Each tie is one linearised equation `by_spline dx + by_border dy = residual` with a standard deviation. It reaches along
the whole line, so it enters the border as a multiplier and leaves the bands alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import State, Travel
from wayrule.model.arrays import Array
from wayrule.model.facts import Control, Facts, Stretch, Tape
from wayrule.track.adjust.line import Traced, positions, trace
from wayrule.track.adjust.pose import Setting, chainage_rows
from wayrule.track.adjust.unknowns import UNTURNED, Unknowns

EXACT_MM = 0.01
"""A closed line closes; this only keeps the equation's weight finite."""

STATED_LAP_END_MM = 3.0
"""`@laps=N` promises that the run ends where it began within a few mm."""

LEVEL_SD = 2e-4
"""A stretch declared level (a spirit level's reading, 0.2 mm/m; common practice, no source)."""

STRAIGHT_SD_1_MM = 2e-6
"""A stretch declared straight: 0.25 mm of bow in a metre (a straight-edge; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Tie:
    """One equation; `by_spline` (3, n) over theta, gamma, phi, `by_border` (k,)."""

    name: str
    residual: float
    sd: float
    by_spline: Array
    by_border: Array


def closure_ties(u: Unknowns, step: float) -> list[Tie]:
    """The closed line comes back to its start in x, y and z. Blind to the scale: a bigger ring closes as well."""
    stop = u.spline.origin + u.spline.length
    end = positions(u, np.array([stop]), step)
    return [
        Tie(f"closure {axis}", -float(end.xyz[i, 0]), EXACT_MM, end.by_spline(i, 0), end.by_border[i, 0])
        for i, axis in enumerate("xyz")
    ]


def _place_of_time(u: Unknowns, run: Setting, sigma: Array, t_s: float) -> tuple[float, Array]:
    """Chainage at a moment of a run, and its derivatives by the border."""
    edges = run.bins.t_s
    i = int(np.clip(np.searchsorted(edges, t_s) - 1, 0, len(edges) - 2))
    share = float(np.clip((t_s - edges[i]) / (edges[i + 1] - edges[i]), 0, 1))
    ends = np.array([1 - share, share])
    return float(ends @ sigma[i : i + 2]), np.asarray(ends @ chainage_rows(u, run, slice(i, i + 2)))


def stops_of(travel: Travel, least_mm: float) -> list[float]:
    """Middle times of the places where a run stood, at least `least_mm` of travel apart."""
    standing = (travel.state == State.STANDING).astype(np.int8)
    change = np.flatnonzero(np.diff(np.concatenate(([0], standing, [0]))))
    stops: list[float] = []
    last = -np.inf
    for a, b in zip(change[0::2], change[1::2], strict=True):
        where = float(np.mean(travel.distance_mm[a:b]))
        if not stops or abs(where - last) > least_mm:
            stops.append(float(0.5 * (travel.t_s[a] + travel.t_s[b - 1])))
            last = where
    return stops


@dataclass(frozen=True, slots=True)
class Moments:
    """Finds a named moment: which run, and when."""

    u: Unknowns
    settings: Sequence[Setting]
    travels: Sequence[Travel]
    sigmas: Sequence[Array]

    def at(self, name: str) -> tuple[float, Array]:
        """Chainage and derivatives of "start", "end" (of the first run) or of a mark (first run that has it)."""
        if name in ("start", "end"):
            t = self.travels[0].t_s[0 if name == "start" else -1]
            return self.time(0, float(t))
        for r, travel in enumerate(self.travels):
            for mark in travel.marks:
                if mark.name == name:
                    return self.time(r, mark.t_s)
        known = sorted({m.name for t in self.travels for m in t.marks})
        raise UndeterminedError(
            expected="start, end or the name of a mark" + (f" ({', '.join(known)})" if known else ""),
            came=repr(name),
            where="control or tape",
            next_step="name a mark that stands in a recording",
        )

    def time(self, run: int, t_s: float) -> tuple[float, Array]:
        """Chainage and derivatives at a time of a run."""
        return _place_of_time(self.u, self.settings[run], self.sigmas[run], t_s)


def tape_ties(u: Unknowns, tapes: Sequence[Tape], moments: Moments, lap_mm: float | None, step: float) -> list[Tie]:
    """Taped lengths: the length along the rails between two places is what the tape read."""
    return [_tape_tie(u, tape, moments, lap_mm, trace(u, step)) for tape in tapes]


def _tape_tie(u: Unknowns, tape: Tape, moments: Moments, lap_mm: float | None, line: Traced) -> Tie:
    if tape.what == "lap":
        if lap_mm is None:
            raise UndeterminedError(
                expected="a closed line for --tape lap",
                came="an open line",
                where="--tape",
                next_step="state the laps (--closed-laps N), or tape between stops or marks",
            )
        (a, da), (b, db) = ((line.sigma[0], np.zeros(len(u.border))), (line.sigma[-1], np.zeros(len(u.border))))
    else:
        (a, da), (b, db) = _tape_ends(tape, moments)
    length, row = line.along_the_rails(u, a, b)
    row += line.metric_at(b) * db - line.metric_at(a) * da
    sign = 1.0 if length > 0 else -1.0
    return Tie(f"tape {tape.what}", tape.length_mm - sign * length, tape.sd_mm, np.zeros((3, u.spline.n)), sign * row)


def _tape_ends(tape: Tape, moments: Moments) -> tuple[tuple[float, Array], tuple[float, Array]]:
    if tape.what == "stops":
        stops = stops_of(moments.travels[0], moments.settings[0].wheelbase_mm)
        if len(stops) < 2:
            raise UndeterminedError(
                expected="two stops in the first run for --tape stops",
                came=f"{len(stops)}",
                where=moments.travels[0].run,
                next_step="stand still for two seconds at both taped places",
            )
        return moments.time(0, stops[0]), moments.time(0, stops[1])
    first, second = tape.what.split("..", 1)
    return moments.at(first), moments.at(second)


def lap_end_ties(u: Unknowns, moments: Moments, laps: Mapping[int, tuple[float, float]], lap_mm: float) -> list[Tie]:
    """Runs that were said to end where they began: chainage gained = whole laps. `laps`: run -> (laps, way it went)."""
    out = []
    for run, (count, way) in laps.items():
        travel = moments.travels[run]
        a, da = moments.time(run, float(travel.t_s[0]))
        b, db = moments.time(run, float(travel.t_s[-1]))
        gap = count * way * lap_mm - (b - a)
        out.append(Tie(f"laps of {travel.run}", gap, STATED_LAP_END_MM, np.zeros((3, u.spline.n)), db - da))
    return out


def stretch_ties(u: Unknowns, facts: Facts, spacing: float) -> list[Tie]:
    """Stretches that the person declared level or straight, an equation every `spacing` mm."""
    out = []
    for stretch in facts.level:
        rows = u.spline.value_rows(_along(stretch, spacing)).toarray()
        out += [_declared(u, "level", row, float(row @ u.gamma), "y") for row in rows]
    for stretch in facts.straight:
        rows = u.spline.slope_rows(_along(stretch, spacing)).toarray()
        out += [_declared(u, "straight", row, float(row @ u.theta), "z") for row in rows]
    return out


def _declared(u: Unknowns, what: str, row: Array, value: float, axis: str) -> Tie:
    """One place of a declared stretch: `value` of the spline there, the closed line's winding apart."""
    block, sd, now = (1, LEVEL_SD, value) if what == "level" else (0, STRAIGHT_SD_1_MM, value + u.winding_rad_mm)
    n = u.spline.n
    full, by_border = np.zeros((3, n)), np.zeros(len(u.border))
    full[block] = row / u.gain(axis)
    by_border[u.names[f"gyro_scale_{axis}"].start] = -value / u.gain(axis)
    if what == "level":
        for name, (share, _) in UNTURNED.items():
            by_border[u.names[name].start] = share * float(row @ u.phi)
    return Tie(f"declared {what}", -now, sd, full, by_border)


def _along(stretch: Stretch, spacing: float) -> Array:
    return np.linspace(stretch.s0_mm, stretch.s1_mm, max(2, int((stretch.s1_mm - stretch.s0_mm) / spacing) + 1))


def control_ties(u: Unknowns, controls: Sequence[Control], moments: Moments, step: float) -> list[Tie]:
    """Control points: world position = datum + the line's position, turned by `datum_turn`."""
    if not controls:
        return []
    n = u.spline.n
    places = [moments.at(c.at) for c in controls]
    sigma = np.maximum(np.array([p for p, _ in places]), u.spline.origin)
    here, line = positions(u, sigma, step).turned(u.one("datum_turn")), trace(u, step)
    value = u.spline.value_rows(sigma)
    theta = value @ u.theta + u.winding_rad_mm * sigma + u.one("datum_turn")
    along = np.array([np.cos(theta), np.sin(theta), value @ u.gamma]) * line.metric_at(sigma)
    out: list[Tie] = []
    for i, control in enumerate(controls):
        for axis, name in enumerate("xyz"):
            if not (control.has_height if name == "z" else control.has_plan):
                continue
            row = here.by_border[axis, i] + along[axis, i] * places[i][1]
            row[u.names[f"datum_{name}"]] += 1.0
            row[u.names["datum_turn"]] += (-here.xyz[1, i], here.xyz[0, i], 0.0)[axis]
            sd = control.z_sd_mm if name == "z" else control.sd_mm
            gap = getattr(control, f"{name}_mm") - u.one(f"datum_{name}") - here.xyz[axis, i]
            out.append(Tie(f"control {control.at} {name}", float(gap), sd, here.by_spline(axis, i), row))
        if control.has_heading:
            turn = float(np.angle(np.exp(1j * (control.heading_rad - theta[i]))))
            full = np.zeros((3, n))
            full[0] = value[[i]].toarray()[0] / u.gain("z")
            bend = (u.spline.slope_rows(sigma[i : i + 1]) @ u.theta)[0] + u.winding_rad_mm
            row = bend * places[i][1]
            row[u.names["gyro_scale_z"].start] -= (value[i : i + 1] @ u.theta)[0] / u.gain("z")
            row[u.names["datum_turn"]] = 1.0
            out.append(Tie(f"control {control.at} heading", turn, control.heading_sd_rad, full, row))
    return out
