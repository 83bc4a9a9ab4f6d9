"""Local defects of a line, told from its elements, its roughness and the survey's own noise.

What the elements leave of heading, height and cant is searched with matched filters of several lengths
(`maths.matched`): a step of heading is a kink, a bump of the path a lateral, a bump of the height a dip or a hump, a
bump of the cant a twist, and a bump of the cant with half of it in the height a dip of one rail.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from wayrule.maths.bumps import second_integral
from wayrule.maths.matched import Found, Searched, Template, respond, search
from wayrule.model import Element, Fault, Stations
from wayrule.model.arrays import Array
from wayrule.track.errorbars import taken_apart
from wayrule.track.leftover import (
    USUAL_BLUR,
    Grid,
    blur_of,
    cant_ramps,
    grid_of,
    heading_steps,
    level_left,
    model_steps,
    plan_pieces,
    steps_of,
)
from wayrule.units import DEG

ALARMS_PER_100_WHEELBASES: Final = 0.02
"""False alarms that pure noise may give at most per kind of search on a hundred wheelbases of line (6.5 m in H0): with
the three searches one line of that length in sixteen shows one. Real layouts have about one fault on the same length,
so that precision stays above nine in ten with room for noise that is not Gaussian."""

SEARCHES: Final = 3
"""Plan, level and cant are searched each for itself."""

LEAST_KINK_DEG: Final = 0.6
"""Kinks below this are what every rail joint has; our own choice, half of what must be found, as few passes may show no
more of it (see `PLAY_GAUGES`)."""

LEAST_LEVEL_GAUGES: Final = 1.0 / 38.0
"""Dips, humps and lateral bumps below this (0.43 mm in H0) nobody mends; own choice, about 0.7 of what must be
found in H0 and N."""

LEAST_TWIST_GAUGES: Final = 1.0 / 28.0
"""Twists and one-rail dips below this (0.59 mm in H0) nobody mends; own choice, likewise."""

LENGTHS_WHEELBASES: Final = tuple(0.5 * 2.0 ** (k / 4.0) for k in range(13))
"""Lengths of bump that are looked for, 0.5 to 4, so close that the size of one between comes out right (in steps of
1.4 a lateral bump of 2.4 was a sixth too large). Shorter ones a chord of one wheelbase hardly sees, longer ones are
profile."""

SHAPE_SD: Final = 0.05
"""Part of its size by which a fault's size hangs on the shape that is taken for it: a raised cosine and a Gaussian of
the same width at half height differ by about so much."""

PLAY_GAUGES: Final = 1.0 / 21.0
"""Sideways swing, over a wheelbase, that a kink gives a wagon with play, in one pass; another in every pass, so that n
passes leave 1 / sqrt(n) of it. 0.8 mm and 0.7 deg in H0, where both axles together can swing by 0.9 mm (NEM 310).
Measured on simulated surveys: kinks from two passes came out 0.58 to 1.51 of their size, from seven 0.98 to 1.08."""

KINK_WHEELBASES: Final = (0.1, 0.35, 0.7, 1.05)
"""A kink is a point on the track; this is how wide a survey may show it."""

MARGIN_WHEELBASES: Final = 0.8
"""Free baseline on either side of a shape."""

NOISE_WINDOW_WHEELBASES: Final = 60.0
END_WHEELBASES: Final = 0.5
"""Nearer than this to an open end nothing is called a fault: there is no line beyond it to compare with."""

BREAK_BLUR_WHEELBASES: Final = 0.06
"""How well a step of curvature is placed at best; a kink within a wheelbase of one must exceed the turn that such a
misplacement makes."""


@dataclass(frozen=True, slots=True)
class Detected:
    """Faults by chainage, and how many of such noise alone (ordinary roughness included) may have feigned, at most."""

    faults: tuple[Fault, ...]
    false_alarms: float


NOTHING: Final = Detected((), 0.0)


def faults(stations: Stations, elements: tuple[Element, ...]) -> tuple[Fault, ...]:
    """Faults of a line, by chainage; see `detect`."""
    return detect(stations, elements).faults


def detect(stations: Stations, elements: tuple[Element, ...]) -> Detected:
    """Faults of a line, and how many of them may be none.

    Parameters
    ----------
    stations : surveyed line; a quantity that is NaN throughout gives no faults of its kinds
    elements : of the same line; steps of curvature and changes of grade that belong to them are no faults

    Returns
    -------
    Faults with size, sd and place. kink deg, left > 0; dip, hump mm; twist mm, left rail up > 0; lateral mm,
    left > 0; one_rail_dip mm with the rail that dips.

    Notes
    -----
    A fault exceeds both the threshold that noise passes `ALARMS_PER_100_WHEELBASES` times, and the least size that
    anybody mends. Noise is the larger of the claimed sigma and what the line itself does, locally and robustly. Where
    the least size is the larger of both, there are fewer false alarms, and that is counted: Rice's rate is summed up
    over all places, shapes and signs.
    """
    if len(stations.s_mm) < 8:
        return NOTHING
    grid = grid_of(stations)
    if grid.s[-1] - grid.s[0] < 4 * grid.base:
        return NOTHING
    plan = [e for e in elements if e.plane == "plan"]
    profile = [e for e in elements if e.plane == "profile"]
    heading = heading_steps(stations, grid, plan)
    blur = blur_of(grid, heading[0], plan) if heading is not None else USUAL_BLUR * grid.base
    in_plan = _plan_faults(stations, grid, plan, heading, blur) if heading is not None else NOTHING
    upright = _vertical_faults(stations, grid, plan, level_left(stations, grid, profile, blur), blur)
    found = sorted((*in_plan.faults, *upright.faults), key=lambda f: f.s_mm)
    return Detected(tuple(found), in_plan.false_alarms + upright.false_alarms)


def false_alarm_words(stations: Stations, detected: Detected) -> str:
    """What may be believed of the faults, in one sentence."""
    per_hundred = SEARCHES * ALARMS_PER_100_WHEELBASES
    hundred_m = stations.wheelbase_mm / 10.0
    level, twist = LEAST_LEVEL_GAUGES * stations.gauge_mm, LEAST_TWIST_GAUGES * stations.gauge_mm
    return (
        f"Faults: noise and the track's ordinary roughness feign {_chance(detected.false_alarms)} on this line, and on "
        f"no line more than {per_hundred:g} on {hundred_m:.2g} m; kinks under {LEAST_KINK_DEG:g} deg, dips, humps and "
        f"lateral bumps under {level:.2g} mm, twists and one-rail dips under {twist:.2g} mm are not told."
    )


def _chance(alarms: float) -> str:
    return f"about {alarms:.1g} at most" if alarms >= 0.001 else "fewer than 0.001"


def bump(offset: Array, extent: float, blur: float) -> Array:
    """A Gaussian of height 1, half as high over half of `extent`, under a moving mean of `blur`."""
    sigma = extent / (4.0 * math.sqrt(2.0 * math.log(2.0)))
    b = max(blur, 0.02 * extent)
    late, early = (second_integral(offset + half, np.array(sigma), 1)[0] for half in (b / 2, -b / 2))
    return np.asarray((late - early) / b)


def _sd(f: Found) -> float:
    """Sd of a size: the noise of the amplitude, and that nobody knows the true shape."""
    return math.hypot(f.sd, SHAPE_SD * f.amplitude)


def _offsets(grid: Grid, extent: float) -> Array:
    h = int(np.ceil((0.5 * extent + MARGIN_WHEELBASES * grid.base) / grid.spacing))
    return np.asarray(np.arange(-h, h + 1) * grid.spacing, dtype=np.float64)


def _bumps(grid: Grid, blur: float) -> list[Template]:
    out = []
    for factor in LENGTHS_WHEELBASES:
        extent = factor * grid.base
        out.append(Template("bump", extent, bump(_offsets(grid, extent + blur), extent, blur), 1))
    return out


def _plan_templates(grid: Grid, blur: float) -> list[Template]:
    """A kink is a step of heading, a lateral bump its own slope."""
    x = _offsets(grid, 2.0 * grid.base)
    out = []
    for width in KINK_WHEELBASES:
        kink = np.asarray(np.clip(x / max(width * grid.base, grid.spacing), -0.5, 0.5), dtype=float)
        out.append(Template("kink", grid.base, kink, 1))
    for factor in LENGTHS_WHEELBASES[1:]:
        extent = factor * grid.base
        edge = _offsets(grid, extent + blur)
        half = 0.5 * grid.spacing
        slope = (bump(edge + half, extent, blur) - bump(edge - half, extent, blur)) / grid.spacing
        out.append(Template("lateral", extent, slope, 1))
    return out


def _claimed(template: Template, grid: Grid, density: float) -> float:
    """Sd of an amplitude when steps have variance density times their length."""
    return float(np.sqrt(density * grid.spacing * np.sum(template.weights**2)))


def _search(
    grid: Grid,
    steps: Array,
    known: np.ndarray,
    templates: list[Template],
    density: float,
    least: list[Array],
) -> Searched:
    points = len(grid.s) - 1 if grid.ring else len(grid.s)
    usable = np.ones(points, dtype=bool)
    if not grid.ring:
        inner = (grid.s > grid.s[0] + END_WHEELBASES * grid.base) & (grid.s < grid.s[-1] - END_WHEELBASES * grid.base)
        usable &= inner
    usable &= np.convolve(known, np.ones(3), mode="full")[1 : points + 1] > 1.5
    return search(
        np.where(known, steps, 0.0),
        grid.spacing,
        templates,
        ring=grid.ring,
        claimed_sd=[_claimed(t, grid, density) for t in templates],
        least=least,
        alarms_per_length=ALARMS_PER_100_WHEELBASES / (100.0 * grid.base),
        window=round(NOISE_WINDOW_WHEELBASES * grid.base / grid.spacing),
        usable=usable,
    )


def _density(stations: Stations, rate_sd: Array, integral_sd: Array) -> float:
    """Claimed noise density of an integral, what the whole line shares left out."""
    good = np.isfinite(rate_sd)
    if not good.any():
        return 0.0
    s = stations
    parts = taken_apart(rate_sd, integral_sd, s.length_mm, s.wheelbase_mm, closed=s.closed)
    return float(np.median(parts.local[good]))


def _plan_faults(
    stations: Stations, grid: Grid, plan: list[Element], seen: tuple[Array, np.ndarray], blur: float
) -> Detected:
    steps = seen[0] - model_steps(grid, plan_pieces(plan), blur)
    templates = _plan_templates(grid, blur)
    points = grid.s[:-1] if grid.ring else grid.s
    shaky = _shaky(points, plan, grid)
    least = []
    for t in templates:
        if t.name == "kink":
            least.append(LEAST_KINK_DEG * DEG + shaky)
        else:
            least.append(LEAST_LEVEL_GAUGES * grid.gauge + shaky * 0.25 * t.extent)
    density = _density(stations, stations.curvature_sd_1_mm, stations.heading_sd_rad)
    found = _search(grid, steps, seen[1], templates, density, least)
    start = float(grid.s[0])
    return Detected(tuple(_plan_fault(f, start, _swing(stations, start + f.at)) for f in found.found), found.alarms)


def _swing(stations: Stations, s_mm: float) -> float:
    """Turn [rad], mean of all passes, by which the wagon's play may have changed a kink at a place."""
    passes = float(np.interp(s_mm, stations.s_mm, stations.passes))
    return PLAY_GAUGES * stations.gauge_mm / stations.wheelbase_mm / math.sqrt(max(passes, 1.0))


