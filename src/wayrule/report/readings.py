"""What the survey says, in a practitioner's sentences: the first lines of a page and the reading of every diagram."""

import math
from typing import Final

import numpy as np

from wayrule.model import Element, Stations, Survey
from wayrule.model.arrays import Array
from wayrule.report.lengths import Lengths, metres
from wayrule.report.numbers import NO_BREAK, one_in, rounded, significant, with_sd
from wayrule.report.plan import across_sd_mm

SURE_SIGMAS: Final = 3.0
"""A bend or slope is spoken of when it is this many sigmas from straight or level."""

RATIO_ALARM: Final = 3.0
"""A misclosure this many times what the sigmas predict: they are too small, or something slipped."""

LEAST_TENTH: Final = 0.1
"""From here on a ratio is said to a tenth, below it to one digit."""


def result_sentences(survey: Survey, lengths: Lengths) -> list[str]:
    """The result in a few sentences, the most wanted first; what is not known is said as well."""
    if len(survey.stations.s_mm) < 2:
        return [headline(survey)]
    said = [headline(survey), *_how_far_off(survey), tightest(survey, lengths), steepest(survey)]
    said += [sureness(survey.stations, lengths), fault_count(survey)]
    return [s for s in said if s]


def headline(survey: Survey) -> str:
    """Length and closure in one sentence."""
    stations = survey.stations
    if len(stations.s_mm) < 2 or not math.isfinite(stations.length_mm):
        return "Too short to be a line: fewer than two stations."
    length = metres(stations.length_mm)
    if survey.closure is None:
        return f"{length} round." if stations.closed else f"{length} of open line, with no closure to check it by."
    before = survey.closure.before
    known = ((before.plan_mm, "in plan"), (before.height_mm, "in height"))
    missed = [f"{significant(abs(v), 2)}{NO_BREAK}mm {where}" for v, where in known if math.isfinite(v)]
    if not missed:
        return f"{length} round; its misclosure is not known."
    return f"{length} round; it misses its own start by {' and '.join(missed)} before adjustment."


def tightest(survey: Survey, lengths: Lengths) -> str:
    """The sharpest curve: from the arcs found, or else from the stations.

    A survey without curvature (a wagon without a gyro) says so.
    """
    arcs = [e for e in survey.elements if e.kind == "arc" and math.isfinite(e.radius_mm)]
    if arcs:
        arc = min(arcs, key=lambda e: abs(e.radius_mm))
        at = metres(arc.s0_mm)
        return f"Tightest curve: R{NO_BREAK}{radius_text(arc, lengths)}, {hand(arc.radius_mm)}, from {at}."
    k, sd = survey.stations.curvature_1_mm, survey.stations.curvature_sd_1_mm
    held = np.isfinite(k)
    if not held.any():
        return "Curves are not known: these runs give no turning rate."
    i = int(np.nanargmax(np.abs(k)))
    if k[i] == 0 or (math.isfinite(sd[i]) and abs(k[i]) < SURE_SIGMAS * sd[i]):
        return "No curve stands out from the error bars: the line is straight as far as these runs can tell."
    radius, spread = abs(1 / k[i]), sd[i] / k[i] ** 2
    where = metres(float(survey.stations.s_mm[i]))
    return f"Tightest place: R{NO_BREAK}{lengths.text(radius, spread)}, {hand(k[i])}, at {where}."


def radius_text(arc: Element, lengths: Lengths) -> str:
    """Radius of an arc with its sd carried over from the curvature; a range where that is too coarse to be a sigma.

    The sd of 1/k is sd(k)/k^2 to first order; from a quarter of k on the two sides differ by more than half of it, so
    the radii at k -+ one sigma are given instead.
    """
    k = 0.5 * (arc.curvature0_1_mm + arc.curvature1_1_mm)
    sd = arc.curvature_sd_1_mm
    if not math.isfinite(sd) or sd < 0.25 * abs(k):
        return lengths.text(abs(1 / k), sd / k**2)
    low = lengths.short(1 / (abs(k) + sd), 2)
    if sd >= abs(k):
        return f"{low} or more"
    return f"{low} to {lengths.short(1 / (abs(k) - sd), 2)}"