def _plan_fault(f: Found, start: float, swing: float) -> Fault:
    if f.template.name == "kink":
        return Fault("kink", start + f.at, f.amplitude / DEG, "deg", math.hypot(_sd(f), swing) / DEG)
    return Fault("lateral", start + f.at, f.amplitude, "mm", _sd(f))


def _shaky(s: Array, plan: list[Element], grid: Grid) -> Array:
    """Turn [rad] that a misplaced break may feign at each place: step of curvature times how well it is placed."""
    out = np.zeros(len(s))
    span = float(grid.s[-1] - grid.s[0])
    for a, b in zip(plan, plan[1:] + (plan[:1] if grid.ring else []), strict=False):
        jump = abs(b.curvature0_1_mm - a.curvature1_1_mm)
        placed = max(np.nan_to_num(b.s0_sd_mm), BREAK_BLUR_WHEELBASES * grid.base)
        away = np.abs(s - b.s0_mm)
        if grid.ring:
            away = np.minimum(away, span - away)
        out = np.maximum(out, np.where(away < 1.2 * grid.base, 2.0 * jump * placed, 0.0))
    return out


def _vertical_faults(
    stations: Stations, grid: Grid, plan: list[Element], level: tuple[Array, np.ndarray] | None, blur: float
) -> Detected:
    """Dips, humps, twists and one-rail dips."""
    points = len(grid.s) - 1 if grid.ring else len(grid.s)
    start = float(grid.s[0])
    templates = _bumps(grid, blur)
    cant = Searched((), 0.0)
    closing = float(stations.cant_mm[0]) if stations.closed else None
    seen = steps_of(stations, grid, stations.cant_mm, closing)
    if seen is not None:
        least = [np.full(points, LEAST_TWIST_GAUGES * grid.gauge) for _ in templates]
        ramps = cant_ramps(grid, seen[0], [e.s0_mm for e in plan], blur)
        cant = _search(grid, seen[0] - ramps, seen[1], templates, 0.0, least)
    alarms = cant.alarms
    out: list[Fault] = []
    taken: list[Found] = []
    for f in cant.found:
        rail = None if level is None else _dipping_rail(f, level[0], grid)
        if rail is None:
            out.append(Fault("twist", start + f.at, f.amplitude, "mm", _sd(f)))
        else:
            out.append(Fault("one_rail_dip", start + f.at, abs(f.amplitude), "mm", _sd(f), rail))
            taken.append(f)
    if level is not None:
        least = [np.full(points, LEAST_LEVEL_GAUGES * grid.gauge) for _ in templates]
        steps = level[0].copy()
        for f in taken:
            _take_away(steps, f, -0.5 * abs(f.amplitude), grid)
        density = _density(stations, stations.gradient_sd, stations.z_sd_mm)
        searched = _search(grid, steps, level[1], templates, density, least)
        alarms += searched.alarms
        for f in searched.found:
            out.append(Fault("dip" if f.amplitude < 0 else "hump", start + f.at, abs(f.amplitude), "mm", _sd(f)))
    return Detected(tuple(out), alarms)


def _dipping_rail(f: Found, level_steps: Array, grid: Grid) -> Literal["left", "right"] | None:
    """The rail that dips, when the height goes down by more than a quarter of the cant's bump at the same place.

    One rail down by d lowers the middle by d / 2 and moves the cant by d; a twist about the middle lowers nothing.
    """
    height = respond(level_steps, f.template, ring=grid.ring)
    i = min(round(f.at / grid.spacing), len(height) - 1)
    if height[i] > -0.25 * abs(f.amplitude):
        return None
    return "left" if f.amplitude < 0 else "right"


def _take_away(steps: Array, f: Found, amplitude: float, grid: Grid) -> None:
    h = len(f.template.shape) // 2
    i = round(f.at / grid.spacing)
    at = np.arange(i - h, i + h)
    inside = np.ones(len(at), dtype=bool) if grid.ring else (at >= 0) & (at < len(steps))
    np.subtract.at(steps, at[inside] % len(steps), amplitude * np.diff(f.template.shape)[inside])