def hand(curvature_or_radius: float) -> str:
    """Which way a curve turns, looking the way chainage grows.

    >>> hand(1.0), hand(-1.0)
    ('left-hand', 'right-hand')
    """
    return "left-hand" if curvature_or_radius > 0 else "right-hand"


def steepest(survey: Survey) -> str:
    """The steepest grade: from the pieces of the profile, or else from the stations."""
    grades = [e for e in survey.elements if e.kind == "grade" and math.isfinite(e.gradient0)]
    if grades:
        e = max(grades, key=lambda e: abs(e.gradient0 + e.gradient1))
        return _slope(0.5 * (e.gradient0 + e.gradient1), e.gradient_sd, f"from {metres(e.s0_mm)}")
    g, sd = survey.stations.gradient, survey.stations.gradient_sd
    if not np.isfinite(g).any():
        return "Heights and gradients are not known from these runs."
    i = int(np.nanargmax(np.abs(g)))
    return _slope(float(g[i]), float(sd[i]), f"at {metres(float(survey.stations.s_mm[i]))}")


def sureness(stations: Stations, lengths: Lengths) -> str:
    """How well places and heights are known, as the rms of their sigmas."""
    across, up = rms(across_sd_mm(stations)), rms(stations.z_sd_mm)
    said = []
    if math.isfinite(across):
        said.append(f"places to ±{lengths.short(across, 2)} across the line")
    if math.isfinite(up) and np.isfinite(stations.z_mm).any():
        said.append(f"heights to ±{lengths.short(up, 2)}")
    return f"How sure: {' and '.join(said)} (one sigma, rms over the line)." if said else ""


def fault_count(survey: Survey) -> str:
    """How many faults are listed, by kind; nothing when there are none."""
    if not survey.faults:
        return ""
    kinds = sorted({f.kind for f in survey.faults})
    counts = ", ".join(_count(sum(f.kind == k for f in survey.faults), k) for k in kinds)
    n = len(survey.faults)
    return f"{n} fault{'s' if n > 1 else ''} found: {counts}."


def _count(n: int, kind: str) -> str:
    return f"{n} {FAULT_NAMES[kind] if n == 1 else FAULT_PLURALS[kind]}"


FAULT_NAMES: Final = {
    "kink": "kink",
    "dip": "dip",
    "hump": "hump",
    "twist": "twist",
    "one_rail_dip": "dip of one rail",
    "lateral": "lateral bump",
}
FAULT_PLURALS: Final = {kind: f"{name}s" for kind, name in FAULT_NAMES.items()} | {"one_rail_dip": "dips of one rail"}


def plan_reading(stations: Stations) -> str:
    """How much room the line takes."""
    across, up = (metres(float(np.nanmax(v) - np.nanmin(v))) for v in (stations.x_mm, stations.y_mm))
    return f"The line takes up {across} by {up}, measured along the axes of the drawing."


def curvature_reading(survey: Survey, lengths: Lengths) -> str:
    """What the curvature diagram shows."""
    arcs = [e for e in survey.elements if e.kind == "arc"]
    left = sum(e.radius_mm > 0 for e in arcs)
    count = f"{left} left-hand and {len(arcs) - left} right-hand arcs. " if arcs else ""
    return count + tightest(survey, lengths)


def gradient_reading(survey: Survey) -> str:
    """What the gradient diagram shows."""
    return steepest(survey)


def height_reading(stations: Stations, lengths: Lengths) -> str:
    """Lowest and highest place."""
    z = stations.z_mm
    low, high = int(np.nanargmin(z)), int(np.nanargmax(z))
    if z[high] == z[low]:
        return "The line is level from end to end."
    rise = lengths.text(float(z[high] - z[low]), float(np.hypot(stations.z_sd_mm[low], stations.z_sd_mm[high])))
    top, bottom = metres(float(stations.s_mm[high])), metres(float(stations.s_mm[low]))
    return f"The highest place, at {top}, lies {rise} above the lowest, at {bottom}."


def cant_reading(stations: Stations) -> str:
    """Outer or inner rail high in curves, or the largest cant where the line has no curve that stands out."""
    cant, k, sd = stations.cant_mm, stations.curvature_1_mm, stations.cant_sd_mm
    if float(np.nanmax(np.abs(cant))) == 0.0:
        return "Neither rail is higher than the other anywhere."
    k_sd = np.where(np.isfinite(stations.curvature_sd_1_mm), stations.curvature_sd_1_mm, 0.0)
    sharp = np.nanmax(np.abs(k)) if np.isfinite(k).any() else math.inf
    curve = np.isfinite(cant) & (np.abs(k) > np.maximum(0.3 * sharp, SURE_SIGMAS * k_sd))
    i = int(np.nanargmax(np.abs(np.where(curve, cant, np.nan) if curve.any() else cant)))
    amount, at = with_sd(abs(float(cant[i])), float(sd[i]), "mm"), metres(float(stations.s_mm[i]))
    if not curve.any():
        return f"Largest cant: {'left' if cant[i] > 0 else 'right'} rail high by {amount} at {at}."
    outer = -cant[i] * np.sign(k[i]) > 0
    return f"In curves the {'outer' if outer else 'inner'} rail is high by up to {amount}, at {at}."


def rms(values: Array) -> float:
    """Root mean square of the finite values; NaN without any.

    >>> rms(np.array([3.0, -3.0, float("nan")]))
    3.0
    """
    held = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(held**2))) if len(held) else math.nan


def _how_far_off(survey: Survey) -> list[str]:
    """The misclosure against what was to be expected, and what the length rests on."""
    said = []
    if survey.closure is not None:
        before = survey.closure.before
        known = ((before.plan_mm, "In plan", before.ratio_plan), (before.height_mm, "in height", before.ratio_height))
        against = [f"{where} {ratio_text(ratio)}" for value, where, ratio in known if math.isfinite(value)]
        share = before.plan_percent_of_length
        if against and math.isfinite(share):
            against[0] = against[0].replace(
                "In plan", f"In plan that is {significant(share, 2)}{NO_BREAK}% of the length and"
            )
        said.append("; ".join(against) + "." if against else "")
    scales = [(t.scale_sd, t.scale_source) for t in survey.travels if math.isfinite(t.scale_sd) and t.scale_sd > 0]
    if scales:
        said.append(scale_text(*min(scales)))
    elif survey.travels:
        said.append("The length scale has no error bar.")
    return said


def scale_text(sd: float, source: str) -> str:
    """How well lengths are known and why, in a sentence.

    >>> scale_text(0.00382, "caliper: 10.50 +- 0.04 mm").replace(chr(160), " ")
    'Lengths are good to ±0.38 % (caliper: 10.50 ± 0.04 mm).'
    """
    rests_on = source.replace("+-", "±") or "source not stated"
    return f"Lengths are good to ±{significant(100 * sd, 2)}{NO_BREAK}% ({rests_on})."


def ratio_text(ratio: float) -> str:
    """A misclosure's ratio to what the sigmas predict, in words.

    >>> ratio_text(0.93), ratio_text(0.0423)
    ('0.9 times what the error bars predict', '0.04 times what the error bars predict')
    >>> ratio_text(7.0)
    '7.0 times what the error bars predict: more than chance explains'
    """
    if not math.isfinite(ratio):
        return "not predicted"
    number = rounded(ratio, -1) if ratio >= LEAST_TENTH else significant(ratio, 1)
    words = f"{number} times what the error bars predict"
    return words + ": more than chance explains" if ratio > RATIO_ALARM else words


def _slope(gradient: float, sd: float, where: str) -> str:
    if math.isfinite(sd) and abs(gradient) < SURE_SIGMAS * sd:
        return f"No gradient stands out from the error bars (±{significant(100 * sd, 2)}{NO_BREAK}%)."
    way = "climbing" if gradient > 0 else "falling"
    return f"Steepest grade: {one_in(gradient)} {way} ({with_sd(100 * abs(gradient), 100 * sd, '%')}), {where}."
